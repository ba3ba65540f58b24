"""Which adverse events clinics recorded at the first session.

Of treated episodes of positional vertigo: the share in which the site recorded an event with any
maneuver of the first session, of all kinds together and of each, by family of maneuver, by place,
and by whether the neck was limited. One person counts once, however many maneuvers the session had.
An event that nobody wrote down is not counted, and a course of exercises at home lasts longer than
a session at a clinic: shares of different places are of different times. Who was given which
maneuver was not left to chance.
"""

from collections.abc import Iterator

import pandas as pd

from pipeline.analyses.attempts.rows import name_place
from pipeline.analyses.cells import NO_FAMILY, name_families
from pipeline.statistics import site_limits
from pipeline.statistics.guard import check_size
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, count_sites, tidy_estimates, withhold
from schemas.adverse import EVENTS, were_recorded
from schemas.columns import Frame
from schemas.delivery import Episodes, Treatments
from schemas.derived import Adjudications, Attempts
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Guards

PARTS = ("family", "place", "neck_limitation")


def describe_adverse(
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Describe adverse events at the first session.

    Returns
    -------
    Frame[Estimates]
        Of all, and by PARTS: adverse_<event> for each of EVENTS.
    """
    first = list_events(episodes, treatments, adjudications, attempts, config)
    parts = [("all", first)]
    for variable in PARTS:
        known = first[first[variable].ne(NO_FAMILY).fillna(False)]
        parts += [(f"{variable}={value}", part) for value, part in known.groupby(variable)]
    return tidy_estimates(
        [row for stratum, part in parts for row in _share(part, stratum, config.study.guards)],
        analysis="adverse_events",
        population="positional",
        method=f"share of episodes; {site_limits.METHOD}",
    )


def list_events(
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> pd.DataFrame:
    """List what was recorded at the first session of treated positional episodes.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id; family and place of the session, and whether the
        neck was limited (missing if not told); for each of EVENTS whether it was recorded.
    """
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    first = attempts[attempts["session"].eq(1)].merge(positional, on=EPISODE, validate="one_to_one")
    neck = episodes[[*EPISODE, "neck_limitation"]]
    first = first.merge(neck, on=EPISODE, how="left", validate="one_to_one")
    given = treatments.merge(first[[*EPISODE, "day"]], on=[*EPISODE, "day"])
    seen = {
        name: were_recorded(given["adverse"], event.codes)
        .groupby([given[key] for key in EPISODE])
        .any()
        for name, event in EVENTS.items()
    }
    happened = pd.DataFrame(seen).reindex(pd.MultiIndex.from_frame(first[EPISODE]))
    return first[EPISODE].assign(
        family=name_families(first["family"], config.maneuvers),
        place=name_place(first, config.failure.alone),
        neck_limitation=first["neck_limitation"].where(
            first["neck_limitation"].isin(["yes", "no"])
        ),
        **{name: happened[name].fillna(False).to_numpy(bool) for name in EVENTS},
    )


def _share(part: pd.DataFrame, stratum: str, guards: Guards) -> Iterator[Fields]:
    """A row for each event."""
    for name in EVENTS:
        happened = part[name]
        fields: Fields = {
            "stratum": stratum,
            "n_episodes": len(part),
            "n_events": int(happened.sum()),
            **count_sites(part, events=part[happened]),
        }
        refusal = check_size(len(part), None, guards)
        if refusal:
            yield withhold(f"adverse_{name}", refusal.status, refusal.note, **fields)
            continue
        low, high = site_limits.bound_share(happened, part["site"], guards)
        yield state_within(
            f"adverse_{name}", float(happened.mean()), low, high, SHARE, guards, **fields
        )
