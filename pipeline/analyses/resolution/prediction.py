"""Whether the joint model predicts when clinics test, what tests show and what patients report.

Estimated is, for each band of days of the plan, how many times as many days with a test were seen
as the model of resolution and of tests (pipeline/analyses/resolution/joint.py) expects; among the
tests that came, how many times as many positive ones; and among those who were asked, how many
times as many reports of symptoms. Each day is predicted from the days before it
(pipeline/statistics/hidden_end_prediction.py), with the sessions, the watch and who was asked as
they were. The fit is that of the same records. It makes few of these numbers right by itself: a
site's habits are by days since a session, and say nothing of days since day 0, and nothing of the
course is a site's own. Where they do, as for first tests, the variance is smaller accordingly.

A part, one band of one site, is judged where the difference has a variance of LEAST_VARIANCE, so
that it is nearly normal. A site lies beyond chance where its largest deviation has a p-value below
LEVEL, times the number of its parts (Bonferroni). In 15 simulated pools of five equal sites as the
model has them, 3 of 75 sites lay beyond chance for tests and 2 of 75 for positive tests. What the
model misses here need not make its shares wrong, and a small pool hides what a larger one would
show.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from pipeline.analyses.resolution.courses import lay_out_days, list_members
from pipeline.analyses.resolution.fitted import fit_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.hidden_end_model import NO_TEST, NOT_SEEN, UNWATCHED, Courses
from pipeline.statistics.hidden_end_prediction import (
    Compared,
    Predicted,
    compare_positive,
    compare_reports,
    compare_tests,
    predict,
)
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Study

METHOD = "prediction of each day from the days before it, by the fitted model; normal intervals"
LEAST_VARIANCE = 5.0  # common practice, as of expected counts of a chi-squared test
LEVEL = 0.05
BEYOND = 2.0  # standard deviations; chance puts 4.6 % there
RATIO = "{outcome}_seen_to_expected_day_{days}"
SUMMARY = (
    "{outcome}_parts_judged",
    "{outcome}_parts_beyond_2",
    "{outcome}_largest_deviation",
    "{outcome}_sites_judged",
    "{outcome}_sites_beyond_chance",
)
FEW = Refusal("too_few", "too few to tell more than chance")


@dataclass(frozen=True)
class Outcome:
    """What is predicted: how it is compared, and on which days it could be."""

    compare: Callable[[Courses, Predicted, np.ndarray, int], Compared]
    could_be: Callable[[Courses], np.ndarray]


OUTCOMES = {
    "tests": Outcome(compare_tests, lambda courses: courses.coming != UNWATCHED),
    "positive_tests": Outcome(
        compare_positive, lambda courses: (courses.coming > NO_TEST) & (courses.result != NOT_SEEN)
    ),
    "reports": Outcome(compare_reports, lambda courses: courses.report != NOT_SEEN),
}


def estimate_prediction(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Seen beside expected by band of days, of all and of each site, and how many parts and sites
    lie beyond chance."""
    members = list_members(adjudications, spells)
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    reasons = list_examined_days(examinations)
    days = lay_out_days(members, tests, reasons, treatments, followups, config)
    study = config.study
    fitted: tuple[Courses, Predicted] | Refusal | None = check_sites(
        members["site"].nunique(), study.guards
    )
    if fitted is None:
        try:
            found = fit_courses(members, days, study)
            fitted = found.courses, predict(found.courses, found.fit.rates)
        except NotConverged as failure:
            fitted = Refusal("not_converged", str(failure))
    rows: list[Fields] = []
    for name in OUTCOMES:
        if isinstance(fitted, Refusal):
            rows += _withhold(name, fitted, members, study)
        else:
            rows += _compare(name, *fitted, members, study)
    return tidy_estimates(
        rows,
        analysis="joint_prediction",
        population="positional",
        endpoint=study.resolution.primary,
        method=METHOD,
    )


def list_bands(study: Study) -> list[tuple[int, int]]:
    """First and last day of each band: up to each day of the plan, and up to the horizon."""
    last = sorted({*study.curves.days, study.curves.horizon_day})
    first = [1, *(day + 1 for day in last[:-1])]
    return list(zip(first, last, strict=True))


def _name_ratio(outcome: str, band: tuple[int, int]) -> str:
    """The term of one band: that of a single day names one."""
    first, last = band
    return RATIO.format(outcome=outcome, days=first if first == last else f"{first}_to_{last}")


