"""Random-effects meta-analysis of one effect and its known variance from each site or trial.

It tells their mean, and how far they spread.

Estimated are mu and tau2 of effect_k ~ normal(mu, tau2 + variance_k): the mean over the sites or
trials that these stand for, and the variance between them. The variances count as known; they are
not, and matter most where sites are small. mu has limits by Hartung & Knapp (Stat Med
2001;20:3875-3889) with t quantiles of k - 1 degrees of freedom. They are not widened where they are
narrower than the plain ones; `hk_scale` below 1 tells. A new site's effect is expected between mu
+/- t sqrt(tau2 + error^2) (Higgins JPT, Thompson SG, Spiegelhalter DJ. J R Stat Soc A
2009;172:137-159), here with k - 1 degrees of freedom.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.stats import chi2
from scipy.stats import t as student
from statsmodels.stats.contingency_tables import StratifiedTable

from pipeline.statistics.guard import check_solution
from pipeline.statistics.npmle_search import NotConverged

# points at which the score is looked at: the restricted likelihood may have more than one peak
GRID = 400
LEAST = 1e-10  # smallest tau2 above zero, against the greatest possible one


@dataclass(frozen=True)
class Pool:
    """The pool of effects.

    Attributes
    ----------
    n
        Number of effects, k.
    estimate, std_error
        The mean mu over the sites or trials that these stand for, and its Hartung-Knapp error.
    lower, upper
        95 % limits of mu, by t with k - 1 degrees of freedom.
    predicted_lower, predicted_upper
        Where a new site's effect is expected, with a probability of 95 %.
    tau2
        Variance between sites.
    tau2_lower, tau2_upper
        Its 95 % limits, by the Q profile.
    i2
        Share of the total variance that lies between sites.
    q, p_value
        Cochran's Q and its p-value, by chi-squared with k - 1 degrees of freedom.
    hk_scale
        Factor of Hartung and Knapp on the variance of mu; below 1 their limits are narrower than
        the plain ones.
    """

    n: int
    estimate: float
    std_error: float
    lower: float
    upper: float
    predicted_lower: float
    predicted_upper: float
    tau2: float
    tau2_lower: float
    tau2_upper: float
    i2: float
    q: float
    p_value: float
    hk_scale: float


def tau2_by_reml(effects: np.ndarray, variances: np.ndarray) -> float:
    """Estimate the variance between sites by restricted maximum likelihood.

    It is the greatest of all peaks of the restricted likelihood, zero included.

    Parameters
    ----------
    effects, variances
        The effect of each site and its variance, (sites,).

    Returns
    -------
    float
        tau2, zero or above.

    Raises
    ------
    NotConverged
        Where the peak fails the check of gradient and curvature.

    Notes
    -----
    Viechtbauer W. J Educ Behav Stat 2005;30:261-293. Beyond `highest` the score is negative: with R
    the range of effects it is at most k R^2 / tau2^2 - (k - 1) / (tau2 + largest variance).
    """
    highest = max(float(variances.max()), 4 * float(np.ptp(effects)) ** 2)
    grid = np.append(0.0, np.geomspace(LEAST * highest, highest, GRID))
    scores = np.array([_score(tau2, effects, variances) for tau2 in grid])
    falls = np.flatnonzero((scores[:-1] > 0) & (scores[1:] <= 0))
    peaks = [
        brentq(
            _score,
            grid[i],
            grid[i + 1],
            args=(effects, variances),
            xtol=1e-14 * highest,
            rtol=1e-14,
        )
        for i in falls
    ]
    if scores[0] <= 0:
        peaks.append(0.0)
    best = max(peaks, key=lambda tau2: restricted_log_likelihood(tau2, effects, variances))
    if best > 0:
        gradient, information = (
            _score(best, effects, variances),
            _information(best, effects, variances),
        )
        refusal = check_solution(np.array([gradient]), np.array([[information]]))
        if refusal:
            raise NotConverged(refusal.note)
    return best


def tau2_by_paule_mandel(effects: np.ndarray, variances: np.ndarray) -> float:
    """Estimate the variance between sites by the method of Paule and Mandel.

    Parameters
    ----------
    effects, variances
        The effect of each site and its variance, (sites,).

    Returns
    -------
    float
        The tau2 at which the generalised Q, sum of (effect_i - mu)^2 / (tau2 + variance_i), has
        its expected value k - 1; zero if Q starts below.

    References
    ----------
    Paule RC, Mandel J. J Res Natl Bur Stand 1982;87:377-385.
    """
    return _find_tau2(len(effects) - 1, effects, variances)


def pool_random_effects(
    effects: ArrayLike,
    variances: ArrayLike,
    estimate_tau2: Callable[[np.ndarray, np.ndarray], float] = tau2_by_reml,
) -> Pool:
    """Pool two or more effects, whatever their order.

    Parameters
    ----------
    effects, variances
        The effect of each site and its variance, (sites,), finite, and variances above zero.
    estimate_tau2
        Finds the variance between sites from the two.

    Returns
    -------
    Pool
        Their mean and spread; formulas are those at the head of this file.

    Raises
    ------
    ValueError
        For what is no list of effects.
    NotConverged
        As `estimate_tau2` does.
    """
    effects, variances = _demand_effects(effects, variances)
    n = len(effects)
    tau2 = estimate_tau2(effects, variances)
    weights = 1 / (variances + tau2)
    mean = weights @ effects / weights.sum()
    scale = weights @ (effects - mean) ** 2 / (n - 1)
    error = np.sqrt(scale / weights.sum())
    t = student.ppf(0.975, n - 1)
    reach = t * np.sqrt(tau2 + error**2)
    q = _generalised_q(0, effects, variances)
    return Pool(
        n=n,
        estimate=float(mean),
        std_error=float(error),
        lower=float(mean - t * error),
        upper=float(mean + t * error),
        predicted_lower=float(mean - reach),
        predicted_upper=float(mean + reach),
        tau2=tau2,
        tau2_lower=_find_tau2(chi2.ppf(0.975, n - 1), effects, variances),
        tau2_upper=_find_tau2(chi2.ppf(0.025, n - 1), effects, variances),
        i2=tau2 / (tau2 + _typical_variance(variances)),
        q=q,
        p_value=float(chi2.sf(q, n - 1)),
        hk_scale=float(scale),
    )


def restricted_log_likelihood(tau2: float, effects: np.ndarray, variances: np.ndarray) -> float:
    """Find the restricted log-likelihood of tau2, with mu integrated out.

    Parameters
    ----------
    tau2
        Variance between sites.
    effects, variances
        The effect of each site and its variance, (sites,).

    Returns
    -------
    float
        -(sum log(tau2 + variance_i) + log sum w_i + Q) / 2 with w_i = 1 / (tau2 + variance_i) and
        Q = sum w_i (effect_i - mu)^2; the constants are those of a flat density of mu in units of
        one effect.
    """
    weights = 1 / (variances + tau2)
    n = len(effects)
    parts = np.log(weights).sum() - np.log(weights.sum()) - _generalised_q(tau2, effects, variances)
    return float(parts + np.log(n) - (n - 1) * np.log(2 * np.pi)) / 2


def pool_odds_ratios(tables: ArrayLike) -> tuple[float, float]:
    """Pool odds ratios of trials by Mantel and Haenszel.

    One odds ratio for all trials is taken for granted.

    Parameters
    ----------
    tables
        Counts, (trials, 2 arms, with and without event).

    Returns
    -------
    tuple of float
        The logarithm of the odds ratio and its standard error.

    References
    ----------
    Error: Robins J, Breslow N, Greenland S. Biometrics 1986;42:311-323.
    """
    stratified = StratifiedTable([np.asarray(table, dtype=float) for table in tables])
    return float(stratified.logodds_pooled), float(stratified.logodds_pooled_se)


def _score(tau2: float, effects: np.ndarray, variances: np.ndarray) -> float:
    """First derivative of the restricted log-likelihood."""
    weights = 1 / (variances + tau2)
    residual = weights * (effects - weights @ effects / weights.sum())
    return float(residual @ residual - weights.sum() + (weights**2).sum() / weights.sum()) / 2


def _information(tau2: float, effects: np.ndarray, variances: np.ndarray) -> float:
    """Its second derivative, negative."""
    weights = 1 / (variances + tau2)
    total = weights.sum()
    residual = weights * (effects - weights @ effects / total)
    fit = weights @ residual**2 - (weights @ residual) ** 2 / total
    trace = (weights**2).sum() - 2 * (weights**3).sum() / total + ((weights**2).sum() / total) ** 2
    return float(fit - trace / 2)


def _generalised_q(tau2: float, effects: np.ndarray, variances: np.ndarray) -> float:
    weights = 1 / (variances + tau2)
    return float(weights @ (effects - weights @ effects / weights.sum()) ** 2)


def _find_tau2(target: float, effects: np.ndarray, variances: np.ndarray) -> float:
    """The tau2 at which the generalised Q, which falls with it, has come down to a target.

    It is zero if Q starts below. With the quantiles of chi-squared as targets these are the limits
    of tau2: Viechtbauer W. Stat Med 2007;26:37-52.
    """
    if _generalised_q(0, effects, variances) <= target:
        return 0.0
    highest = float(((effects - effects.mean()) ** 2).sum() / target)
    return float(
        brentq(
            lambda tau2: _generalised_q(tau2, effects, variances) - target,
            0,
            highest,
            xtol=1e-14 * highest,
        )
    )


def _typical_variance(variances: np.ndarray) -> float:
    """Higgins JPT, Thompson SG. Stat Med 2002;21:1539-1558, equation 9."""
    weights = 1 / variances
    return float((len(weights) - 1) * weights.sum() / (weights.sum() ** 2 - (weights**2).sum()))


def _demand_effects(effects: ArrayLike, variances: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    effects, variances = np.asarray(effects, dtype=float), np.asarray(variances, dtype=float)
    if effects.ndim != 1 or effects.shape != variances.shape or len(effects) < 2:
        raise ValueError("effects and variances must be lists of the same length, two or more")
    if not (np.isfinite(effects).all() and np.isfinite(variances).all() and (variances > 0).all()):
        raise ValueError("effects and variances must be finite, and variances above zero")
    order = np.lexsort((variances, effects))
    return effects[order], variances[order]
