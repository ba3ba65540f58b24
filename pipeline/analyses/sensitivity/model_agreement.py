"""Do lifelines and statsmodels say the same?

Each release fits its main models a second time, on the very rows of the analyses.

Our own estimators are used since they are faster by hundreds of times where an analysis is answered
without each site. Here each of them is fitted once beside the general library that has the model: a
release whose numbers hang on a fault of ours, of a library, or of the two together with this pool's
rows, does not leave. The term `largest_difference` is the largest one of a model, in standard
errors or, of a curve, in the share, rounded up to one digit; `tolerance` is what it may be, with
its reason. Where a library has no such model, the note says so, and what of it was compared. Where
the model itself has no answer, or the second search does not end, there is no comparison, and the
status says so.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.afterwards.handicap_course import fit_course, lay_out_course
from pipeline.analyses.afterwards.handicap_totals import count_totals, select_totals
from pipeline.analyses.attempts.fits import fit_determined
from pipeline.analyses.attempts.rows import count_attempts, describe_attempts, design_attempts
from pipeline.analyses.resolution.regression import fit_families, select_covered
from pipeline.analyses.resolution.regression_fit import design_regression
from pipeline.analyses.resolution.shares import select_followed
from pipeline.analyses.sites.pooling import Effects, smooth_sites
from pipeline.statistics.guard import Disagreement, Refusal, check_sites, check_size
from pipeline.statistics.meta import pool_random_effects, tau2_by_paule_mandel
from pipeline.statistics.npmle import collapse_intervals, fit_npmle
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.second_fits import (
    SAME_CURVE,
    compare_aft,
    compare_cloglog,
    compare_curve,
    compare_least_squares,
    compare_pool,
    compare_two_levels,
)
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Followups
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Study

# a smaller difference is told as this one; differences are rounded up to one digit
LEAST, ROUNDING = 1e-6, 1e-9
LATE = Refusal("not_identified", "the analysis has no number itself")
NO_COUNTERPART = Refusal(
    "not_identified",
    "statsmodels has no maximum likelihood fit of this model: its variational one has intervals "
    "that are too narrow; the tests compare it with lme4 on recorded data",
)


class Model(NamedTuple):
    """One model and its second fit.

    Attributes
    ----------
    second
        The library and its class.
    compared
        What is compared.
    tolerance, reason
        How far apart it may lie, and why.
    unit
        Unit of the difference.
    """

    second: str
    compared: str
    tolerance: float
    reason: str
    unit: str = "standard errors"


SEARCH = (
    "both searches stop near the maximum; a hundredth of a standard error changes no limit that is "
    "printed"
)
MODELS = {
    "primary_curve": Model(
        "lifelines, KaplanMeierFitter.fit_interval_censoring",
        "the share unresolved on each day to the horizon that lies in no interval without "
        "information: inside one no curve is unique",
        SAME_CURVE,
        "lifelines stops when a step adds little to the log-likelihood, while our fit is proved "
        "optimal; the difference shows in no printed percentage",
        "the share",
    ),
    "time_ratios": Model(
        "lifelines, accelerated failure time fitters",
        "all coefficients and log(scale)",
        0.01,
        SEARCH,
    ),
    "attempts": Model(
        "statsmodels, GLM with complementary log-log link",
        "all coefficients",
        0.0001,
        "both use Newton's steps",
    ),
    "attempts_with_patients": Model("none", "nothing", 0.0, "no second fit"),
    "handicap_of_patients": Model(
        "statsmodels, MixedLM",
        "all coefficients of the same model without intercepts of sites, which MixedLM has only in "
        "a form that takes hundreds of times as long",
        0.01,
        SEARCH,
    ),
    "handicap": Model(
        "statsmodels, OLS on whitened totals",
        "all coefficients at the fitted variances",
        0.0001,
        "the same sums in another order",
    ),
    "pool_of_sites": Model(
        "statsmodels, combine_effects and WLS",
        "the mean with Paule and Mandel's variance between sites, and mean and error given that by "
        "restricted likelihood, which statsmodels has not",
        0.0001,
        "its search of the variance stops at five digits",
    ),
}


def check_model_agreement(
    episodes: Frame[Episodes],
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    followups: Frame[Followups],
    config: Config,
) -> Frame[Estimates]:
    """Compare each main model with its second fit.

    Returns
    -------
    Frame[Estimates]
        For each model (stratum model=...) largest_difference and tolerance, in the unit of the
        model.

    Raises
    ------
    Disagreement
        Where any difference is greater than it may be.
    """
    study, primary = config.study, config.study.resolution.primary
    followed = select_followed(spells, adjudications, primary)
    covered = select_covered(episodes, spells, adjudications, attempts, primary)
    totals = select_totals(episodes, followups, adjudications, spells, study)
    checks = [
        _check_curve(followed, study),
        _check_time_ratios(covered, study),
        *_check_attempts(
            describe_attempts(episodes, adjudications, attempts, config.failure.alone), config
        ),
        *_check_handicap(totals, study),
        _check_pool(followed, study),
    ]
    rows = [
        row
        for model, difference, counts in checks
        for row in state_agreement(model, difference, counts)
    ]
    return tidy_estimates(
        rows, analysis="model_agreement", population="positional", endpoint=primary
    )


def state_agreement(model: str, difference: float | Refusal, counts: dict) -> Iterator[dict]:
    """State how far a model lies from its second fit.

    Parameters
    ----------
    model
        Name in MODELS.
    difference
        The largest one in the unit of the model, or why there is none.
    counts
        n_episodes, n_sites and by_site of the rows compared.

    Yields
    ------
    dict
        largest_difference, rounded up to one digit, and tolerance.

    Raises
    ------
    Disagreement
        Where the difference is greater than it may be.
    """
    entry = MODELS[model]
    fields = {"stratum": f"model={model}", "method": entry.second} | {**counts, "n_events": None}
    if isinstance(difference, Refusal):
        yield withhold("largest_difference", difference.status, difference.note, **fields)
        return
    if not difference <= entry.tolerance:
        raise Disagreement(
            f"Nothing is released: the model {model!r} and its second fit ({entry.second}) differ "
            f"by {difference:.2g} {entry.unit}, where {entry.tolerance:g} is the most. Compared: "
            f"{entry.compared}. One of the two is wrong on these rows: tell those who keep this "
            "project, with the line above and results/unreleased/fingerprints.csv."
        )
    at_least = max(difference, LEAST)
    digit = 10.0 ** np.floor(np.log10(at_least))
    rounded = round(np.ceil(at_least / digit - ROUNDING) * digit, 6)
    yield state(
        "largest_difference", rounded, note=f"in {entry.unit}; compared: {entry.compared}", **fields
    )
    yield state("tolerance", entry.tolerance, note=entry.reason, **fields)


Check = tuple[str, float | Refusal, dict]


def _count(rows: pd.DataFrame) -> dict:
    return {"n_episodes": len(rows), **count_sites(rows)}


def _check_curve(followed: pd.DataFrame, study: Study) -> Check:
    refusal = check_size(len(followed), None, study.guards)
    return "primary_curve", refusal or _compare_curve(followed, study), _count(followed)


def _compare_curve(followed: pd.DataFrame, study: Study) -> float | Refusal:
    left, right, index = collapse_intervals(followed["left_days"], followed["right_days"])
    weight, days = np.bincount(index).astype(float), np.arange(1, study.curves.horizon_day + 1)
    try:
        return compare_curve(left, right, weight, fit_npmle(left, right, weight), days)
    except NotConverged:
        return LATE


def _check_time_ratios(rows: pd.DataFrame, study: Study) -> Check:
    resolved = int(np.isfinite(rows["right_days"].to_numpy(float)).sum())
    refusal = check_size(len(rows), resolved, study.guards)
    return "time_ratios", refusal or _compare_time_ratios(rows, study), _count(rows)


def _compare_time_ratios(rows: pd.DataFrame, study: Study) -> float | Refusal:
    regression = design_regression(rows, study.regression.terms, study.curves.days, study.guards)
    fits, chosen = fit_families(regression, study.regression.families)
    fit = fits[chosen] if chosen else LATE
    return fit if isinstance(fit, Refusal) else compare_aft(regression.patterns, fit)


def _check_attempts(rows: pd.DataFrame, config: Config) -> Iterator[Check]:
    guards, counts = config.study.guards, count_attempts(rows)
    happened = int(rows["event"].sum())
    refusal = check_size(
        counts["n_episodes"], happened, guards, len(rows) - happened
    ) or check_sites(counts["n_sites"], guards)
    difference: float | Refusal
    if refusal:
        difference = refusal
    else:
        attempts, fit = fit_determined(design_attempts(rows, config))
        if isinstance(fit, Refusal):
            difference = fit
        else:
            counts = count_attempts(attempts.members)
            difference = compare_cloglog(attempts.single, fit)
    yield "attempts", difference, counts
    yield "attempts_with_patients", refusal or NO_COUNTERPART, counts


def _check_handicap(totals: pd.DataFrame, study: Study) -> Iterator[Check]:
    days = [0, *study.handicap.days]
    kept = [
        day
        for day in days
        if not check_size(
            totals.loc[totals["plan_day"].eq(day), "patient"].nunique(), None, study.guards
        )
    ]
    course, counts = lay_out_course(totals, kept, study.guards), count_totals(totals)
    if course is None:
        yield from ((model, LATE, counts) for model in ("handicap_of_patients", "handicap"))
        return
    fitted, alone = fit_course(course, sites=False)
    rows = fitted.total, fitted.design, fitted.effects, fitted.patient
    yield (
        "handicap_of_patients",
        alone if isinstance(alone, Refusal) else compare_two_levels(*rows, alone),
        counts,
    )
    fitted, with_sites = fit_course(course, sites=course.by_site)
    yield (
        "handicap",
        with_sites
        if isinstance(with_sites, Refusal)
        else compare_least_squares(
            fitted.total, fitted.design, fitted.effects, fitted.patient, fitted.site, with_sites
        ),
        counts,
    )


def _check_pool(followed: pd.DataFrame, study: Study) -> Check:
    effects = smooth_sites(followed, study)[study.site_pooling.days[-1]]
    refusal = check_sites(effects.counts["n_sites"], study.guards)
    return "pool_of_sites", refusal or _compare_pool(effects), effects.counts


def _compare_pool(effects: Effects) -> float | Refusal:
    try:
        pools = [
            pool_random_effects(effects.effect, effects.variance, *how)
            for how in ((tau2_by_paule_mandel,), ())
        ]
        return compare_pool(effects.effect, effects.variance, *pools)
    except NotConverged:
        return LATE