def _withhold(
    outcome: str, refusal: Refusal, members: pd.DataFrame, study: Study
) -> Iterator[Fields]:
    fields: Fields = {"stratum": "all", "n_episodes": len(members), **count_sites(members)}
    bands = [_name_ratio(outcome, band) for band in list_bands(study)]
    for term in (*bands, *(term.format(outcome=outcome) for term in SUMMARY)):
        yield withhold(term, refusal.status, refusal.note, **fields)


def _compare(
    outcome: str, courses: Courses, predicted: Predicted, members: pd.DataFrame, study: Study
) -> Iterator[Fields]:
    """The ratios of all by band, those of each site, then the summary."""
    kind, bands = OUTCOMES[outcome], list_bands(study)
    day = np.arange(1, courses.coming.shape[1] + 1)
    band = np.searchsorted([last for _, last in bands], day)
    could_be = kind.could_be(courses)
    # whether each person counts in each band
    counted = np.column_stack([could_be[:, band == k].any(axis=1) for k in range(len(bands))])
    everybody = np.broadcast_to(band, could_be.shape)
    whole = kind.compare(courses, predicted, everybody, len(bands))
    for k, days in enumerate(bands):
        term = _name_ratio(outcome, days)
        fields: Fields = {"stratum": "all", "n_episodes": int(counted[:, k].sum())}
        fields |= count_sites(members[counted[:, k]])
        refusal = _check(whole, k, fields, study) or check_sites(fields["n_sites"], study.guards)
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **fields)
            continue
        error = np.sqrt(whole.variance[k])
        seen = whole.seen[k] + norm.ppf(0.975) * error * np.array([-1, 1])
        low, high = np.maximum(seen, 0) / whole.expected[k]
        ratio = whole.seen[k] / whole.expected[k]
        yield state(term, ratio, lower=low, upper=high, **fields)
    names, number = np.unique(members["site"].to_numpy(str), return_inverse=True)
    own = kind.compare(
        courses, predicted, number[:, None] * len(bands) + band, len(names) * len(bands)
    )
    judged = np.zeros(len(own.seen), bool)
    for j, site in enumerate(names):
        for k, days in enumerate(bands):
            cell, term = j * len(bands) + k, _name_ratio(outcome, days)
            n = int(counted[number == j, k].sum())
            fields = {"stratum": f"site={site}", "n_episodes": n, "n_sites": int(n > 0)}
            refusal = _check(own, cell, fields, study)
            judged[cell] = refusal is None
            if refusal:
                yield withhold(term, refusal.status, refusal.note, **fields)
            else:
                # an interval would tell how many tests there were
                yield state(term, own.seen[cell] / own.expected[cell], **fields)
    yield from _sum_up(outcome, own.deviation, judged, len(bands), members)


def _check(compared: Compared, cell: int, fields: Fields, study: Study) -> Refusal | None:
    """Why a part is not judged."""
    size = check_size(fields["n_episodes"], None, study.guards)
    return size or (FEW if compared.variance[cell] < LEAST_VARIANCE else None)


def _sum_up(
    outcome: str, deviation: np.ndarray, judged: np.ndarray, n_bands: int, members: pd.DataFrame
) -> Iterator[Fields]:
    """How many parts are judged and lie beyond two standard deviations, the largest deviation, and
    how many sites are judged and lie beyond chance."""
    largest = np.where(judged, np.abs(deviation), 0.0)
    by_site, n_judged = largest.reshape(-1, n_bands), judged.reshape(-1, n_bands).sum(axis=1)
    p_of_site = 2 * norm.sf(by_site.max(axis=1)) * n_judged
    beyond = (n_judged > 0) & (p_of_site < LEVEL)
    p_value = float(min(1.0, 2 * norm.sf(largest.max()) * judged.sum()))
    fields: Fields = {"stratum": "all", "n_episodes": len(members), **count_sites(members)}
    numbers = (
        judged.sum(),
        (largest > BEYOND).sum(),
        largest.max(),
        (n_judged > 0).sum(),
        beyond.sum(),
    )
    for term, number in zip(SUMMARY, numbers, strict=True):
        more: Fields = {"p_value": p_value} if term.endswith("deviation") else {}
        if judged.any() or term.endswith("judged"):
            yield state(term.format(outcome=outcome), number, **fields, **more)
        else:
            yield withhold(term.format(outcome=outcome), FEW.status, FEW.note, **fields)
