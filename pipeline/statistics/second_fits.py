"""Fits by lifelines and statsmodels of what our own estimators have fitted, on the same rows.

Each function tells how far the two lie apart.

It takes our fit and returns the largest difference, or why there is no second fit.
Coefficients are compared in standard errors by the model, since what the rows do not tell may
differ between two searches that both are right; shares as they are.
"""

import warnings

import numpy as np
import pandas as pd
from lifelines import KaplanMeierFitter, LogLogisticAFTFitter, LogNormalAFTFitter, WeibullAFTFitter
from lifelines.exceptions import ConvergenceError
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.families.links import CLogLog
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.regression.linear_model import OLS, WLS
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.meta_analysis import combine_effects

from pipeline.statistics.cloglog import Maximum, Rows
from pipeline.statistics.guard import Refusal
from pipeline.statistics.interval_regression import AftFit, Patterns
from pipeline.statistics.linear_mixed import LinearFit
from pipeline.statistics.meta import Pool
from pipeline.statistics.npmle import Npmle

# of a day: lifelines takes intervals as closed, so their left ends are moved by this
HALF_OPEN = 1e-5
EARLIEST = 1e-9  # of a day: stands for 0, of which lifelines would take the logarithm
KNOWN = 1e-6  # least and greatest share this close: the day lies in no interval without information
# of the log-likelihood: where lifelines stops its search for the curve, which can be slow at its
# end
ENOUGH = (1e-7, 1e-9, 1e-11)
LESS = 1e-9  # of the log-likelihood: a second fit that ends lower by more is at no maximum
SAME_CURVE = 0.0005  # of a share: shows in no printed percentage
FARTHER = {"ftol": 1e-12, "maxiter": 500}  # so that lifelines does not stop its search early
# lifelines' fitter of each family, its names of the two parameters, and the sign of our logarithm
# of the scale
AFT = {
    "weibull": (WeibullAFTFitter, "lambda_", "rho_", -1),
    "lognormal": (LogNormalAFTFitter, "mu_", "sigma_", 1),
    "loglogistic": (LogLogisticAFTFitter, "alpha_", "beta_", -1),
}
SEPARATED = Refusal(
    "not_identified",
    "separation: the data do not determine every coefficient, and no second fit ends",
)
NO_END = Refusal("not_converged", "the search of the second fit did not end")


def compare_curve(
    left: np.ndarray, right: np.ndarray, weight: np.ndarray, fit: Npmle, days: np.ndarray
) -> float | Refusal:
    """Compare the share that is left with that of lifelines' estimator for intervals.

    Only days that lie in no interval without information are compared. Its search goes on where the
    two are still apart: a step that adds little to the likelihood can be far from the end of many
    such.

    Parameters
    ----------
    left, right
        Ends of the distinct observations (left, right], days.
    weight
        How often each occurs.
    fit
        Our fit.
    days
        The days to compare.

    Returns
    -------
    float | Refusal
        The largest difference of shares, or why there is no second fit.
    """
    lower, upper = fit.survival(days)
    known = upper - lower < KNOWN
    if not known.any():
        return Refusal("not_identified", "every day lies in an interval without information")
    informative = (left > 0) | np.isfinite(right)
    difference = np.inf
    for enough in ENOUGH:
        other = KaplanMeierFitter().fit_interval_censoring(
            left[informative] + HALF_OPEN,
            right[informative],
            weights=weight[informative],
            tol=enough,
        )
        steps = other.survival_function_["NPMLE_estimate_lower"]
        at = np.searchsorted(steps.index.to_numpy(float), days[known], side="right") - 1
        difference = float(np.abs(steps.to_numpy(float)[at] - lower[known]).max())
        if difference <= SAME_CURVE:
            break
    return difference


def compare_aft(patterns: Patterns, fit: AftFit) -> float | Refusal:
    """Compare the interval-censored regression with lifelines' of the same family.

    Parameters
    ----------
    patterns
        Distinct observations.
    fit
        Our fit.

    Returns
    -------
    float | Refusal
        The largest difference of coefficients and log(scale), in standard errors, or why there is
        no second fit.
    """
    if not np.isfinite(fit.coef).all():
        return SEPARATED
    fitter, place, shape, sign = AFT[fit.family]
    informative = (patterns.weight > 0) & ((patterns.left > 0) | np.isfinite(patterns.right))
    names = [f"x{k}" for k in range(1, patterns.design.shape[1])]
    frame = pd.DataFrame(patterns.design[informative, 1:], columns=names).assign(
        left=np.maximum(patterns.left[informative], EARLIEST),
        right=patterns.right[informative],
        weight=patterns.weight[informative],
    )
    try:
        with warnings.catch_warnings():
            # weights are said to need robust errors; errors are not taken from here
            warnings.simplefilter("ignore")
            other = fitter().fit_interval_censoring(
                frame, "left", "right", weights_col="weight", fit_options=FARTHER
            )
    except ConvergenceError:
        return NO_END
    parameters = [
        *other.params_[[(place, name) for name in ("Intercept", *names)]],
        sign * other.params_[(shape, "Intercept")],
    ]
    return _apart(np.append(fit.coef, np.log(fit.scale)), np.array(parameters), fit.covariance)


