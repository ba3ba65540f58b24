"""Profile-likelihood limits of the standard deviations of crossed effects.

The model is that of pipeline/statistics/crossed_likelihood.py.
"""

from functools import cache

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2

from pipeline.statistics.crossed import GREATEST_SD, STARTS, CrossedFit, search
from pipeline.statistics.crossed_likelihood import Counted, score_sds

CLOSE = 0.01  # of the root of twice the fall of the log-likelihood at its limits


def limit_sd(
    counted: Counted, fit: CrossedFit, factor: int, coverage: float = 0.95
) -> tuple[float, float]:
    """Find profile-likelihood limits of the standard deviation of a factor.

    Parameters
    ----------
    counted
        Rows.
    fit
        The fit of all standard deviations.
    factor
        Its number.
    coverage
        Probability with which the limits hold the standard deviation.

    Returns
    -------
    tuple of float
        The lower limit, 0 where the data do not exclude it; the upper one, inf where the
        likelihood has not fallen enough at GREATEST_SD.

    Notes
    -----
    A limit is where the root of twice the fall reaches the root of the `coverage` quantile of
    chi-squared with one degree of freedom.
    """
    reach, middle = np.sqrt(chi2.ppf(coverage, 1)), fit.sds[factor]
    others = np.delete(np.arange(len(fit.sds)), factor)

    @cache
    def excess(sd: float) -> float:
        def score(point: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
            return score_sds(counted, np.insert(point, factor, sd), others)

        highest = max(end.value for end in search(score, fit.sds[others]))
        over = float(np.sqrt(2 * max(fit.log_likelihood - highest, 0.0)) - reach)
        return over if abs(over) > CLOSE else 0.0

    lower = brentq(excess, 0.0, middle, xtol=CLOSE / 10) if excess(0.0) > 0 else 0.0
    high = middle + STARTS[0]
    while excess(high) < 0 and high < GREATEST_SD:
        high = min(1.5 * high, GREATEST_SD)
    upper = brentq(excess, middle, high, xtol=CLOSE / 10) if excess(high) >= 0 else np.inf
    return float(lower), float(upper)
