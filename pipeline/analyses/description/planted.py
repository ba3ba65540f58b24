"""The planted variant beside the reading of the tests: for the demonstration pool only,
whose makers know the truth.

Counted are all stored episodes of the demonstration pool: what was planted (strata) by what the
tests were read as (terms), once for being positional at all and, among those read as positional,
for canal, arm and mechanism. Estimated is the share of a planted variant that was read as planted,
among the episodes whose tests can tell: before the first attempt, a test that can show the variant
showed nystagmus. Those tests are the ones of the plan (tests_of_canal, and tests_of_short_arm for
the short arm of the posterior canal); several canals need nystagmus in tests of two canals, or in
those of one canal on both sides. The same canal of both ears is read as that canal with the side
`both`, and asked for as such. A part that was planted as unknown is not asked for. Tests that fit
several variants leave a reading open: `variant_allowed` asks only whether the planted one is still
among those. Other causes have no test of their own: their share is that of those set apart, among
all.

The people are invented, so nothing is hidden. How a program's tests are read says how the criteria
do on that program's patients, and nothing of real ones.
"""

from collections.abc import Iterator

import pandas as pd
from scipy.stats import binomtest

from pipeline.statistics.guard import check_size
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas import codes
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.derived import Adjudications, Findings
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Guards

READ = {
    "positional": codes.POSITIONAL,
    "canal": codes.CANAL,
    "arm": codes.ARM,
    "mechanism": codes.MECHANISM,
}
PLACE = ("canal", "arm", "mechanism")
# the one canal that the demonstration pool plants in both ears at once
BOTH_EARS_HAVE = "posterior"
POPULATION = "demonstration pool"
TESTS_TELL = "demonstration pool, tests can tell"
INTERVAL = "exact (Clopper-Pearson) interval"


def compare_planted(
    adjudications: Frame[Adjudications],
    findings: Frame[Findings],
    truth: pd.DataFrame,
    config: Config,
) -> Frame[Estimates]:
    """Compare the planted variants with the reading of the tests.

    Parameters
    ----------
    adjudications, findings
        The derived tables.
    truth
        One row for each simulated episode: site, episode_id, pattern, canal, arm, mechanism, side,
        is_positional. Episodes that were not stored are left out.
    config
        Criteria and thresholds.

    Returns
    -------
    Frame[Estimates]
        By planted pattern (stratum planted=...) the counts <part>:read=<value> and the shares
        <part>_recovered; variant_allowed, where the planted one is still among the readings.
    """
    planted = truth[[*EPISODE, "pattern", "is_positional", *PLACE, "side"]]
    planted = planted.assign(
        canal=planted["canal"].mask(planted["side"].eq("both"), BOTH_EARS_HAVE)
    )
    read = adjudications[[*EPISODE, *READ, "side", "variants"]]
    pairs = read.merge(planted, on=EPISODE, validate="one_to_one", suffixes=("", "_planted"))
    pairs["tells"] = mark_telling(pairs, findings, config.criteria)
    rows = [
        row
        for pattern, members in _split_patterns(pairs)
        for row in _compare(pattern, members, config)
    ]
    return tidy_estimates(rows, analysis="planted_variants")


def mark_telling(pairs: pd.DataFrame, findings: Frame[Findings], criteria: Criteria) -> pd.Series:
    """Mark the rows whose tests can tell the planted variant, as at the head of this file.

    Parameters
    ----------
    pairs
        One row for each episode: site, episode_id, is_positional, canal_planted, arm_planted and
        side_planted.
    findings
        Their tests; those before the first attempt count.
    criteria
        Which tests can show which canal.

    Returns
    -------
    pd.Series
        bool by the index of `pairs`; true for all rows of another cause.
    """
    shown = findings[findings["nystagmus"].astype(bool) & findings["before_treatment"].astype(bool)]
    canals = {
        canal: _key(shown[shown["test"].isin(tests)])
        for canal, tests in criteria.tests_of_canal.items()
    }
    short = _key(shown[shown["test"].isin(criteria.tests_of_short_arm)])
    keys = pd.MultiIndex.from_frame(pairs[EPISODE].astype(str))
    tells = pd.Series(pairs["is_positional"].eq("no").to_numpy(bool), index=pairs.index)
    several = _is_several(pairs)
    for canal, episodes in canals.items():
        tells |= ~several & pairs["canal_planted"].eq(canal).to_numpy(bool) & keys.isin(episodes)
    tells |= _plant(pairs, "posterior", "short") & keys.isin(short)
    return tells | (several & keys.isin(_find_several(shown, criteria)))


def _is_several(pairs: pd.DataFrame) -> pd.Series:
    return (pairs["canal_planted"].eq("multiple") | pairs["side_planted"].eq("both")).astype(bool)


