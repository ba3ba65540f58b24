"""What became of vertigo after each first maneuver, by variant.

Estimated is, for first spells of treated positional vertigo of a variant whose first session was of
one family of maneuvers, whoever was tested and whenever: the share resolved by each day of the
plan, and the mean days with vertigo up to its horizon (the restricted mean), under the care that
followed. Each cell of variant and family has them twice:
- as they are;
- where two or more families of a variant were given to enough, as if all its patients had been
  given each: by weights (pipeline/analyses/order/propensity.py) on what was known at the first
  session, with the terms of the first choice. Whoever had next to no probability of a family, or of
  any other, is left out.

What each episode tells comes from the model of resolution and of tests with rates by variant
(pipeline/analyses/order/variant_fit.py): its probability of having been resolved by each day, given
all that was seen of it. A share is the weighted mean of these. The model knows variant and family
and no other covariate: of an episode of which little is seen it says what is true of its class, so
that weights move the share the less the less is seen.

Limits leave out one site at a time, rates by one Newton step and weights anew, or follow from how
well as many people would tell it, as for the shares of all (pipeline/analyses/resolution/joint.py),
where these reach further; where the records tell less of misreading than PRIOR_TESTS tests would,
they reach over all rates of misreading of the plan. There is no number by whose day fewer were
tested or asked than the plan wants (a mean needs them in the first days), and none that the form of
the natural rate alone would tell.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from pipeline.analyses.cells import NO_FAMILY, name_families
from pipeline.analyses.order.decisions import describe_first, list_given
from pipeline.analyses.order.first_groups import Group, list_groups
from pipeline.analyses.order.propensity import count_effective
from pipeline.analyses.order.variant_fit import VariantCourses, fit_variants, lay_out_variants
from pipeline.analyses.resolution.courses import BANDS
from pipeline.analyses.resolution.curves import NOBODY
from pipeline.analyses.resolution.fitted import (
    FORM_ALONE,
    FORM_SPREAD,
    PRIOR_TESTS,
    Fitted,
    refit_misread,
)
from pipeline.statistics.guard import Refusal
from pipeline.statistics.hidden_end import find_weights
from pipeline.statistics.hidden_end_influence import know_sums, refit_without
from pipeline.statistics.hidden_end_model import Courses, Rates
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import (
    SHARE,
    limit_by_error,
    limit_by_sites,
    span,
    state_within,
)
from pipeline.statistics.share_limits import bound_share, count_alike
from pipeline.statistics.tidy import Fields, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Attempts, Findings, Spells
from schemas.estimate import Estimates
from schemas.order_plan import FirstChoice
from schemas.study import Config, Study

METHOD = (
    "hidden state with the days of tests as evidence; limits: leaving out each site, or at the "
    "effective number where these reach further"
)


def estimate_first_courses(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Estimate what became of vertigo after each first maneuver, by variant.

    Returns
    -------
    Frame[Estimates]
        For each cell (variant=...,family=...): resolved_by_day_ and mean_days_with_vertigo, as they
        are, and standardised_ where two or more families of the variant were given to enough.
    """
    laid = lay_out_variants(
        examinations, findings, treatments, followups, adjudications, spells, config
    )
    given = list_given(laid.members, treatments, config)
    known = describe_first(laid.members, given, episodes, adjudications, attempts)
    known = known.assign(
        variant=laid.variants,
        family=name_families(known["family"].fillna(NO_FAMILY), config.maneuvers),
    )
    groups = list(list_groups(known, config.study))
    return tidy_estimates(
        list(_estimate(laid, groups, config.study)),
        analysis="first_courses",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


class Told(NamedTuple):
    """What is told of a group: the term, and the weight of the share resolved by each day from 1
    on; `horizon` for mean days with vertigo up to it."""

    term: str
    sums: np.ndarray
    horizon: int | None

    @property
    def last_day(self) -> int:
        """By which enough must have been heard of: of a mean, by the end of the first band of
        the natural rate, since most of what it tells of the first days is the form otherwise."""
        return int(BANDS[1]) - 1 if self.horizon else int(np.flatnonzero(self.sums)[-1]) + 1


def list_told(plan: FirstChoice) -> list[Told]:
    """The shares resolved by the days of the plan, and mean days with vertigo: of a horizon of h
    days h less the shares resolved by the days before it."""
    last = max(*plan.days, plan.horizon_day)
    days = np.eye(last)
    shares = [Told(f"resolved_by_day_{day}", days[day - 1], None) for day in plan.days]
    until = days[: plan.horizon_day - 1].sum(axis=0)
    return [*shares, Told("mean_days_with_vertigo", until, plan.horizon_day)]


def _estimate(laid: VariantCourses, groups: list[Group], study: Study) -> Iterator[Fields]:
    told = list_told(study.first_choice)
    fitted = fit_variants(laid, study)
    answered = [group for group in groups if group.refusal is None]
    answers = (
        iter(fitted for _ in answered)
        if isinstance(fitted, Refusal)
        else _answer(laid, fitted, answered, told, study)
    )
    for group in groups:
        answer = group.refusal or next(answers)
        for k, each in enumerate(told):
            yield _state(group, each, answer if isinstance(answer, Refusal) else answer[k], study)


class Answer(NamedTuple):
    """A number, its standard error and limits."""

    value: float
    error: float
    low: float
    high: float


class Seen(NamedTuple):
    """What is known of one number of a group.

    Attributes
    ----------
    value, error, effective, freed
        The number, its standard error by people, and the effective numbers, as in Knowledge.
    without
        The number without each site of the group, (sites,).
    misread
        The number under other rates of misreading.
    heard
        How many of the group had been tested or asked by its day.
    """

    value: float
    error: float
    effective: float
    freed: float
    without: np.ndarray
    misread: list[float]
    heard: int


def _answer(
    laid: VariantCourses, fitted: Fitted, groups: list[Group], told: list[Told], study: Study
) -> Iterator[Refusal | list[Answer | Refusal]]:
    """What is told of each group."""
    if not groups:
        return
    sums = np.array([each.sums for each in told])
    weights = np.zeros((len(laid.members), len(groups)))
    for k, group in enumerate(groups):
        weights[group.rows, k] = group.weights[0]
    courses, fit = fitted.courses, fitted.fit
    known = know_sums(courses, fit, sums, weights, FORM_SPREAD)
    try:
        varied = refit_misread(courses, fit, study) if known.tests.min() < PRIOR_TESTS else ()
    except NotConverged as failure:
        yield from (Refusal("not_converged", str(failure)) for _ in groups)
        return
    misread = [_tell(courses, each.rates, sums) for each in varied]
    refits = zip(np.unique(laid.sites), refit_without(courses, fit, laid.sites), strict=True)
    without = {name: _tell(courses, rates, sums) for name, rates in refits}
    for k, group in enumerate(groups):
        sites, rows = laid.sites[group.rows], group.rows
        kept = zip(np.unique(sites), group.weights[1:], strict=True)
        of_sites = np.array([_mean(each, without[name][rows]) for name, each in kept])
        ends = [_mean(group.weights[0], each[rows]) for each in misread]
        n_heard = laid.count_heard(rows)
        yield [
            _limit(
                Seen(
                    known.value[k, j],
                    known.error[k, j],
                    known.effective[k, j],
                    known.effective_freed[k, j],
                    of_sites[:, j],
                    [end[j] for end in ends],
                    n_heard[each.last_day - 1],
                ),
                each,
                group,
                sites,
                study,
            )
            for j, each in enumerate(told)
        ]


def _tell(courses: Courses, rates: Rates, sums: np.ndarray) -> np.ndarray:
    """The sums of each person, (n, sums)."""
    return find_weights(courses, rates)[:, : sums.shape[1]].cumsum(axis=1) @ sums.T


def _mean(weight: np.ndarray, each: np.ndarray) -> np.ndarray:
    """The weighted mean of the sums, (sums,)."""
    return weight @ each / weight.sum()


def _limit(
    seen: Seen, told: Told, group: Group, sites: np.ndarray, study: Study
) -> Answer | Refusal:
    """The number of a group with its limits, or why there is none."""
    guards = study.guards
    if seen.heard < guards.min_episodes:
        return NOBODY
    if seen.freed < guards.min_episodes:
        return FORM_ALONE
    whole = group.weights[0]
    sizes = np.array([whole[sites == site].sum() for site in np.unique(sites)])
    if told.horizon is None:
        number = np.array([min(seen.effective, count_effective(whole))])
        edge = bound_share(
            np.array([1 - seen.value]),
            1 - seen.without[:, None],
            np.ones(len(sizes)),
            sizes,
            number,
        )
        found = Answer(
            seen.value, float(edge.error[0]), float(1 - edge.high[0]), float(1 - edge.low[0])
        )
    else:
        scale = span(0, told.horizon)
        value, without = told.horizon - seen.value, told.horizon - seen.without
        error, *by_sites = limit_by_sites(value, without, scale, count_alike(sizes))
        by_people = limit_by_error(value, seen.error, scale, None)
        low, high = np.fmin(by_sites[0], by_people[0]), np.fmax(by_sites[1], by_people[1])
        found = Answer(value, max(error, seen.error), float(low), float(high))
    ends = seen.misread if told.horizon is None else [told.horizon - end for end in seen.misread]
    return found._replace(low=min(found.low, *ends), high=max(found.high, *ends)) if ends else found


def _state(group: Group, told: Told, answer: Answer | Refusal, study: Study) -> Fields:
    term, fields = group.prefix + told.term, group.fields
    if isinstance(answer, Refusal):
        return withhold(term, answer.status, answer.note, **fields)
    scale = SHARE if told.horizon is None else span(0, told.horizon)
    value, error, low, high = answer
    own: Fields = {"std_error": error, "note": group.note}
    return state_within(term, value, low, high, scale, study.guards, **own, **fields)
