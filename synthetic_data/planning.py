"""When the next contact is planned."""

import numpy as np

from synthetic_data.draw import chance
from synthetic_data.scenario import Scenario
from synthetic_data.sites import Site

LATE_DAY = 150  # from here on contacts only ask whether it came back


def schedule(
    rng: np.random.Generator,
    scenario: Scenario,
    site: Site,
    day: np.ndarray,
    ill: np.ndarray,
    feels_ill: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The next day, whether there is one, and whether symptoms bring it about (spreads invented).

    Who is held to be ill comes after the site's usual interval, with jitter, and at times earlier
    if still unwell; the others come near a month, or are asked within about a year, or not at all.
    """
    count, usual = len(day), site.usual_confirmation_day
    jitter = np.round(rng.normal(0, 0.2 * usual + 0.2, count)).astype(int)
    early = chance(rng, scenario.early_return, count) & feels_ill & (usual > 2)
    soon = np.where(early, rng.integers(1, max(usual, 2), count), np.maximum(usual + jitter, 1))
    month = 30 + np.round(rng.normal(0, 4, count)).astype(int)
    year = rng.integers(180, 400, count)
    further = chance(rng, site.further_visit, count)
    yearly = chance(rng, site.one_year_contact, count)
    gap = np.where(ill, soon, np.where(further, month, year))
    return day + gap, (day < LATE_DAY) & (ill | further | yearly), ill & early