def compare_cloglog(rows: Rows, fit: Maximum) -> float | Refusal:
    """Compare the complementary log-log regression with statsmodels' generalised linear model.

    Parameters
    ----------
    rows
        Distinct rows with counts.
    fit
        Our fit.

    Returns
    -------
    float | Refusal
        The largest difference of coefficients, in standard errors, or why there is no second fit.
    """
    counts = np.column_stack([rows.events, rows.failures])
    model = GLM(counts, rows.design, family=Binomial(CLogLog()), offset=rows.offset)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of separation: `converged` says so too
        other = model.fit(maxiter=100, tol=1e-12)
        found, ended = other.params, other.converged
        if not (ended and _is_as_likely(model, found, fit)):
            # weighted least squares may run away where few tell much, and call it converged
            other = model.fit(
                start_params=np.zeros(rows.design.shape[1]), method="newton", maxiter=100, disp=0
            )
            found, ended = other.params, other.mle_retvals["converged"]
        if not (ended and _is_as_likely(model, found, fit)):
            return NO_END
    return _apart(fit.point, found, np.linalg.inv(fit.information))


def _is_as_likely(model: GLM, found: np.ndarray, fit: Maximum) -> bool:
    """Whether a second fit ended at no less likely a place than ours."""
    ours = model.loglike(fit.point)
    return bool(model.loglike(found) >= ours - LESS * (1 + abs(ours)))


def compare_two_levels(
    measured: np.ndarray,
    design: np.ndarray,
    effects: np.ndarray,
    patient: np.ndarray,
    fit: LinearFit,
) -> float | Refusal:
    """Compare the linear mixed model without sites' intercepts with statsmodels' own search.

    Both maximise the restricted likelihood.

    Parameters
    ----------
    measured, design, effects, patient
        As for pipeline.statistics.restricted_likelihood.sum_products.
    fit
        Our fit.

    Returns
    -------
    float | Refusal
        The largest difference of coefficients, in standard errors, or why there is no second fit.
    """
    model = MixedLM(measured, design, groups=patient, exog_re=effects)
    for methods in (["lbfgs", "powell"], ["bfgs", "powell"]):
        with warnings.catch_warnings():
            # of a variance near zero and of searches: `converged` says so too
            warnings.simplefilter("ignore")
            other = model.fit(reml=True, method=methods)
        # a search that steps onto a variance of zero calls an infinite likelihood converged
        least = fit.log_likelihood - LESS * (1 + abs(fit.log_likelihood))
        if other.converged and least <= other.llf < np.inf:
            return _apart(fit.coef, np.asarray(other.fe_params), fit.covariance)
    return NO_END


def compare_least_squares(
    measured: np.ndarray,
    design: np.ndarray,
    effects: np.ndarray,
    patient: np.ndarray,
    site: np.ndarray,
    fit: LinearFit,
) -> float:
    """Compare the linear mixed model at its own variances with statsmodels' least squares.

    These are of measurements made independent, site by site, with the whole covariance matrix of
    the site.

    Parameters
    ----------
    measured, design, effects, patient, site
        As for pipeline.statistics.restricted_likelihood.sum_products.
    fit
        Our fit.

    Returns
    -------
    float
        The largest difference of coefficients, in standard errors.
    """
    parts = []
    for name in np.unique(site):
        at_site = site == name
        same = patient[at_site][:, None] == patient[at_site]
        covariance = (
            same * (effects[at_site] @ fit.patient @ effects[at_site].T)
            + fit.site
            + fit.residual * np.eye(at_site.sum())
        )
        parts.append(
            np.linalg.solve(
                np.linalg.cholesky(covariance),
                np.column_stack([measured[at_site], design[at_site]]),
            )
        )
    whitened = np.vstack(parts)
    return _apart(fit.coef, OLS(whitened[:, 0], whitened[:, 1:]).fit().params, fit.covariance)


def compare_pool(
    effects: np.ndarray, variances: np.ndarray, paule_mandel: Pool, restricted: Pool
) -> float:
    """Compare the mean over sites with statsmodels'.

    With the variance between sites by Paule and Mandel, which statsmodels finds too, the means are
    compared; with that by restricted likelihood, which it does not find, the mean and its
    Hartung-Knapp error are compared with those of weighted least squares.

    Parameters
    ----------
    effects, variances
        The effect of each site and its variance, (sites,).
    paule_mandel, restricted
        Our pools, with the variance between sites by either.

    Returns
    -------
    float
        The largest difference, in standard errors.
    """
    other = combine_effects(effects, variances, method_re="iterated", use_t=True)
    given = WLS(effects, np.ones(len(effects)), weights=1 / (variances + restricted.tau2)).fit()
    pairs = [
        (paule_mandel.estimate, other.mean_effect_re, paule_mandel.std_error),
        (restricted.estimate, given.params[0], restricted.std_error),
        (restricted.std_error, given.bse[0], restricted.std_error),
    ]
    return float(max(abs(ours - theirs) / error for ours, theirs, error in pairs))


def _apart(ours: np.ndarray, other: np.ndarray, covariance: np.ndarray) -> float:
    """The largest difference of two sets of coefficients, in standard errors."""
    return float((np.abs(ours - other) / np.sqrt(np.diag(covariance))).max())
