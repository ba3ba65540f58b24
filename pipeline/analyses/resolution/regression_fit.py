"""One regression of time to resolution with every number that is told of it,
and their errors by leaving out one site at a time.

pipeline/analyses/resolution/regression.py says what is estimated. A refit without a site keeps the
design and the distribution.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import chi2, f, norm

from pipeline.analyses.covariates import NUMERIC
from pipeline.statistics.design import Design, build_design, find_shared
from pipeline.statistics.guard import Refusal, check_sites
from pipeline.statistics.interval_regression import (
    AftFit,
    Patterns,
    collapse_patterns,
    fit_aft,
    share_past,
)
from pipeline.statistics.jackknife import (
    RESTS_ON_ONE,
    jackknife_covariance,
    limits,
    p_value,
    refit_without_each_site,
)
from pipeline.statistics.npmle import fit_npmle
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.smooth_hazard import keep_distinguishable
from schemas.study import Guards

ALIKE = Refusal("not_identified", "differs from the other terms in a handful of episodes only")
UNDETERMINED = Refusal(
    "not_identified", "separation: needs a coefficient that the data do not determine"
)


@dataclass(frozen=True)
class Regression:
    """What every fit is made from: the rows, their design, and the days on which it is compared
    with the curve."""

    rows: pd.DataFrame
    design: Design
    patterns: Patterns
    index: np.ndarray
    days: tuple[int, ...]

    @property
    def names(self) -> list[str]:
        """The terms of a fit, in order."""
        return ["intercept", *self.design.matrix, *self.design.unnamed, "scale"]


@dataclass(frozen=True)
class RegressionEstimates:
    """One estimate each with its covariance: coefficients and log(scale),
    then differences from the curve."""

    full: np.ndarray
    covariance: np.ndarray
    by_site: bool
    n_sites: int

    def error(self, k: int) -> float:
        """Standard error of the k-th; nan where it rests on one site."""
        return float(np.sqrt(self.covariance[k, k]))

    def check(self, k: int, n_sites: int, guards: Guards) -> Refusal | None:
        """Whether the k-th has no number, or none with limits,
        as its class is seen at `n_sites`."""
        if not np.isfinite(self.full[k]):
            return UNDETERMINED
        if not np.isfinite(self.error(k)):
            return RESTS_ON_ONE
        return check_sites(n_sites, guards) if self.by_site else None

    def limit(self, k: int, n_sites: int) -> tuple[float, float]:
        """Its 95 % confidence limits, from `n_sites` that tell of it: sites without a class move
        its coefficient little when they are left out."""
        if self.by_site:
            return limits(self.full[k], self.error(k), n_sites)
        reach = norm.ppf(0.975) * self.error(k)
        return self.full[k] - reach, self.full[k] + reach

    def compare(self, k: int, n_sites: int) -> float:
        """The two-sided p-value of zero."""
        if self.by_site:
            return p_value(self.full[k], self.error(k), n_sites)
        return float(2 * norm.sf(abs(self.full[k]) / self.error(k)))


def design_regression(
    rows: pd.DataFrame, terms: tuple[str, ...], days: tuple[int, ...], guards: Guards
) -> Regression:
    """The design of the rows, without classes that hardly differ from others,
    and what is to be told of each fit."""
    resolved = np.isfinite(rows["right_days"].astype(float))
    design = build_design(rows, terms, resolved, guards, numeric=NUMERIC)
    fixed = np.column_stack([np.ones(len(rows)), design.unnamed])
    distinguishable = keep_distinguishable(design.matrix, fixed, guards)
    alike = {name: ALIKE for name in design.matrix if name not in distinguishable}
    shared = {
        name: [*design.shared.get(name, []), *more]
        for name, more in find_shared(design.matrix, list(distinguishable)).items()
    }
    design = replace(
        design,
        matrix=distinguishable,
        refused=design.refused | alike,
        shared=design.shared | shared,
    )
    matrix = np.column_stack([fixed[:, :1], distinguishable, design.unnamed])
    patterns, index = collapse_patterns(rows["left_days"], rows["right_days"], matrix)
    return Regression(rows, design, patterns, index, days)


def estimate_regression(regression: Regression, fit: AftFit, guards: Guards) -> RegressionEstimates:
    """Every number of a fit with errors by site; with too few sites, the coefficients only,
    with errors by the model."""
    sites = regression.rows["site"].to_numpy(str)
    n_sites = len(np.unique(sites))
    terms = np.append(fit.coef, np.log(fit.scale))
    if check_sites(n_sites, guards):
        return RegressionEstimates(terms, fit.covariance, False, n_sites)
    full = read_fit(regression, fit, regression.patterns.weight)
    nothing = np.full(len(full), np.nan)

    def refit(stay: np.ndarray) -> np.ndarray:
        weight = np.bincount(regression.index, stay, minlength=len(regression.patterns.weight))
        again = fit_aft(regression.patterns._replace(weight=weight), fit.family)
        return nothing if isinstance(again, Refusal) else read_fit(regression, again, weight)

    return RegressionEstimates(
        full, jackknife_covariance(full, refit_without_each_site(sites, refit)), True, n_sites
    )


def read_fit(regression: Regression, fit: AftFit, weight: np.ndarray) -> np.ndarray:
    """Coefficients, log(scale), and by each day how far the fitted share lies from what the curve
    allows."""
    used, left, right = weight > 0, regression.patterns.left, regression.patterns.right
    try:
        lower, upper = fit_npmle(left[used], right[used], weight[used]).survival(regression.days)
    except NotConverged:
        lower = upper = np.full(len(regression.days), np.nan)
    fitted = [
        np.average(share_past(fit, regression.patterns.design[used], day), weights=weight[used])
        for day in regression.days
    ]
    away = fitted - np.clip(fitted, 1 - upper, 1 - lower)
    return np.concatenate([fit.coef, [np.log(fit.scale)], away])


def compare_with_none(
    estimate: np.ndarray, covariance: np.ndarray, n_sites: int | None
) -> tuple[float, float] | Refusal:
    """Statistic and p-value of no difference at all.

    By site: Hotelling's T2, as a covariance of n_sites - 1 degrees of freedom has it (Hotelling H.
    Ann Math Stat 1931;2:360-378), an F statistic; with `n_sites` None chi-squared.
    """
    q = len(estimate)
    if n_sites is not None and n_sites <= q:
        return Refusal("not_identified", "as many coefficients as sites: no test of all at once")
    wald = float(estimate @ np.linalg.solve(covariance, estimate))
    if n_sites is None:
        return wald, float(chi2.sf(wald, q))
    statistic = wald * (n_sites - q) / ((n_sites - 1) * q)
    return statistic, float(f.sf(statistic, q, n_sites - q))
