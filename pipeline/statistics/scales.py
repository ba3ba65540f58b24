"""Scales on which numbers live: limits that cannot leave them,
and ranges that are too wide to tell anything.

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
    """Numbers from `least` to `greatest`, `into` a scale without ends and `out` of it.

    Ranges are measured in parts of `unit`; where it is None, as of ratios, by how many times the
    upper limit is the lower one.
    """

    least: float
    greatest: float
    into: Callable[[np.ndarray], np.ndarray]
    out: Callable[[np.ndarray], np.ndarray]
    unit: float | None = 1.0


def span(least: float, greatest: float) -> Scale:
    """What lies between two ends, as a total or a mean of days up to a horizon."""
    length = greatest - least
    return Scale(
        least,
        greatest,
        lambda x: logit((np.asarray(x) - least) / length),
        lambda z: least + length * expit(z),
        length,
    )


def differ(reach: float) -> Scale:
    """Differences of two numbers from 0 to `reach`."""
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


def limit_by_sites(
    estimate: float, without: np.ndarray, scale: Scale, n_sites: float | None = None
) -> tuple[float, float, float, float]:
    """Standard error on the number's own scale, limits within it, and the p-value of what lies at
    the origin of the scale without ends, from the number `without` each site; all nan where one of
    these has no answer, or no finite place on that scale."""
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
    """Limits within the scale and the p-value of its origin, from a standard error on the number's
    own scale (delta method): by t with a degree of freedom less than sites, or, with `n_sites`
    None, by the normal distribution. At an end of the scale there is no error to carry over."""
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
    """Whether limits are too far apart to tell anything.

    Raises ValueError for limits outside of their scale: no such number leaves.
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
    """A row with a number and its limits, or, where these tell nothing, without them."""
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
