"""What would change the primary answers, under every choice that could have been made otherwise.

Estimated are, for all positional episodes together, the share resolved by each day as in the curves
(pipeline/analyses/resolution/curves.py), and, after a failed first session, the difference between
changing and repeating by the primary day as in the second line
(pipeline/analyses/order/second_line.py); the strata say which choice differs. Two variations show
how wrong a tempting shortcut is: taking the middle of an interval, or the day of the first negative
test, for the day of resolution. `coarsened_to_reported_days` forgets tests between the reported
days: people with symptoms come back early, and their early tests then no longer pull the curve. Two
others take those not seen again for resolved, and for unresolved: so far could loss move the
shares.
"""

from collections.abc import Callable, Iterator, Mapping

import numpy as np
import pandas as pd

from pipeline.analyses.order.second_line import estimate_primary_difference
from pipeline.analyses.resolution.curves import INFORMATIVE, estimate_curves
from pipeline.derivation.tables import DELIVERED, derive_rows, time_spells
from pipeline.statistics.guard import check_sites
from pipeline.statistics.npmle import fit_npmle
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Attempts, Findings, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.store import SetAside
from schemas.study import Config

UNSEEN = ("unresolved", "not_tested_again")
COUNTED = (
    "n_episodes",
    "n_events",
    "n_sites",
    "by_site",
    "comparison",
    "method",
    "population",
    "endpoint",
)
Derived = Mapping[str, pd.DataFrame]


