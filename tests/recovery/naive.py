"""What is often done instead: impute one day for each resolution,
then the product-limit curve with limits that know no sites."""

import numpy as np
from scipy.stats import norm


def estimate_share(event: np.ndarray, time: np.ndarray, day: float) -> tuple[float, float, float]:
    """Share resolved by `day` and its 95 % confidence limits: Kaplan-Meier, Greenwood's variance,
    complementary log-log scale.

    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481; limits as in Kalbfleisch JD, Prentice RL.
    The Statistical Analysis of Failure Time Data, 2nd ed. 2002, section 1.4 (from memory).
    """
    times = np.unique(time[event & (time <= day)])
    at_risk = np.array([(time >= t).sum() for t in times], float)
    events = np.array([(event & (time == t)).sum() for t in times], float)
    survival = float(np.prod(1 - events / at_risk))
    if not 0 < survival < 1:
        return 1 - survival, np.nan, np.nan
    error = np.sqrt(np.sum(events / (at_risk * (at_risk - events)))) / abs(np.log(survival))
    reach = norm.ppf(0.975) * error
    return 1 - survival, 1 - survival ** np.exp(-reach), 1 - survival ** np.exp(reach)


def impute(left: np.ndarray, right: np.ndarray, rule: str) -> tuple[np.ndarray, np.ndarray]:
    """Event and time when a resolution in (left, right] is put on its `midpoint` or on the day of
    its `visit`."""
    event = np.isfinite(right)
    day = (
        (left + np.where(event, right, left)) / 2
        if rule == "midpoint"
        else np.where(event, right, left)
    )
    return event, day
