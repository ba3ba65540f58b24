"""The model of resolution and of tests fitted to the episodes of a pool.

What is estimated, and from what, is told in pipeline/analyses/resolution/joint.py.
"""

import hashlib
import pickle
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.courses import (
    LEAST_OWN,
    Classes,
    Days,
    classify_canals,
    classify_days,
    classify_variants,
    count_sizes,
    find_parents,
)
from pipeline.statistics.guard import Refusal
from pipeline.statistics.hidden_end import HiddenEnd, fit_hidden_end
from pipeline.statistics.hidden_end_model import Courses, Prior
from schemas.study import Study

PRIOR_TESTS = 200.0  # of so many tests it is as if misreading were as the plan says
KEPT = 2  # fits that are remembered: by canal, and by variant
SHARED_ENDS = 2.0  # resolutions by which a class is drawn to the wider one
FORM_SPREAD = 1.0  # standard deviation of the log natural rate of a single day, the form freed
FORM_ALONE = Refusal("not_identified", "the form of the model alone would tell it")


def make_courses(classes: Classes, days: Days, prior: Prior) -> Courses:
    """What the model is fitted to."""
    return Courses(
        classes.natural,
        classes.jump,
        days.habit,
        days.coming,
        days.result,
        days.report,
        prior,
        count_sizes(classes, days),
    )


@dataclass(frozen=True)
class Fitted:
    """What the rates are of, what they were fitted to, and the fit."""

    classes: Classes
    courses: Courses
    fit: HiddenEnd


def fit_courses(
    members: pd.DataFrame,
    days: Days,
    study: Study,
    variants: np.ndarray | None = None,
    least: int = LEAST_OWN,
) -> Fitted:
    """The fit with rates by variant and family, each drawn to the rates of a fit by canal.

    Variants begin with the name of their canal, as classify_variants has them, which are those of
    None. A family has rates of its own from `least` sessions on.

    Analyses of one process that fit the same rows are given the same fit.

    Raises NotConverged.
    """
    horizon, misreading = days.habit.shape[1], study.misreading
    prior = Prior(PRIOR_TESTS, misreading.sensitivity, misreading.specificity)
    wide = classify_days(classify_canals(members), days.sessions, horizon, None)
    of_canals = _fit_once(make_courses(wide, days, prior)).rates
    named = classify_variants(members) if variants is None else variants
    classes = classify_days(named, days.sessions, horizon, least)
    natural, jump = find_parents(classes, wide)
    prior = replace(
        prior,
        ends=SHARED_ENDS,
        natural=of_canals.natural[natural],
        jump=of_canals.jump[jump],
    )
    courses = make_courses(classes, days, prior)
    return Fitted(classes, courses, _fit_once(courses))


def refit_misread(courses: Courses, whole: HiddenEnd, study: Study) -> tuple[HiddenEnd, ...]:
    """The fits with sensitivity and specificity of tests held at the other values of the plan.

    Raises NotConverged.
    """
    fits = []
    for sensitivity, specificity in study.misreading.varied:
        prior = replace(
            courses.prior, tests=np.inf, sensitivity=sensitivity, specificity=specificity
        )
        start = replace(whole.rates, showing=np.array([1 - specificity, sensitivity]))
        fits.append(fit_hidden_end(replace(courses, prior=prior), start))
    return tuple(fits)


def _fit_once(courses: Courses) -> HiddenEnd:
    """The fit, remembered by a digest of what it is fitted to, which can be large."""
    fitted_to = hashlib.sha256(pickle.dumps(courses)).digest()
    if fitted_to not in _FITS:
        fit = fit_hidden_end(courses)
        while len(_FITS) >= KEPT:
            del _FITS[next(iter(_FITS))]
        _FITS[fitted_to] = fit
    return _FITS[fitted_to]


_FITS: dict[bytes, HiddenEnd] = {}
