"""Which first maneuver cleared which variant?

Of positional episodes of a variant whose first session was of one family of maneuvers, and that
were tested again before any other session: the share whose next deciding test was negative. Each
cell of variant and family has it three times:
- as it is, with limits that know sites;
- where two or more families of a variant have enough episodes, as if all patients of the variant
  had been given each (pipeline/analyses/order/first_standardised.py);
- pooled, so that it learns from the other cells (pipeline/analyses/order/first_pooled.py).

Nothing after that test enters, and nothing after the first session decides who is in a cell but
that a test followed. The test comes sooner at one site than at another, and the later it comes the
more have recovered by themselves: the median days to it stand beside each share. Associations in
records of whoever was tested; who was not is counted by variant.

A variant of which some are merely suspected stands with them and without; the pool is then made
anew with them. The short arm stands apart by each definition, and has a status where the response
to a maneuver named it.

How many further episodes a cell would need until its limits are `answer_points` apart: width falls
as the root of the number, if further episodes come from further sites alike, so that of n episodes
with limits w apart n ((w / answer)^2 - 1) are missing. A cell of fewer than may be shown needs,
whatever its share, 1.96^2 / 4 / (answer / 2)^2 times 1 + (m - 1) sd^2 / 4, with m episodes a site
as in the cells that have enough and sd the standard deviation of log-odds between sites (Kish L.
Survey Sampling. 1965, from memory, for the factor by which clusters make a variance greater; sd^2 /
4 is the intraclass correlation at a share of a half). Both are rounded up to tens, n and w first as
they are released, so that they tell no more of the people than these do. At the pool's own pace a
cell gets as many more a year as it has by the years of the records.
"""

from collections.abc import Iterator, Mapping
from math import ceil

import numpy as np
import pandas as pd
from scipy.stats import norm

from pipeline.analyses.cells import NO_FAMILY, list_cells
from pipeline.analyses.covariates import describe_covariates
from pipeline.analyses.order.first_pooled import CELL, FACTORS, PooledCells, pool_cells
from pipeline.analyses.order.first_standardised import standardise
from pipeline.analyses.order.needed import METHOD, NEEDED, count_years, state_needed
from pipeline.statistics import site_limits
from pipeline.statistics.guard import Refusal, check_size
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.order_plan import Variant
from schemas.study import Config, Study

POPULATION = "positional, first session"
CIRCULAR = Refusal("not_identified", "circular: the arm is named by the response that is compared")
FLAT = Refusal(
    "not_identified", "the likelihood is flat: the data do not determine every coefficient"
)
NEGATIVE = "first_test_negative"
STANDARDISED, POOLED = f"standardised_{NEGATIVE}", f"pooled_{NEGATIVE}"
COUNT, AS_IT_IS = "count", f"share of those tested; {site_limits.METHOD}"
WEIGHTED = (
    "inverse-probability weighted share; intervals: leaving out each site, t distribution, or "
    "exact at the effective number where these reach further"
)
MIXED = (
    "logistic regression with normal effects of variant, family, both together and site, Laplace "
    "approximation; means and intervals over what the standard deviations may be"
)
PROFILE = "the same, restricted maximum likelihood; profile-likelihood intervals"
LEFT_OUT = "without those whose probability of one choice was next to none"


