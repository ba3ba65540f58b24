"""Weights that make each of two groups have the mean of everybody, in every covariate.

Of all weights whose means of the covariates are those of everybody, calibration takes those that
are nearest to given ones in relative entropy (Hainmueller J. Polit Anal 2012;20:25-46; Deville JC,
Sarndal CE. J Am Stat Assoc 1992;87:376-382; both from memory): w_i proportional to d_i exp(z_i b),
with d the given weights, z the covariates in standard deviations from the mean of everybody, and b
where the following is least:

    log(sum of d_i exp(z_i b)) + PENALTY |b|^2 / 2.

The penalty keeps b finite where no weights do it exactly. A weighted difference of two groups is
then right if the given weights are, or if the outcome is linear in the covariates: it is doubly
robust (Zhao Q, Percival D. J Causal Inference 2017;5:20160010, from memory).
"""

import numpy as np

PENALTY = 1e-3
STEPS, HALVINGS = 100, 30
FLAT = 1e-8  # of the greatest derivative at the solution


def calibrate(covariates: np.ndarray, weight: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Calibrate the weights of two groups to the means of both together.

    Parameters
    ----------
    covariates
        Without an intercept, (n, columns).
    weight
        Given weights, all above 0, (n,).
    first
        Who is in the first of the groups, (n,) of bool.

    Returns
    -------
    np.ndarray
        (n,), in each group with its size as their sum; zeros where the search has not ended.
    """
    spread = covariates.std(axis=0)
    varies = spread > 0
    distance = (covariates[:, varies] - covariates[:, varies].mean(axis=0)) / spread[varies]
    calibrated = np.empty(len(weight))
    for group in (first, ~first):
        found = _calibrate_group(distance[group], np.log(weight[group]))
        if found is None:
            return np.zeros(len(weight))
        calibrated[group] = found * group.sum()
    return calibrated


def _calibrate_group(distance: np.ndarray, log_weight: np.ndarray) -> np.ndarray | None:
    """The weights of one group, with a sum of 1: Newton steps, halved until they fall."""
    b = np.zeros(distance.shape[1])
    value, share = _take(distance, log_weight, b)
    for _ in range(STEPS):
        mean = share @ distance
        gradient = mean + PENALTY * b
        if np.abs(gradient).max(initial=0) <= FLAT:
            return share
        spread = (distance.T * share) @ distance - np.outer(mean, mean)
        step = np.linalg.solve(spread + PENALTY * np.eye(len(b)), gradient)
        for halving in range(HALVINGS):
            tried = b - step / 2**halving
            reached, share_there = _take(distance, log_weight, tried)
            if reached < value:
                break
        else:
            return share if np.abs(gradient).max() <= FLAT**0.5 else None
        b, value, share = tried, reached, share_there
    return None


def _take(distance: np.ndarray, log_weight: np.ndarray, b: np.ndarray) -> tuple[float, np.ndarray]:
    """What is to be the least, and the weights there."""
    exponent = log_weight + distance @ b
    top = exponent.max()
    part = np.exp(exponent - top)
    return float(top + np.log(part.sum()) + PENALTY * (b @ b) / 2), part / part.sum()
