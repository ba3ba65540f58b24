"""Which maneuver in which order, another way: clones, censored where they depart, and weights.

Estimated is, for patients of one variant, by how much the share resolved by each day, and the mean
days with vertigo, would differ from those under the usual strategy, had all been treated by another
one: families as in pipeline/analyses/order/strategies.py, each further session within `retest_days`
of a failed examination, which comes when clinics test. This is the target trial of strategies, by
clones that are censored at the first departure and weighted for it
(pipeline/analyses/order/decisions.py, pipeline/analyses/order/clones.py). The g-formula takes those
who failed under the same sessions to be alike; here it is those whose records say the same of how
strong the vertigo still was, of earlier sessions, of the site and of where the session was. Tests
are weekly there and as they came here, so that orders differ sooner where clinics test sooner.

Resolution of a clone is only known to lie between its last positive and its first negative test:
shares are those of the weighted non-parametric curve of the intervals
(pipeline/analyses/order/arms.py). The curve takes the days of tests as given. Just after a session
shares are too low, in both strategies; by how much a difference is off is in
tests/recovery/README.md. Weights are not cut.

A difference has a number where enough clones, at enough sites, were given the session by which the
strategy differs from one session only, and where clones of both weigh as much as enough people.
Limits leave out one site at a time, the weights found anew, or follow from those of both shares at
their effective numbers, where these reach further.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.analyses.order.arms import Arm, fit_arm, measure_arms
from pipeline.analyses.order.clones import Choices, Clones, take_apart
from pipeline.analyses.order.decisions import describe_first, list_decisions, list_given
from pipeline.analyses.order.propensity import count_effective
from pipeline.analyses.order.strategies import NO_USUAL
from pipeline.analyses.order.strategy import COMPARED, DIFFERENCE, Strategy, find_strategies
from pipeline.analyses.order.variant_fit import name_variants
from pipeline.analyses.resolution.courses import list_members
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import state_within
from pipeline.statistics.tidy import Fields, count_sites, tidy_estimates, withhold
from pipeline.statistics.two_shares import Bounded, compare
from schemas.columns import Frame
from schemas.delivery import Episodes, Treatments
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Study

METHOD = (
    "clones censored at the first departure, inverse-probability weighted interval-censored NPMLE; "
    "limits: leaving out each site, or by both shares at their effective numbers where wider"
)


def estimate_weighted_strategies(
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Compare strategies by variant with clones and weights.

    Returns
    -------
    Frame[Estimates]
        For each variant of the plan and each strategy of families in use there but the usual one:
        by how much the shares resolved by the days of the plan and the mean days with vertigo
        differ from those of the usual one.
    """
    members = list_members(adjudications, spells)
    given = list_given(members, treatments, config)
    known = describe_first(members, given, episodes, adjudications, attempts)
    decisions = list_decisions(known, given, attempts, config)
    variants = name_variants(members, config.study)
    stated: list[Fields] = []
    for variant in config.study.strategies.variants:
        rows = np.flatnonzero(variants.eq(variant).fillna(False))
        sessions = given[given["row"].isin(rows)]
        strategies = find_strategies(sessions, config.study.guards.min_episodes)
        if strategies:
            choices = _restrict(known, decisions, rows, config.study)
            stated += _compare(variant, strategies, choices)
    return tidy_estimates(
        stated,
        analysis="weighted_strategies",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


def _restrict(
    members: pd.DataFrame, decisions: pd.DataFrame, rows: np.ndarray, study: Study
) -> Choices:
    """The choices made for some of the members, those without a first session left out."""
    rows = rows[members["family"].notna().to_numpy()[rows]]
    place = pd.Series(np.arange(len(rows)), rows)
    part = decisions[decisions["row"].isin(rows)]
    part = part.assign(row=part["row"].map(place)).reset_index(drop=True)
    return Choices(members.iloc[rows].reset_index(drop=True), part, study)


def _compare(variant: str, strategies: list[Strategy], choices: Choices) -> Iterator[Fields]:
    """All rows of one variant; the first of the strategies is the usual one."""
    usual = _weigh(choices.clone(strategies[0]), choices)
    for strategy in strategies[1:]:
        clones = choices.clone(strategy)
        fields: Fields = {"stratum": f"variant={variant},strategy={strategy.name}"} | COMPARED
        switched = choices.members[clones.switched]
        fields |= {"n_episodes": len(switched), **count_sites(switched)}
        terms = _name_terms(strategies[0], strategy, choices.study)
        found = _find_difference(usual, _weigh(clones, choices), choices.study)
        if isinstance(found, Refusal):
            for term in terms.values():
                yield withhold(term, found.status, found.note, **fields)
        else:
            yield from _state(found, terms, fields, choices.study)


def _name_terms(usual: Strategy, strategy: Strategy, study: Study) -> dict[str, str]:
    """The terms of what is told, by those of measure_arms: nothing of days until which the plan
    has both strategies the same, nor of those before a test, which the curve cannot tell."""
    plan = study.strategies
    pairs = zip(*(each.list_families(plan.sessions) for each in (usual, strategy)), strict=True)
    same_until = plan.retest_days * next(k for k, (one, other) in enumerate(pairs) if one != other)
    shares = {
        f"risk_difference_day_{day}": f"{DIFFERENCE}resolved_by_day_{day}"
        for day in plan.days
        if day > same_until and day >= plan.retest_days
    }
    return shares | {"mean_days_difference": f"{DIFFERENCE}mean_days_with_vertigo"}


@dataclass(frozen=True)
class Weighed:
    """The clones of a strategy: their weights, (samples, members), and between which days each was
    resolved, (left, right], (members,)."""

    weights: np.ndarray
    left: np.ndarray
    right: np.ndarray


def _weigh(clones: Clones, choices: Choices) -> Weighed | Refusal:
    """The clones of a strategy with weights, or why there are none, as where too few were given its
    session."""
    guards, sites = choices.study.guards, choices.members.loc[clones.switched, "site"]
    refusal = check_size(len(sites), None, guards) or check_sites(sites.nunique(), guards)
    if refusal:
        return refusal
    weights = choices.weigh(clones)
    if isinstance(weights, Refusal):
        return weights
    return Weighed(weights, *choices.find_intervals(clones))


@dataclass(frozen=True)
class Difference:
    """What became of those by whom two strategies differ.

    Attributes
    ----------
    arms
        Of the usual strategy and of the other, without what they share.
    part
        Which part of all they are, (samples,).
    """

    arms: tuple[Arm, Arm]
    part: np.ndarray


def _find_difference(
    usual: Weighed | Refusal, other: Weighed | Refusal, study: Study
) -> Difference | Refusal:
    """How two strategies differ by their weights, or why that is not known."""
    if isinstance(other, Refusal):
        return other
    if isinstance(usual, Refusal):
        return NO_USUAL
    *weights, part = take_apart(usual.weights, other.weights)
    arms = []
    for of, each in zip((usual, other), weights, strict=True):
        kept = each[0] > 0
        refusal = check_size(int(count_effective(each[0])), None, study.guards)
        if refusal:
            return refusal
        horizon = study.strategies.horizon_day
        try:
            arms.append(fit_arm(of.left[kept], of.right[kept], each[:, kept], horizon))
        except NotConverged as failure:
            return Refusal("not_converged", str(failure))
    return Difference((arms[0], arms[1]), part)


def _state(
    found: Difference, terms: dict[str, str], fields: Fields, study: Study
) -> Iterator[Fields]:
    plan = study.strategies
    for measure in measure_arms(*found.arms, plan.days, plan.horizon_day):
        if measure.term not in terms:
            continue
        term, refusal = terms[measure.term], measure.check()
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **fields)
            continue
        values = found.part * measure.values
        of_all = [Bounded(*(found.part[0] * end for end in bound)) for bound in measure.bounds]
        error, low, high, _ = compare(values, measure.scale, *of_all)
        own: Fields = {"std_error": error if error > 0 else None}
        scale, guards = measure.scale, study.guards
        yield state_within(term, values[0], low, high, scale, guards, **own, **fields)
