"""How strong a confounder that nobody recorded would have to be to explain a risk ratio away.

The E-value is the least risk ratio with which such a confounder would have to go along with both
the choice and the outcome, beyond everything that was adjusted for (VanderWeele TJ, Ding P. Ann
Intern Med 2017;167:268-274). 1 means that none is needed.
"""

import numpy as np


def find_e_value(ratio: float) -> float:
    """Find the E-value of a risk ratio.

    Parameters
    ----------
    ratio
        The risk ratio RR.

    Returns
    -------
    float
        RR + sqrt(RR (RR - 1)), of 1 / RR where that is greater.

    Raises
    ------
    ValueError
        If the ratio is not above 0.
    """
    if not ratio > 0:
        raise ValueError("a risk ratio must be above 0")
    away = max(ratio, 1 / ratio)
    return float(away + np.sqrt(away * (away - 1)))


def find_limit_e_value(low: float, high: float) -> float:
    """Find the E-value of the limit of a risk ratio that is nearer to 1.

    Parameters
    ----------
    low, high
        Confidence limits of the risk ratio.

    Returns
    -------
    float
        The E-value; 1 if the limits hold 1.

    Raises
    ------
    ValueError
        If the limit is not above 0.
    """
    return 1.0 if low <= 1 <= high else find_e_value(low if low > 1 else high)