def estimate_first_choice(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the share of negative tests after each first maneuver, by variant.

    Returns
    -------
    Frame[Estimates]
        For each variant of the plan how many had a first session, and how many a test after it; for
        each cell (variant=...,family=...) the shares, the days to the test, how much a pooled share
        is the cell's own and how many further episodes are needed; for all the standard deviations
        of the pool.
    """
    study, plan = config.study, config.study.first_choice
    variants = {name: study.variants[name] for name in plan.variants}
    covariates = describe_covariates(episodes, adjudications, attempts).drop(columns="patient_id")
    cells = list_cells(adjudications, attempts, variants, config.maneuvers).merge(
        covariates, on=EPISODE, how="left", validate="many_to_one"
    )
    tested = cells[cells["tested"] & cells["family"].ne(NO_FAMILY)]
    firm, wider = _part_variants(variants)
    among = _keep(tested, firm)
    pool = pool_cells(among, study.guards)
    rows = list(_state_spread(pool, among))
    years = count_years(episodes)
    for name, variant in variants.items():
        members = cells[cells["variant"].eq(name)]
        rows += _count_members(members, f"variant={name}")
        if variant.is_circular:
            refused = _describe(members[members["tested"]], f"variant={name}", AS_IT_IS)
            rows.append(withhold(NEGATIVE, CIRCULAR.status, CIRCULAR.note, **refused))
            continue
        own = (
            pool_cells(_keep(tested, firm - {wider[name]} | {name}), study.guards)
            if name in wider
            else pool
        )
        rows += _state_variant(members, name, own, among, years, study)
    shared = {
        "analysis": "first_choice",
        "population": POPULATION,
        "endpoint": "objective",
    }
    return tidy_estimates(rows, **shared)


def _part_variants(variants: Mapping[str, Variant]) -> tuple[set[str], dict[str, str]]:
    """The variants that are pooled with each other, without the merely suspected, and by variant
    that has those too the one whose place it takes in a pool of its own."""
    wider = {
        wide: narrow
        for wide, variant in variants.items()
        for narrow, other in variants.items()
        if variant.suspected and not other.suspected and variant.values == other.values
    }
    firm = {name for name, variant in variants.items() if not variant.is_circular} - set(wider)
    return firm, wider


def _keep(tested: pd.DataFrame, names: set[str]) -> pd.DataFrame:
    return tested[tested["variant"].isin(names)]


def _state_variant(
    members: pd.DataFrame,
    name: str,
    pool: PooledCells | Refusal,
    among: pd.DataFrame,
    years: int,
    study: Study,
) -> Iterator[dict]:
    """All rows of the cells of a variant."""
    tested = members[members["tested"]]
    sizes = tested["family"].value_counts()
    enough = set(sizes.index[sizes >= study.guards.min_episodes]) - {NO_FAMILY}
    compared = tested[tested["family"].isin(enough)].reset_index(drop=True)
    for family in sorted(set(members["family"]) - {NO_FAMILY}):
        cell = tested[tested["family"].eq(family)]
        stratum = f"variant={name},family={family}"
        refusal = check_size(len(cell), None, study.guards)
        if refusal:
            fields = _describe(cell, stratum, AS_IT_IS)
            yield withhold(NEGATIVE, refusal.status, refusal.note, **fields)
            yield from _state_needed(cell, stratum, None, pool, among, years, study)
            continue
        low, high = site_limits.bound_share(cell["negative"], cell["site"], study.guards)
        fields = _describe(cell, stratum, AS_IT_IS)
        yield state_within(
            NEGATIVE, cell["negative"].mean(), low, high, SHARE, study.guards, **fields
        )
        yield state("days_to_next_test", cell["days"].median(), **fields | {"method": "median"})
        if len(enough) > 1:
            yield from _state_standardised(compared, family, stratum, study)
        yield from _state_pooled(cell, (name, family), stratum, pool, study)
        yield from _state_needed(cell, stratum, high - low, pool, among, years, study)


def _state_standardised(
    compared: pd.DataFrame, family: str, stratum: str, study: Study
) -> Iterator[dict]:
    """The standardised share, how many the weights leave, and of whom it tells."""
    found = standardise(compared, family, study.first_choice, study.guards)
    if isinstance(found, Refusal):
        fields = _describe(compared[compared["family"].eq(family)], stratum, WEIGHTED)
        yield withhold(STANDARDISED, found.status, found.note, **fields)
        return
    fields = _describe(found.compared[found.given], stratum, WEIGHTED)
    left_out = len(compared) - len(found.compared)
    yield state_within(
        STANDARDISED,
        found.share,
        found.low,
        found.high,
        SHARE,
        study.guards,
        note=LEFT_OUT if left_out else None,
        **fields,
    )
    yield state("effective_n", found.effective, **fields)
    overlap = len(found.compared) / len(compared)
    yield state("overlap", overlap, **_describe(compared, stratum, WEIGHTED) | {"n_events": None})


def _state_pooled(
    cell: pd.DataFrame,
    key: tuple[str, str],
    stratum: str,
    pool: PooledCells | Refusal,
    study: Study,
) -> Iterator[dict]:
    """The pooled share, unless other cells tell nearly all of it, and how much its own do."""
    fields = _describe(cell, stratum, MIXED)
    if isinstance(pool, Refusal):
        yield withhold(POOLED, pool.status, pool.note, **fields)
        return
    share, low, high, own = pool.cells.loc[key, ["share", "low", "high", "own"]]
    yield state("learned_from_own_records", own, **fields)
    least = study.first_choice.least_own_part
    if own < least:
        note = f"other cells tell more than {100 * (1 - least):.0f} % of what is known of it"
        yield withhold(POOLED, "not_identified", note, **fields)
        return
    yield state_within(POOLED, share, low, high, SHARE, study.guards, **fields)


def _state_needed(
    cell: pd.DataFrame,
    stratum: str,
    width: float | None,
    pool: PooledCells | Refusal,
    among: pd.DataFrame,
    years: int,
    study: Study,
) -> Iterator[dict]:
    """About how many further episodes would make the limits of a cell an answer, and in how many
    years they come if as many come a year as did; no row where they are one. Of a cell of which too
    few may be shown all cells tell, `among` which it is."""
    answer = study.first_choice.answer_points / 100
    if width is None or len(cell) < study.disclosure.least_shown:
        fields = _describe(among, stratum, METHOD)
        if isinstance(pool, Refusal):
            yield withhold(NEEDED, pool.status, pool.note, **fields)
            return
        alone = norm.ppf(0.975) ** 2 / answer**2
        by_site = max(_count_by_site(among, study) - 1, 0)
        missing = alone * (1 + by_site * pool.site_sd**2 / 4)
        yield state(NEEDED, 10 * ceil(missing / 10), **fields)
    elif width > answer:
        fields = _describe(cell, stratum, METHOD)
        yield from state_needed(len(cell), width, answer, years, study.disclosure, **fields)


def _state_spread(pool: PooledCells | Refusal, tested: pd.DataFrame) -> Iterator[dict]:
    """How far variants, families, cells beyond both, and sites differ."""
    for factor in FACTORS:
        fields = _describe(tested, "all", PROFILE)
        if isinstance(pool, Refusal):
            yield withhold(f"{factor}_sd", pool.status, pool.note, **fields)
            continue
        if pool.fit.flat:
            yield withhold(f"{factor}_sd", FLAT.status, FLAT.note, **fields)
            continue
        low, high = pool.limit(factor)
        sd = float(pool.fit.sds[FACTORS.index(factor)])
        upper = None if np.isinf(high) else high
        yield state(f"{factor}_sd", sd, lower=low, upper=upper, **fields)


def _count_by_site(tested: pd.DataFrame, study: Study) -> float:
    """Mean episodes a site of the cells that have enough; 1 if none has."""
    sizes = tested.groupby(CELL)["site"].agg(["size", "nunique"])
    enough = sizes[sizes["size"] >= study.guards.min_episodes]
    return float(enough["size"].sum() / enough["nunique"].sum()) if len(enough) else 1.0


def _count_members(members: pd.DataFrame, stratum: str) -> Iterator[dict]:
    """How many of a variant had a first session, a test after it, and a positive one."""
    tested = members[members["tested"]]
    positive = tested[~tested["negative"]]
    for term, part, whole in (
        ("first_session", members, members),
        ("first_tested", tested, tested),
        ("first_test_positive", positive, tested),
    ):
        fields = {"n_episodes": len(whole), "n_events": len(part)}
        fields |= count_sites(part, among=whole)
        yield state(term, len(part), stratum=stratum, method=COUNT, **fields)


def _describe(rows: pd.DataFrame, stratum: str, method: str) -> Fields:
    """Stratum, method and counts of a row of tested episodes."""
    negative = rows["negative"].astype(bool)
    counts = count_sites(rows, events=rows[negative])
    return {
        "stratum": stratum,
        "method": method,
        "n_episodes": len(rows),
        "n_events": int(negative.sum()),
        **counts,
    }
