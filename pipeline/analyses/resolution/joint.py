"""When positional vertigo resolved, with the days on which clinics tested as evidence.

Estimated is, for first spells of treated positional vertigo, the share resolved by day t under the
care that was given. A likelihood of intervals takes the days of tests as given; where clinics test
on different days, where symptoms bring patients back sooner, or where who failed is treated again
at the very test, its shares of the first days are too low. Here the days are part of the model
(pipeline/statistics/hidden_end_model.py), and what is said of each day is laid out in
pipeline/analyses/resolution/courses.py:

- the rate of resolution has a natural part by variant and band of days, and a jump on the day after
  a session, by variant, family of maneuver and what was done before. Each is drawn to that of its
  canal and kind of session, as if SHARED_ENDS resolutions had been seen at that rate;
- a planned test depends on the site, the days since the last session or test, and what that test
  showed; a test that symptoms bring about depends on whether the vertigo lasts. Which of the two a
  test is is taken from its recorded reason, where there is one;
- what patients say of positional symptoms, by telephone or otherwise, is evidence too.

Whoever stays away for good without a word may do so more often while well or while ill; who is
recorded as lost is watched no longer, whatever the course. A positive test long after a negative
one (recurrence_gap of the plan) may be a recurrence, with which the watch ends. A test is about as
often right as the plan says (config/study.yaml, misreading), which counts like PRIOR_TESTS tests of
these records, this project's proposal; what hangs on it is told beside.

Limits leave out one site at a time, one Newton step from the whole, or are exact at the effective
number (pipeline/statistics/hidden_end_influence.py); where the records tell less of misreading than
PRIOR_TESTS tests would, they reach over all rates of misreading of the plan. No share is given
- by whose day fewer were tested or asked than the plan wants for a number, or
- that is known as well as by fewer people than that, when the natural rate may be off by a factor
  of e on each single day: then the form of the model alone would tell it.
Then, as for every day, the bounds say what can be said: the share known to be resolved, and that
known to be unresolved, by tests taken as right, whatever became of all others.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import name_first_maneuvers
from pipeline.analyses.resolution.courses import Days, lay_out_days, list_members
from pipeline.analyses.resolution.curves import NOBODY, split_strata
from pipeline.analyses.resolution.fitted import (
    FORM_ALONE,
    FORM_SPREAD,
    PRIOR_TESTS,
    fit_courses,
    refit_misread,
)
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.hidden_end import HiddenEnd, find_weights
from pipeline.statistics.hidden_end_influence import Knowledge, know_shares, refit_without
from pipeline.statistics.hidden_end_model import IN, NOT_SEEN, OUT, Courses, Rates
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.share_limits import ShareBounds, bound_share
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Attempts, Findings, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Study

METHOD = (
    "hidden state with the days of tests as evidence; limits: delete-one-site jackknife, "
    "complementary log-log scale, or exact at the effective number where these reach further"
)
STATES = ("resolved", "unresolved")
BOUNDED = ("canal=", "mechanism=")  # by one of these bounds are told


def estimate_joint(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Shares resolved by the days of the plan, of all and by stratum, and what the model says of
    tests and reports."""
    members = list_members(adjudications, spells).merge(
        name_first_maneuvers(attempts), on=EPISODE, how="left"
    )
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    reasons = list_examined_days(examinations)
    days = lay_out_days(members, tests, reasons, treatments, followups, config)
    return tidy_estimates(
        list(_estimate(members, days, config)),
        analysis="joint_resolution",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


@dataclass(frozen=True)
class Fits:
    """The fit of all members; the shares of each group by each day without each site, (sites,
    groups, days); and the fits under the other rates of misreading of the plan."""

    courses: Courses
    whole: HiddenEnd
    without: np.ndarray
    varied: tuple[HiddenEnd, ...]


def _fit_all(members: pd.DataFrame, days: Days, groups: np.ndarray, study: Study) -> Fits | Refusal:
    """The fits; `groups` says who belongs to each, (members, groups) of bool."""
    sites = members["site"].to_numpy(str)
    refusal = check_sites(len(np.unique(sites)), study.guards)
    if refusal:
        return refusal
    try:
        fitted = fit_courses(members, days, study)
        courses, whole = fitted.courses, fitted.fit
        varied = refit_misread(courses, whole, study)
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))
    last = max(study.curves.days)
    rates = refit_without(courses, whole, sites)
    without = [
        _share_by_group(courses.keep(sites != site), of_others, groups[sites != site], last)
        for site, of_others in zip(np.unique(sites), rates, strict=True)
    ]
    return Fits(courses, whole, np.array(without), varied)


def _share_by_group(courses: Courses, rates: Rates, groups: np.ndarray, last: int) -> np.ndarray:
    """The share of each group resolved by each day from 1 to `last`, (groups, days); nan of a group
    without anybody."""
    ended = find_weights(courses, rates)[:, :last].cumsum(axis=1)
    with np.errstate(invalid="ignore"):
        return (groups.T.astype(float) @ ended) / groups.sum(axis=0)[:, None]


