"""Simulated pools for tests of differences between sites: true Weibull times, seen only at tests,
as tables of the warehouse.

Of patient i of site s, P(T <= t) = 1 - exp(-rate * t ** SHAPE), rate = RATE * exp(FASTER *
lateral_i + shift_s). Each whole day up to 60 has a test with the probability of the site; who has
none is not followed.

`simulate_test_days` draws sites that are all alike but for the day of their first test: half of the
patients are helped at once, the others recover slowly or by another session on the day of a
positive test.
"""

from types import SimpleNamespace

import numpy as np
import pandas as pd

from schemas.derived import Adjudications, Attempts, Spells

SHAPE, RATE, FASTER, LAST = 0.6, 0.33, 0.7, 60
CALM = {"spell": 1, "endpoint": "objective", "start_day": 0}
VERDICT = {
    "positional": "yes",
    "variants": "",
    "side": "right",
    "arm": "long",
    "mechanism": "canalolithiasis",
}
VERDICT |= {
    "certainty": "definite",
    "known_day": 0,
    "recognised_day": pd.NA,
    "side_signs": "",
    "criteria": "",
}
VERDICT |= {"reasons_against": ""}
SESSION = {
    "session": 1,
    "spell": 1,
    "day": 0,
    "attempt": 1,
    "attempts": 1,
    "side": "right",
    "fit": "yes",
    "setting": "clinic",
}
SESSION |= {
    "performed_by": "clinician",
    "completed": "yes",
    "at_risk": True,
    "same_visit": "not_tested_again",
}


def simulate_sites(
    sizes: list[int],
    seed: int,
    shifts: list[float] | None = None,
    lateral: list[float] | None = None,
):
    """Tables episodes, spells, adjudications, attempts of sites S01, S02, ...
    with so many patients, shifts and shares of lateral canals."""
    rng = np.random.default_rng(seed)
    site = np.repeat(np.arange(len(sizes)), sizes)
    canal = rng.random(len(site)) < np.array(lateral or [0.4] * len(sizes))[site]
    rate = RATE * np.exp(FASTER * canal + np.array(shifts or [0.0] * len(sizes))[site])
    time = (rng.exponential(1, len(site)) / rate) ** (1 / SHAPE)
    chance = rng.uniform(0.08, 0.3, len(sizes))[site]
    tests = np.where(
        rng.random((len(site), LAST)) < chance[:, None], np.arange(1, LAST + 1), np.nan
    )
    left = np.nanmax(np.where(tests < time[:, None], tests, 0), axis=1)
    right = np.nanmin(np.where(tests >= time[:, None], tests, np.inf), axis=1)
    first = np.nanmin(np.where(np.isnan(tests), np.inf, tests), axis=1)
    return make_tables(site, canal, left, right, first, time <= first, rng)


def simulate_test_days(firsts: list[int], per_site: int, seed: int):
    """The same tables of equal sites, one for each of `firsts`, the day of its first test;
    later ones follow after as many days, or a week."""
    rng = np.random.default_rng(seed)
    site = np.repeat(np.arange(len(firsts)), per_site)
    n, usual = len(site), np.array(firsts)[site]
    canal = rng.random(n) < 0.4
    time = np.where(
        rng.random(n) < 0.5 + 0.1 * canal, 0.5, rng.exponential(np.where(canal, 33, 67))
    )
    left, right, first, at_first = (
        np.zeros(n),
        np.full(n, np.inf),
        np.full(n, np.inf),
        np.zeros(n, bool),
    )
    day = np.zeros(n)
    while (day <= LAST).any():
        wait = np.where(day == 0, usual, np.maximum(usual, 7))
        day = day + np.maximum(1, wait + rng.integers(-1, 2, n) * (wait > 2))
        seen = np.isinf(right) & (rng.random(n) < 0.93) & (day <= LAST)
        well, new = time <= day, np.isinf(first)
        first, at_first = np.where(seen & new, day, first), np.where(seen & new, well, at_first)
        left, right = np.where(seen & ~well, day, left), np.where(seen & well, day, right)
        time = np.where(seen & ~well & (rng.random(n) < 0.4), day + 0.5, time)
    return make_tables(site, canal, left, right, first, at_first, rng)


def make_tables(site, canal, left, right, first, well_at_first, rng):
    """Tables of patients with the ends of their intervals and the day of their first test,
    infinite if there was none."""
    keys = pd.DataFrame(
        {
            "site": [f"S{s + 1:02d}" for s in site],
            "episode_id": [f"EP-{i:05d}" for i in range(len(site))],
        }
    )
    patient = [f"PT-{i:05d}" for i in range(len(site))]
    seen = np.isfinite(first)
    ends = {
        "left_days": left,
        "right_days": right,
        "last_test_days": np.where(np.isfinite(right), right, left),
    }
    status = np.select([~seen, np.isfinite(right)], ["not_tested_again", "resolved"], "unresolved")
    outcome = np.select([~seen, well_at_first], ["not_tested_again", "negative"], "positive")
    family, canal_name = np.where(canal, "gufoni", "epley"), np.where(canal, "lateral", "posterior")
    gap = np.where(seen, first, np.nan)
    return SimpleNamespace(
        episodes=describe_people(keys, patient, rng),
        spells=fill(Spells, keys.assign(patient_id=patient, status=status, **CALM, **ends)),
        adjudications=fill(Adjudications, keys.assign(canal=canal_name, **VERDICT)),
        attempts=fill(
            Attempts,
            keys.assign(
                patient_id=patient,
                family=family,
                maneuver=family,
                outcome=outcome,
                next_test_days=gap,
                **SESSION,
            ),
        ),
    )


def describe_people(
    keys: pd.DataFrame, patient: list[str], rng: np.random.Generator
) -> pd.DataFrame:
    """The columns of episodes that analyses read, unrelated to the outcome."""
    n = len(keys)
    return keys.astype("string").assign(
        patient_id=pd.array(patient, "string"),
        age_years=pd.array(rng.integers(40, 80, n), "Int64"),
        sex=pd.array(rng.choice(["female", "male"], n), "string"),
        onset_day=pd.array(rng.choice([-2, -14], n), "Int64"),
        prior_episodes=pd.array(rng.choice([0, 1], n), "Int64"),
        cause=pd.array(["idiopathic"] * n, "string"),
    )


def fill(model, rows: pd.DataFrame) -> pd.DataFrame:
    """The rows as a typed table; columns that are not said are empty."""
    return model.cast(rows.reindex(columns=list(model.describe())))


def true_share(day: int, shift: float = 0.0, lateral: float = 0.4) -> float:
    """P(resolution by the day) at a site with this shift and share of lateral canals."""
    chances = [1 - np.exp(-RATE * np.exp(FASTER * canal + shift) * day**SHAPE) for canal in (0, 1)]
    return (1 - lateral) * chances[0] + lateral * chances[1]