def estimate_sensitivity(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    set_aside: Frame[SetAside],
    findings: Frame[Findings],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the primary answers under each other choice.

    Returns
    -------
    Frame[Estimates]
        resolved_by_day_<t>, median_days and the primary difference of the second line, a stratum
        `variation=...` for each choice, `variation=primary` for the plan's own.
    """
    delivered = dict(
        zip(DELIVERED, (episodes, examinations, treatments, followups, set_aside), strict=True)
    )
    primary = {
        "findings": findings,
        "adjudications": adjudications,
        "spells": spells,
        "attempts": attempts,
    }
    bare = _set(config, "curves", strata=())
    difference, without = answer_second_line("primary", episodes, primary, bare)
    rows = [
        *_answer("primary", primary, _set(config, "curves", strata=(("mechanism",), ("arm",)))),
        difference,
    ]
    for name, derived, plan in vary(primary, delivered, bare):
        rows += [
            *_answer(name, derived, plan),
            answer_second_line(name, episodes, derived, plan)[0],
        ]
    for name, derived in take_shortcuts(primary, config):
        rows += _answer(name, derived, bare)
    rows += [
        *leave_out_sites(_followed(primary, config), config),
        *leave_out_of_difference(difference, without),
    ]
    return tidy_estimates(rows, analysis="sensitivity", population="positional")


def vary(
    primary: Derived, delivered: Derived, config: Config
) -> Iterator[tuple[str, Derived, Config]]:
    """Each variation of the primary rows or plan: its name, its rows by table and its plan.

    The plan's strata are those whose answer it can change.
    """
    yield "endpoint_strict", primary, _set(config, "resolution", primary="strict")
    for verdict in ("undetermined", "probable_non_positional"):
        taken_in = primary["adjudications"].assign(
            positional=lambda rows, v=verdict: rows["positional"].replace(v, "yes")
        )
        yield f"{verdict}_included", {**primary, "adjudications": taken_in}, config
    verdicts = primary["adjudications"]
    doubted = verdicts["positional"].eq("yes") & verdicts["certainty"].eq("suspected")
    certain = verdicts.assign(positional=verdicts["positional"].mask(doubted, "undetermined"))
    yield "suspected_left_out", {**primary, "adjudications": certain}, config
    yield from vary_gap(primary, delivered, config)
    yield from vary_duration(primary, delivered, config)


def vary_gap(
    primary: Derived, delivered: Derived, config: Config
) -> Iterator[tuple[str, Derived, Config]]:
    """The spells under other recurrence gaps.

    Attempts stay: to which spell they belong plays no part in these answers.
    """
    part, others = split({**delivered, **primary}, find_returns(delivered, primary))
    for gap in config.study.sensitivity.recurrence_gaps:
        plan = _set(config, "resolution", recurrence_gap=gap)
        spells = time_spells(
            part, part["findings"], part["adjudications"], plan, [plan.study.resolution.primary]
        )[1]
        yield (
            f"recurrence_gap_{gap}_days",
            {**primary, "spells": pd.concat([others["spells"], spells])},
            plan,
        )


def vary_duration(
    primary: Derived, delivered: Derived, config: Config
) -> Iterator[tuple[str, Derived, Config]]:
    """Everything under other durations of nystagmus from which debris is called adherent."""
    limits, usual = config.study.sensitivity.duration_limits_s, config.criteria.duration
    ends = [*limits, usual.borderline_from_s, usual.borderline_to_s]
    examined = delivered["examinations"]
    between = examined["duration_s"].astype(float).between(min(ends), max(ends))
    part, others = split({**delivered, **primary}, examined[between])
    for limit in limits:
        band = {"borderline_from_s": limit, "borderline_to_s": np.nextafter(limit, np.inf)}
        criteria = config.criteria.model_copy(update={"duration": usual.model_copy(update=band)})
        plan = _set(config, "curves", strata=(("mechanism",),)).model_copy(
            update={"criteria": criteria}
        )
        again = derive_rows(part, plan, [plan.study.resolution.primary])
        yield (
            f"adherent_from_{limit:g}_s",
            {name: pd.concat([others[name], again[name]]) for name in primary},
            plan,
        )


def take_shortcuts(primary: Derived, config: Config) -> Iterator[tuple[str, Derived]]:
    """The primary rows with intervals coarsened, taken for a day,
    or closed for those who were not seen again."""
    horizon = config.study.curves.horizon_day
    grid = np.array([0, *config.study.curves.days, *(horizon * 2**k for k in range(4)), np.inf])
    shortcuts: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
        "coarsened_to_reported_days": lambda spells: coarsen(spells, grid),
        "middle_of_interval_taken_for_the_day": lambda spells: take_day(spells, share=0.5),
        "first_negative_day_taken_for_the_day": lambda spells: take_day(spells, share=1),
        "unseen_taken_for_resolved": lambda spells: take_unseen(
            spells, resolved=True, until=horizon
        ),
        "unseen_taken_for_unresolved": lambda spells: take_unseen(
            spells, resolved=False, until=horizon
        ),
    }
    for name, change in shortcuts.items():
        yield name, {**primary, "spells": change(primary["spells"])}


def find_returns(delivered: Derived, primary: Derived) -> pd.DataFrame:
    """Rows of all episodes, and perhaps of some more, whose spells the recurrence gap can change:
    after day 0 something positive was seen or told later than something that was not."""
    seen = primary["findings"][[*EPISODE, "day", "positive"]]
    reported = delivered["followups"].assign(
        positive=lambda rows: rows["positional_symptoms"].eq("yes")
    )[seen.columns]
    later = pd.concat([seen, reported])
    later = later[later["day"].gt(0)]
    positive = later["positive"].astype(bool)
    first_without = later[~positive].groupby(EPISODE)["day"].min().rename("first_without")
    last_with = later[positive].groupby(EPISODE)["day"].max().rename("last_with")
    both = pd.concat([first_without, last_with], axis=1, join="inner")
    return both[both["last_with"] > both["first_without"]].reset_index()


def split(tables: Derived, touched: pd.DataFrame) -> tuple[Derived, Derived]:
    """The rows of the episodes that have a row in `touched`, and all others: no rule tests from one
    episode at another, so that what cannot change need not be decided again."""
    chosen = pd.MultiIndex.from_frame(touched[EPISODE].drop_duplicates())
    within = {
        name: chosen.get_indexer(pd.MultiIndex.from_frame(rows[EPISODE])) >= 0
        for name, rows in tables.items()
    }
    return (
        {name: rows[within[name]].reset_index(drop=True) for name, rows in tables.items()},
        {name: rows[~within[name]] for name, rows in tables.items()},
    )


def coarsen(spells: Frame[Spells], grid: np.ndarray) -> Frame[Spells]:
    """The spells with each interval widened to days of `grid`,
    which starts at 0 and ends at infinity."""
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    wider_left = grid[np.searchsorted(grid, left, side="right") - 1]
    return spells.assign(
        left_days=wider_left, right_days=grid[np.searchsorted(grid, right, side="left")]
    )


def take_day(spells: Frame[Spells], share: float) -> Frame[Spells]:
    """The spells with the day at `share` of each interval taken for the day of resolution:
    what a reader must not do."""
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    seen = np.isfinite(right)
    day = np.ceil(left + share * (np.where(seen, right, left) - left))
    return spells.assign(
        left_days=np.where(seen, day - 1, left), right_days=np.where(seen, day, right)
    )


def take_unseen(spells: Frame[Spells], *, resolved: bool, until: float) -> Frame[Spells]:
    """The spells with those not seen again taken to be resolved the day after they were last seen
    unresolved, or unresolved up to day `until`.

    Those who were never tested again are among them. Whatever made people stay away, the truth for
    all who were treated lies between the two answers, if tests are right (Manski CF. Am Econ Rev
    1990;80(2):319-323, from memory).
    """
    unseen = spells["status"].isin(UNSEEN)
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    if resolved:
        changed = {"right_days": np.where(unseen, left + 1, right), "status": "resolved"}
    else:
        changed = {
            "left_days": np.where(unseen, np.maximum(left, until), left),
            "status": "unresolved",
        }
    return spells.assign(**changed | {"status": spells["status"].mask(unseen, changed["status"])})


def leave_out_sites(spells: Frame[Spells], config: Config) -> Iterator[dict]:
    """The least and the greatest share resolved by each day when any one site is left out;
    the sites are not named."""
    days, sites = np.array(config.study.curves.days), spells["site"].to_numpy(str)
    resolved = int(np.isfinite(spells["right_days"].to_numpy(float)).sum())
    fields: Fields = {"n_episodes": len(spells), "n_events": resolved, **count_sites(spells)}
    fields |= {
        "endpoint": config.study.resolution.primary,
        "method": "interval-censored NPMLE, each site left out once",
    }
    strata = {end: f"variation=without_one_site,{end}" for end in ("least", "greatest")}
    refusal = check_sites(fields["n_sites"], config.study.guards)
    if refusal:
        for stratum in strata.values():
            yield withhold("resolved", refusal.status, refusal.note, stratum=stratum, **fields)
        return
    parts = (spells[sites != site] for site in np.unique(sites))
    shares = np.array(
        [1 - fit_npmle(part["left_days"], part["right_days"]).survival(days)[1] for part in parts]
    )
    for day, least, greatest in zip(days, shares.min(axis=0), shares.max(axis=0), strict=True):
        yield state(f"resolved_by_day_{day}", least, stratum=strata["least"], **fields)
        yield state(f"resolved_by_day_{day}", greatest, stratum=strata["greatest"], **fields)


def answer_second_line(
    name: str, episodes: Frame[Episodes], derived: Derived, config: Config
) -> tuple[dict, np.ndarray]:
    """The primary difference of the second line under a variation,
    and what it is without each site."""
    row, without = estimate_primary_difference(
        episodes, derived["adjudications"], derived["attempts"], derived["spells"], config
    )
    return row | {"stratum": f"variation={name}"}, without


def leave_out_of_difference(primary: dict, without: np.ndarray) -> Iterator[dict]:
    """The least and the greatest difference of the second line when any one site is left out,
    where `primary` has a number."""
    if len(without):
        counted = {name: primary[name] for name in COUNTED}
        for end, value in (("least", without.min()), ("greatest", without.max())):
            yield state(
                primary["term"], value, stratum=f"variation=without_one_site,{end}", **counted
            )


def _answer(name: str, derived: Derived, config: Config) -> Iterator[dict]:
    """The reported shares of all episodes together, and of the plan's strata,
    as the curves give them."""
    endpoint = config.study.resolution.primary
    spells = derived["spells"][derived["spells"]["endpoint"].eq(endpoint)]
    shares = estimate_curves(spells, derived["adjudications"], derived["attempts"], config)
    reported = shares[shares["term"].str.startswith(("resolved_by_day_", "median_days"))]
    for row in reported.drop(columns=["analysis", "population"]).to_dict("records"):
        part = "" if row["stratum"] == "all" else f",{row['stratum']}"
        yield row | {"stratum": f"variation={name}{part}"}


def _followed(derived: Derived, config: Config) -> pd.DataFrame:
    positional = derived["adjudications"].loc[
        derived["adjudications"]["positional"].eq("yes"), EPISODE
    ]
    spells = derived["spells"]
    first = (
        spells["spell"].eq(1)
        & spells["endpoint"].eq(config.study.resolution.primary)
        & spells["status"].isin(INFORMATIVE)
    )
    return spells[first].merge(positional, on=EPISODE)


def _set(config: Config, part: str, **values: object) -> Config:
    changed = getattr(config.study, part).model_copy(update=values)
    return config.model_copy(update={"study": config.study.model_copy(update={part: changed})})
