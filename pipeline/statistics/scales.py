"""Scales on which numbers live.

Limits cannot leave them, and ranges that are too wide to tell anything are refused.

Limits are found on a scale without ends, where errors are nearer to normal, and carried back:
shares by the complementary log-log, ratios by the logarithm, what has two ends by the log-odds of
its place between them, and differences by the inverse hyperbolic tangent, as Fisher RA (Metron
1921;1:3-32, from memory) did for correlations.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import expit, logit
from scipy.stats import norm
from scipy.stats import t as student

from pipeline.statistics.guard import Refusal
from pipeline.statistics.jackknife import jackknife_covariance, limits, p_value
from pipeline.statistics.tidy import state, withhold
from schemas.study import Guards

ROUNDING = 1e-9  # of the unit of a scale
STEP = 1e-6  # of the unit of a scale, to find a slope


@dataclass(frozen=True)
class Scale:
    """Numbers between two ends, and the way to a scale without ends and back.

    Attributes
    ----------
    least, greatest
        The ends.
    into
        From the number to the scale without ends.
    out
        From there back to the number.
    unit
        Ranges are measured in parts of it; where it is None, as of ratios, by how many times the
        upper limit is the lower one.
    """

    least: float
    greatest: float
    into: Callable[[np.ndarray], np.ndarray]
    out: Callable[[np.ndarray], np.ndarray]
    unit: float | None = 1.0


def span(least: float, greatest: float) -> Scale:
    """Scale of what lies between two ends, as a total or a mean of days up to a horizon.

    Parameters
    ----------
    least, greatest
        The ends; their distance is the unit.

    Returns
    -------
    Scale
        By the log-odds of the place between the ends.
    """
    length = greatest - least
    return Scale(
        least,
        greatest,
        lambda x: logit((np.asarray(x) - least) / length),
        lambda z: least + length * expit(z),
        length,
    )


def differ(reach: float) -> Scale:
    """Scale of differences of two numbers from 0 to `reach`.

    Parameters
    ----------
    reach
        The greatest difference, and the unit.

    Returns
    -------
    Scale
        By the inverse hyperbolic tangent of the difference / reach.
    """
    return Scale(
        -reach,
        reach,
        lambda x: np.arctanh(np.asarray(x) / reach),
        lambda z: reach * np.tanh(np.asarray(z)),
        reach,
    )


SHARE = Scale(
    0.0, 1.0, lambda p: np.log(-np.log1p(-np.asarray(p))), lambda z: -np.expm1(-np.exp(z))
)
DIFFERENCE = differ(1.0)
RATIO = Scale(0.0, np.inf, np.log, np.exp, None)
KAPPA = differ(1.0)
# the part of events that would not have been: by the logarithm of the ratio of what is left
AVOIDED = Scale(
    -np.inf, 1.0, lambda x: -np.log1p(-np.asarray(x)), lambda z: -np.expm1(-np.asarray(z))
)


def limit_by_sites(
    estimate: float, without: np.ndarray, scale: Scale, n_sites: float | None = None
) -> tuple[float, float, float, float]:
    """Find the standard error, limits and p-value of a number by leaving out each site.

    Parameters
    ----------
    estimate
        The number.
    without
        The number without each site, (sites,).
    scale
        Where the number lives.
    n_sites
        Number of sites, for t with one degree of freedom less; as many as `without` if None.

    Returns
    -------
    tuple
        Standard error on the number's own scale, lower and upper 95 % limit within the scale, and
        the p-value of what lies at the origin of the scale without ends; all nan where one of
        `without` has no answer, and all but the error where one has no finite place there.
    """
    n = len(without) if n_sites is None else n_sites
    with np.errstate(divide="ignore", invalid="ignore"):
        middle, replicates = scale.into(estimate), scale.into(without)
        error, inner = (
            float(np.sqrt(jackknife_covariance(np.atleast_1d(a), np.asarray(b)[:, None])[0, 0]))
            for a, b in ((estimate, without), (middle, replicates))
        )
    if not np.isfinite([middle, inner]).all():
        return error, np.nan, np.nan, np.nan
    low, high = scale.out(np.array(limits(float(middle), inner, n)))
    return error, float(low), float(high), p_value(float(middle), inner, n) if inner > 0 else np.nan


def limit_by_error(
    estimate: float, error: float, scale: Scale, n_sites: float | None
) -> tuple[float, float, float]:
    """Carry a standard error to limits within a scale, and to the p-value of its origin.

    Parameters
    ----------
    estimate
        The number. At an end of the scale there is no error to carry over: both limits are the
        number, and there is no p-value.
    error
        Standard error on the number's own scale.
    scale
        Where the number lives.
    n_sites
        Limits are by t with a degree of freedom less than sites, or, with None, by the normal
        distribution.

    Returns
    -------
    tuple
        Lower and upper 95 % limit, and the p-value (nan where there is none).

    Notes
    -----
    The delta method, with the slope of `Scale.into` at the number.
    """
    if not scale.least < estimate < scale.greatest:
        return estimate, estimate, np.nan
    step = STEP * (scale.unit or abs(estimate))
    step = min(step, (estimate - scale.least) / 2, (scale.greatest - estimate) / 2)
    middle = float(scale.into(estimate))
    inner = error * float(scale.into(estimate + step) - scale.into(estimate - step)) / (2 * step)
    spread = norm if n_sites is None else student(n_sites - 1)
    low, high = scale.out(middle + np.array([-1, 1]) * spread.ppf(0.975) * inner)
    return (
        float(low),
        float(high),
        float(2 * spread.sf(abs(middle) / inner)) if inner > 0 else np.nan,
    )


def check_range(low: float, high: float, scale: Scale, guards: Guards) -> Refusal | None:
    """Refuse limits that are too far apart to tell anything.

    Parameters
    ----------
    low, high
        The limits.
    scale
        Where they live; it says whether ranges are ratios or parts of a unit.
    guards
        Thresholds `widest_ratio` and `widest_range_points`.

    Returns
    -------
    Refusal | None
        "too_wide", or None.

    Raises
    ------
    ValueError
        For limits outside of their scale, or in the wrong order: no such number leaves.
    """
    slack = ROUNDING * (scale.unit or 1.0)
    if not scale.least - slack <= low <= high + slack <= scale.greatest + 2 * slack:
        raise ValueError("limits lie outside of their scale, or in the wrong order")
    if scale.unit is None:
        if high > guards.widest_ratio * low:
            return Refusal(
                "too_wide",
                f"the upper confidence limit is more than {guards.widest_ratio:g} times the "
                "lower one",
            )
        return None
    if high - low > guards.widest_range_points / 100 * scale.unit + slack:
        return Refusal(
            "too_wide",
            f"the confidence limits are more than {guards.widest_range_points:g} % of the scale "
            "apart",
        )
    return None


def state_within(
    term: str,
    estimate: float,
    low: float,
    high: float,
    scale: Scale,
    guards: Guards,
    **fields: Any,
) -> dict:
    """Make a row with a number and its limits, or, where these tell nothing, without them.

    Parameters
    ----------
    term
        What is estimated.
    estimate, low, high
        The number and its limits.
    scale
        Where they live.
    guards
        Thresholds of `check_range`.
    **fields
        Any other column of schemas.estimate.Estimates; a row without its number loses the error,
        the p-values and the note among them.

    Returns
    -------
    dict
        The row.

    Raises
    ------
    ValueError
        As `check_range` does.
    """
    refusal = check_range(low, high, scale, guards)
    if refusal:
        kept = {
            name: value
            for name, value in fields.items()
            if name not in ("std_error", "p_value", "p_adjusted", "note")
        }
        return withhold(term, refusal.status, refusal.note, **kept)
    low, high = (min(max(end, scale.least), scale.greatest) for end in (low, high))
    return state(term, estimate, lower=low, upper=high, **fields)