def _find_several(shown: pd.DataFrame, criteria: Criteria) -> pd.MultiIndex:
    """Episodes with nystagmus in tests of the posterior and of the lateral canal,
    or in those of the posterior one on both sides."""
    posterior = shown[shown["test"].isin(criteria.tests_of_canal["posterior"])]
    lateral = shown[shown["test"].isin(criteria.tests_of_canal["lateral"])]
    right, left = (_key(posterior[posterior["side"].eq(side)]) for side in ("right", "left"))
    return _key(posterior).intersection(_key(lateral)).union(right.intersection(left))


def _plant(pairs: pd.DataFrame, canal: str, arm: str) -> pd.Series:
    return (pairs["canal_planted"].eq(canal) & pairs["arm_planted"].eq(arm)).astype(bool)


def _key(tests: pd.DataFrame) -> pd.MultiIndex:
    return pd.MultiIndex.from_frame(tests[EPISODE].astype(str).drop_duplicates())


def _split_patterns(pairs: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    """The planted patterns, positional ones first, in the order of their names."""
    for _, group in sorted(pairs.groupby("is_positional"), key=lambda part: part[0] != "yes"):
        yield from group.groupby("pattern", sort=True)


def _compare(pattern: str, members: pd.DataFrame, config: Config) -> Iterator[dict]:
    stratum = f"planted={pattern}"
    yield from (
        row | {"stratum": stratum, "population": POPULATION} for row in _count_readings(members)
    )
    informative = members[members["tells"]]
    yield from (
        row | {"stratum": stratum, "population": TESTS_TELL}
        for row in _share(informative, config.study.guards)
    )


def _count_readings(members: pd.DataFrame) -> Iterator[dict]:
    """How many were read as what: positional or not, and the place of those that were read as
    positional."""
    positional = members[members["positional"].eq("yes")]
    for part, values in READ.items():
        among = members if part == "positional" else positional
        for value in values:
            counted = among[among[part].eq(value)]
            counts = {"n_episodes": len(counted), **count_sites(counted)}
            yield state(f"{part}:read={value}", len(counted), method="count", **counts)


def _share(members: pd.DataFrame, guards: Guards) -> Iterator[dict]:
    """Shares read as planted: being positional (or set apart),
    each part of the place that was planted, and all of them at once."""
    if members["is_positional"].eq("no").any():
        yield _recover(
            "positional_recovered",
            members,
            members["positional"].eq("probable_non_positional"),
            guards,
        )
        return
    parts = [part for part in PLACE if members[f"{part}_planted"].isin(READ[part]).all()]
    parts = [part for part in parts if not members[f"{part}_planted"].eq("unknown").any()]
    together = members["positional"].eq("yes")
    yield _recover("positional_recovered", members, together, guards)
    for part in parts:
        same = members[part].eq(members[f"{part}_planted"]) & members["positional"].eq("yes")
        if part == "canal":
            same &= members["side"].eq("both") | members["side_planted"].ne("both")
        together = together & same
        yield _recover(f"{part}_recovered", members, same, guards)
    yield _recover("variant_recovered", members, together, guards)
    if not _is_several(members).any():  # several canals are several entries of that list
        yield _recover("variant_allowed", members, _allow(members, parts), guards)


def _allow(members: pd.DataFrame, parts: list[str]) -> pd.Series:
    """Whether one of the variants that the tests allow (canal/side/arm/mechanism)
    agrees with the planted one in all parts asked for."""
    place = {"canal": 0, "arm": 2, "mechanism": 3}
    planted = members[[f"{part}_planted" for part in parts]].astype(str).to_numpy()
    allowed = members["variants"].fillna("").astype(str)
    matches = [
        any(
            [variant.split("/")[place[part]] for part in parts] == list(wanted)
            for variant in variants.split()
        )
        for variants, wanted in zip(allowed, planted, strict=True)
    ]
    return pd.Series(matches, index=members.index) & members["positional"].eq("yes").astype(bool)


def _recover(term: str, members: pd.DataFrame, recovered: pd.Series, guards: Guards) -> dict:
    """A share with its exact limits; none of an event is a number too here,
    so that only the episodes are asked to be enough."""
    total, n_recovered = len(members), int(recovered.sum())
    fields = {
        "n_episodes": total,
        "n_events": n_recovered,
        **count_sites(members),
        "method": INTERVAL,
    }
    if refusal := check_size(total, guards.min_events, guards):
        return withhold(term, refusal.status, refusal.note, **fields)
    limits = binomtest(n_recovered, total).proportion_ci(method="exact")
    return state(term, n_recovered / total, lower=limits.low, upper=limits.high, **fields)
