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
    """What every fit is made from.

    Attributes
    ----------
    rows
        One spell each, with left_days, right_days and the covariates.
    design
        Their covariates as columns, and the classes that have none.
    patterns
        Distinct intervals and covariates with their weights.
    index
        The number of the pattern of each row, (rows,).
    days
        Days on which a fit is compared with the curve.
    """

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
    """The numbers of a fit with their covariance.

    Attributes
    ----------
    full
        Coefficients and log(scale); where errors are by site, then differences from the curve by
        each day, (numbers,).
    covariance
        (numbers, numbers); nan where a number rests on one site.
    by_site
        Whether the covariance is by leaving out each site, or by the model.
    n_sites
        Number of sites of the rows.
    """

    full: np.ndarray
    covariance: np.ndarray
    by_site: bool
    n_sites: int

    def error(self, k: int) -> float:
        """Standard error of the k-th; nan where it rests on one site."""
        return float(np.sqrt(self.covariance[k, k]))

    def check(self, k: int, n_sites: int, guards: Guards) -> Refusal | None:
        """Refuse the k-th number, or its limits, as its class is seen at `n_sites`."""
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
    """Design the regression, without classes that hardly differ from others.

    Parameters
    ----------
    rows
        Spells by pipeline.analyses.resolution.regression.select_covered.
    terms
        Covariates.
    days
        Days on which a fit is compared with the curve.
    guards
        Thresholds.

    Returns
    -------
    Regression
        What every fit is made from.
    """
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
    """Find every number of a fit with its error.

    Parameters
    ----------
    regression
        What the fit was made from.
    fit
        The fit of all rows; refits without a site keep its distribution.
    guards
        Thresholds.

    Returns
    -------
    RegressionEstimates
        With too few sites, the coefficients only, with errors by the model.
    """
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
    """Read every number of a fit.

    Parameters
    ----------
    regression
        What the fit was made from.
    fit
        The fit.
    weight
        Number of rows of each pattern, (patterns,); 0 where a site that was left out had all.

    Returns
    -------
    np.ndarray
        Coefficients, log(scale), and by each day how far the mean fitted share lies from what the
        curve allows: 0 within, nan where there is no curve.
    """
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
    """Test that there is no difference at all.

    Parameters
    ----------
    estimate
        Coefficients, (q,).
    covariance
        Theirs, (q, q).
    n_sites
        Number of sites behind the covariance; None where it is by the model.

    Returns
    -------
    tuple of float or Refusal
        Statistic and p-value; a refusal with no more sites than coefficients.

    Notes
    -----
    With W = b' V^-1 b the statistic by model is W, by chi-squared with q degrees of freedom. By
    site it is Hotelling's, W (g - q) / ((g - 1) q) with g sites, by F with q and g - q degrees of
    freedom (Hotelling H. Ann Math Stat 1931;2:360-378).
    """
    q = len(estimate)
    if n_sites is not None and n_sites <= q:
        return Refusal("not_identified", "as many coefficients as sites: no test of all at once")
    wald = float(estimate @ np.linalg.solve(covariance, estimate))
    if n_sites is None:
        return wald, float(chi2.sf(wald, q))
    statistic = wald * (n_sites - q) / ((n_sites - 1) * q)
    return statistic, float(f.sf(statistic, q, n_sites - q))