def _estimate(members: pd.DataFrame, days: Days, config: Config) -> Iterator[dict]:
    """All rows: of the whole, then of each stratum from the same fits, then of the model."""
    study = config.study
    sites = members["site"].to_numpy(str)
    heard_of = (days.result != NOT_SEEN) | (days.report != NOT_SEEN)
    last = max(study.curves.days)
    strata = list(split_strata(members, study.curves.strata))
    groups = np.column_stack([np.isin(members.index, part.index) for _, part in strata])
    fits = _fit_all(members, days, groups, study)
    if not isinstance(fits, Refusal):
        known = know_shares(fits.courses, fits.whole, range(1, last + 1), groups, FORM_SPREAD)
    for k, (stratum, part) in enumerate(strata):
        rows = groups[:, k]
        fields: Fields = {"stratum": stratum, "n_episodes": len(part)}
        fields |= count_sites(members[rows])
        refusal = check_size(len(part), None, study.guards)
        if not refusal and (
            stratum == "all" or (stratum.startswith(BOUNDED) and "," not in stratum)
        ):
            yield from _state_bounds(part, fields, study)
        refusal = refusal or check_sites(fields["n_sites"], study.guards)
        if refusal is None and isinstance(fits, Fits):
            n_heard = np.cumsum(heard_of[rows], axis=1).astype(bool).sum(axis=0)
            shares = _bound_shares(fits, known, k, sites, rows)
            yield from _state_shares(shares, n_heard, fields, study)
            if stratum == "all":
                yield from _state_rates(fits.whole, known, fields)
            continue
        reason = refusal or (fits if isinstance(fits, Refusal) else NOBODY)
        for day in range(1, last + 1):
            yield withhold(f"resolved_by_day_{day}", reason.status, reason.note, **fields)


@dataclass(frozen=True)
class Shares:
    """Shares resolved of one group by each day from 1 on: with limits, effective numbers with the
    form freed, and the least and the greatest under other rates of misreading."""

    edge: ShareBounds
    freed: np.ndarray
    least: np.ndarray
    greatest: np.ndarray


def _bound_shares(
    fits: Fits, known: Knowledge, group: int, sites: np.ndarray, rows: np.ndarray
) -> Shares:
    """The shares of one group; of the refits, those without one of its sites."""
    share, number = known.value[group], np.minimum(known.effective[group], rows.sum())
    days = np.arange(1, len(share) + 1)
    of_rows, sizes = np.unique(sites[rows], return_counts=True)
    without = 1 - fits.without[np.isin(np.unique(sites), of_rows), group]
    edge = bound_share(1 - share, without, np.ones(len(sizes)), sizes, number)
    varied = np.array([share, *(fit.share_ended(days, rows) for fit in fits.varied)])
    least, greatest = varied.min(axis=0), varied.max(axis=0)
    if known.tests.min() < PRIOR_TESTS:
        low, high = np.fmin(edge.low, 1 - greatest), np.fmax(edge.high, 1 - least)
        edge = replace(edge, low=low, high=high)
    return Shares(edge, known.effective_freed[group], least, greatest)


def _state_shares(
    shares: Shares, n_heard: np.ndarray, fields: Fields, study: Study
) -> Iterator[dict]:
    """Shares by day with limits, and the range of misreading of the days of the plan. `n_heard` is
    how many of these rows had been tested or asked by each day from 1 on."""
    edge, guards = shares.edge, study.guards
    for k in range(len(edge.share)):
        term = f"resolved_by_day_{k + 1}"
        refusal = None
        if n_heard[k] < guards.min_episodes:
            refusal = NOBODY
        elif shares.freed[k] < guards.min_episodes:
            refusal = FORM_ALONE
        elif np.isnan(edge.error[k]):
            refusal = RESTS_ON_ONE
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **fields)
            continue
        error: Fields = {"std_error": edge.tell_error(k)}
        low, high = 1 - edge.high[k], 1 - edge.low[k]
        yield state_within(term, 1 - edge.share[k], low, high, SHARE, guards, **fields, **error)
        if k + 1 in study.curves.days:
            yield state(f"{term}_least_misread", shares.least[k], **fields)
            yield state(f"{term}_greatest_misread", shares.greatest[k], **fields)


def _state_bounds(part: pd.DataFrame, fields: Fields, study: Study) -> Iterator[dict]:
    """The shares known to be resolved, and known to be unresolved, by each day of the plan; with
    limits by sites."""
    days = np.array(study.curves.days)
    known = (
        (
            [f"known_resolved_by_day_{day}" for day in days],
            part["right"].to_numpy()[:, None] <= days,
        ),
        (
            [f"known_unresolved_by_day_{day}" for day in days],
            part["left"].to_numpy()[:, None] >= days,
        ),
    )
    site, sizes = np.unique(part["site"].to_numpy(str), return_inverse=True, return_counts=True)[1:]
    for terms, happened in known:
        total = happened.sum(axis=0)
        by_site = np.array([happened[site == k].sum(axis=0) for k in range(len(sizes))])
        without = (total - by_site) / np.maximum(len(part) - sizes, 1)[:, None]
        number = np.full(len(days), float(len(part)))
        ones = np.ones(len(sizes))
        edge = bound_share(total / len(part), without, ones, sizes, number)
        for k, term in enumerate(terms):
            own = fields | {"n_events": int(total[k])}
            low, high = edge.low[k], edge.high[k]
            yield state_within(term, edge.share[k], low, high, SHARE, study.guards, **own)


def _state_rates(fit: HiddenEnd, known: Knowledge, fields: Fields) -> Iterator[dict]:
    # planned and chosen rates are known in sum only, unless reasons of tests are recorded
    excess = fit.rates.chosen[IN] - fit.rates.chosen[OUT]
    yield state("unplanned_tests_more_while_unresolved", excess, **fields)
    for k, name in enumerate(STATES):
        yield state(f"reported_{name}", fit.rates.telling[k], **fields)
        yield state(f"tests_positive_{name}", fit.rates.showing[k], **fields)
        yield state(f"tests_that_tell_misreading_{name}", known.tests[k], **fields)
