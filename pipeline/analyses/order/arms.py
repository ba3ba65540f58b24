"""What became of one arm: the share resolved by a day and the restricted mean time to resolution,
with weights and without each site.

Resolution of episode i lies in (L, R]. The distribution is the weighted non-parametric one for
interval-censored times (pipeline/statistics/npmle.py); within an interval in which the data do not
say when, resolution is taken to be spread evenly. Limits reach around all that the data allow, and
are found as those of the curves (pipeline/statistics/share_limits.py): by leaving out each site, or
exact where these reach further, so that an arm in which all are resolved, or nobody is, has a
number too. Its effective number is that of as many episodes as the weights are worth (Kish L.
Survey Sampling. 1965). A mean of days is bounded as if it were a share of the horizon: numbers
between 0 and 1 are nowhere less certain than yes and no with the same mean (Hoeffding W. J Am Stat
Assoc 1963;58:13-30).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.analyses.resolution.curves import NOBODY, WORTH_SAYING
from pipeline.statistics.bounded_curve import count_effective_days
from pipeline.statistics.guard import Refusal
from pipeline.statistics.jackknife import RESTS_ON_ONE, jackknife_covariance
from pipeline.statistics.npmle import ROUNDING, collapse_intervals, fit_many, fit_npmle
from pipeline.statistics.scales import DIFFERENCE, RATIO, SHARE, Scale, differ, span
from pipeline.statistics.share_limits import (
    ShareBounds,
    bound_share,
    count_alike,
    discount,
    is_inside,
    keep_falling,
    wilson,
)
from pipeline.statistics.two_shares import Bounded, compare

NONE_RESOLVED = Refusal(
    "not_identified", "nobody of one arm is resolved by then: its share is no part of a ratio"
)


@dataclass(frozen=True, eq=False)
class Arm:
    """What became of one arm on whole days from 0, counted from the second session.

    The first sample is of all episodes, each other one without a site; nan where it has no answer.

    Attributes
    ----------
    left, right
        Resolution of each episode lies in (left, right] days, (episodes,).
    survival
        Share unresolved, spread evenly within an interval, (samples, days). After the last day that
        the data tell it stays.
    ended
        The same, but falling to 0 after that day.
    least, most
        The least and the greatest share unresolved that the data allow, (samples, days).
    numbers
        Effective numbers of the first sample's `least` and `most`, (2, days).
    sizes
        Weight of each site, (sites,).
    """

    left: np.ndarray
    right: np.ndarray
    survival: np.ndarray
    ended: np.ndarray
    least: np.ndarray
    most: np.ndarray
    numbers: np.ndarray
    sizes: np.ndarray

    @property
    def answers(self) -> bool:
        """Whether there is a number without each site."""
        return bool(np.isfinite(self.survival).all())

    def risk(self, day: int) -> np.ndarray:
        """The share resolved by the day in each sample."""
        return 1 - self.survival[:, day]

    def rmst(self) -> np.ndarray:
        """Restricted mean survival time (RMST): mean days to resolution up to the last day T,
        the area under the share unresolved, integral of S(t) from 0 to T, in each sample."""
        return _find_area(self.survival)

    def count(self, day: int) -> tuple[int, int]:
        """How many are known to be resolved by the day, and how many to be unresolved on it."""
        return int((self.right <= day).sum()), int((self.left >= day).sum())

    def allow(self, day: int) -> tuple[float, float]:
        """The least and the greatest share resolved by the day that the data allow."""
        return float(1 - self.most[0, day]), float(1 - self.least[0, day])

    @cached_property
    def share_bounds(self) -> tuple[ShareBounds, ShareBounds]:
        """The least and the greatest share unresolved on each day, with limits."""
        least, most = (
            keep_falling(self._bound(shares, number))
            for shares, number in zip((self.least, self.most), self.numbers, strict=True)
        )
        return least, most

    def bound_risk(self, day: int) -> Bounded:
        """The share resolved by the day, with limits around all that the data allow."""
        least, most = self.share_bounds
        return Bounded(self.risk(day)[0], 1 - most.high[day], 1 - least.low[day])

    def bound_risk_alike(self, day: int) -> Bounded:
        """The same with score limits, as if sites did not differ."""
        low, high = self._bound_alike(
            np.array([self.least[0, day], self.most[0, day]]), self.numbers[:, day]
        )
        return Bounded(self.risk(day)[0], 1 - high, 1 - low)

    def bound_rmst(self) -> Bounded:
        """The RMST, with limits around the means of those who resolve right
        after the last day that is told, and later."""
        shares, last = self._mean_shares()
        bounds = self._bound(shares, self.numbers[:, last])
        return Bounded(self.rmst()[0], last * bounds.low[0], last * bounds.high[1])

    def bound_rmst_alike(self) -> Bounded:
        """The same with score limits, as if sites did not differ."""
        shares, last = self._mean_shares()
        low, high = self._bound_alike(shares[0], self.numbers[:, last])
        return Bounded(self.rmst()[0], last * low, last * high)

    def _mean_shares(self) -> tuple[np.ndarray, int]:
        last = self.survival.shape[1] - 1
        return np.column_stack([_find_area(self.ended), self.rmst()]) / last, last

    def _bound_alike(self, shares: np.ndarray, numbers: np.ndarray) -> tuple[float, float]:
        """The lower limit of the first share and the upper one of the second."""
        known = np.where(is_inside(shares), 1.0, discount(count_alike(self.sizes)))
        low, high = wilson(shares, numbers * known)
        return float(low[0]), float(high[1])

    def _bound(self, shares: np.ndarray, numbers: np.ndarray) -> ShareBounds:
        return bound_share(shares[0], shares[1:], np.ones(len(self.sizes)), self.sizes, numbers)


def fit_arm(left: np.ndarray, right: np.ndarray, weights: np.ndarray, last_day: int) -> Arm:
    """Fit an arm under each sample of weights.

    Parameters
    ----------
    left, right
        Resolution of each episode lies in (left, right] days, (episodes,).
    weights
        The first row is of all, each other one gives no weight to those of a site, (samples,
        episodes).
    last_day
        The last day of the shares.

    Returns
    -------
    Arm
        Its shares on the days 0 to `last_day`.

    Raises
    ------
    NotConverged
        Where a fit is not proved.
    """
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    grouped = np.array(
        [np.bincount(index, weights=sample, minlength=len(distinct_left)) for sample in weights]
    )
    ends = np.append(left, right)
    grid = np.union1d(np.arange(last_day + 1), ends[np.isfinite(ends)])
    fit = fit_many(distinct_left, distinct_right, grouped, grid)
    identified, is_whole_day = (
        fit.upper - fit.lower < ROUNDING,
        np.isin(grid, np.arange(last_day + 1)),
    )
    stays, ended = (
        np.array(
            [
                _spread_evenly(grid, *sample, after)
                for sample in zip(fit.upper, identified, strict=True)
            ]
        )[:, is_whole_day]
        for after in (None, 0.0)
    )
    numbers = _count_effective(distinct_left, distinct_right, grouped[0], weights[0], last_day)
    sizes = ((weights[1:] == 0) & (weights[0] > 0)) @ weights[0]
    return Arm(
        left,
        right,
        stays,
        ended,
        fit.lower[:, is_whole_day],
        fit.upper[:, is_whole_day],
        numbers,
        sizes,
    )


def _count_effective(
    left: np.ndarray, right: np.ndarray, grouped: np.ndarray, weight: np.ndarray, last_day: int
) -> np.ndarray:
    """The effective numbers of the least and of the greatest share on each day;
    none where the arm has no weight."""
    if not weight.any():
        return np.zeros((2, last_day + 1))
    kept = grouped > 0
    left, right, worth = left[kept], right[kept], grouped[kept] * weight.sum() / (weight**2).sum()
    return np.array(
        count_effective_days(
            fit_npmle(left, right, worth), left, right, worth, np.arange(last_day + 1)
        )
    )


def _spread_evenly(
    grid: np.ndarray, upper: np.ndarray, identified: np.ndarray, after: float | None
) -> np.ndarray:
    """The shares unresolved, straight between the days on which the data tell them;
    after the last of these they stay, or are `after`."""
    if not identified.any():
        return np.full(len(grid), np.nan)
    return np.interp(grid, grid[identified], upper[identified], right=after)


def _find_area(survival: np.ndarray) -> np.ndarray:
    return (survival[:, 1:] + survival[:, :-1]).sum(axis=1) / 2


@dataclass(frozen=True)
class Measure:
    """A number told of one arm or of both.

    Attributes
    ----------
    term
        What it is, as declared in schemas.declared.order.
    values
        The number of all and without each site, (samples,).
    scale
        Where it lives.
    arms
        The arms behind it.
    bounds
        Of one arm its limits, of two those that hold if sites do not differ, as they move both
        alike.
    day
        The day by which, or up to which, it counts.
    """

    term: str
    values: np.ndarray
    scale: Scale
    arms: tuple[Arm, ...]
    bounds: tuple[Bounded, ...]
    day: int

    def check(self) -> Refusal | None:
        """Why there is no number: an arm rests on one site, nobody was tested early enough,
        or a share of a ratio is none."""
        if not all(arm.answers for arm in self.arms):
            return RESTS_ON_ONE
        if self.scale is RATIO and not min(bound.value for bound in self.bounds) > 0:
            return NONE_RESOLVED
        told_of_days = self.scale in (SHARE, DIFFERENCE, RATIO)
        return NOBODY if told_of_days and any(self._is_unknown(arm) for arm in self.arms) else None

    def limit(self) -> tuple[float, float, float, float]:
        """Standard error (0 where no site moves the number), limits within the scale, and,
        of two arms, the p-value of no difference.

        Two arms are compared by leaving out each site; the limits that follow from those of the
        arms, which know few resolved or few unresolved, count where they reach further.
        """
        if len(self.arms) == 2:
            return compare(self.values, self.scale, *self.bounds)
        error = float(np.sqrt(jackknife_covariance(self.values[:1], self.values[1:, None])[0, 0]))
        return error, self.bounds[0].low, self.bounds[0].high, np.nan

    def _is_unknown(self, arm: Arm) -> bool:
        least, most = arm.allow(self.day)
        return most - least >= WORTH_SAYING and arm.count(self.day)[0] == 0


def measure_arms(
    repeat: Arm, change: Arm, days: tuple[int, ...], horizon: int
) -> Iterator[Measure]:
    """Shares resolved by each day, mean days to resolution up to the horizon, their differences,
    change minus repeat, and the ratio of shares."""
    arms = {"repeat": repeat, "change": change}
    both = tuple(arms.values())
    for day in days:
        for name, arm in arms.items():
            yield Measure(
                f"risk_{name}_day_{day}", arm.risk(day), SHARE, (arm,), (arm.bound_risk(day),), day
            )
        risks, bounds = (
            [arm.risk(day) for arm in both],
            tuple(arm.bound_risk_alike(day) for arm in both),
        )
        yield Measure(
            f"risk_difference_day_{day}", risks[1] - risks[0], DIFFERENCE, both, bounds, day
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            yield Measure(f"risk_ratio_day_{day}", risks[1] / risks[0], RATIO, both, bounds, day)
    for name, arm in arms.items():
        yield Measure(
            f"mean_days_{name}",
            arm.rmst(),
            span(0, horizon),
            (arm,),
            (arm.bound_rmst(),),
            horizon,
        )
    means, bounds = [arm.rmst() for arm in both], tuple(arm.bound_rmst_alike() for arm in both)
    yield Measure(
        "mean_days_difference", means[1] - means[0], differ(horizon), both, bounds, horizon
    )
