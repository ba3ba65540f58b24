"""What became of one arm: the share resolved by a day and the restricted mean time to resolution, with weights and without each site.

Resolution of episode i lies in (L, R]. The distribution is the weighted non-parametric one for interval-censored times
(pipeline/models/npmle.py); within an interval in which the data do not say when, resolution is taken to be spread evenly.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.models.guard import Refusal
from pipeline.models.npmle import ROUNDING, collapse_intervals, fit_many
from pipeline.models.scales import DIFFERENCE, RATIO, SHARE, Scale, differ, limit_by_sites, span
from schemas.study import Guards

VAGUE = 0.005  # a share whose day is not known that is too small to matter


@dataclass(frozen=True, eq=False)
class Arm:
    """`survival` (samples, days) on whole days from 0, the first sample of all episodes, the others without a site each; nan where a
    sample has no answer. `least` and `most` (days,) are the shares unresolved that the data of all episodes allow."""

    left: np.ndarray
    right: np.ndarray
    survival: np.ndarray
    least: np.ndarray
    most: np.ndarray

    def risk(self, day: int) -> np.ndarray:
        """The share resolved by the day in each sample."""
        return 1 - self.survival[:, day]

    def mean_days(self) -> np.ndarray:
        """Mean days to resolution up to the last day: the area under the share unresolved, in each sample."""
        return (self.survival[:, 1:] + self.survival[:, :-1]).sum(axis=1) / 2

    def count(self, day: int) -> tuple[int, int]:
        """How many are known to be resolved by the day, and how many to be unresolved on it."""
        return int((self.right <= day).sum()), int((self.left >= day).sum())


def fit_arm(left: np.ndarray, right: np.ndarray, weights: np.ndarray, last_day: int) -> Arm:
    """The arm under each row of weights (samples, episodes), up to `last_day`. Raises NotConverged where the fit is not proved."""
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    grouped = np.array([np.bincount(index, weights=sample, minlength=len(distinct_left)) for sample in weights])
    ends = np.append(left, right)
    grid = np.union1d(np.arange(last_day + 1), ends[np.isfinite(ends)])
    fit = fit_many(distinct_left, distinct_right, grouped, grid)
    told = fit.upper - fit.lower < ROUNDING
    survival = np.array([_spread_evenly(grid, *sample) for sample in zip(fit.upper, told, strict=True)])
    whole = np.isin(grid, np.arange(last_day + 1))
    return Arm(left, right, survival[:, whole], fit.lower[0, whole], fit.upper[0, whole])


def check_arms(arms: tuple[Arm, ...], day: int, guards: Guards) -> Refusal | None:
    """Whether enough of each arm are known to be resolved by the day, and to be unresolved on it: so the arm was followed up to then."""
    if min(number for arm in arms for number in arm.count(day)) < guards.min_events:
        return Refusal(
            "too_few", f"fewer than {guards.min_events} of an arm known to be resolved by then, or unresolved"
        )
    return None


def _spread_evenly(grid: np.ndarray, upper: np.ndarray, told: np.ndarray) -> np.ndarray:
    """The shares unresolved, straight between the days on which the data tell them; after the last of these it stays."""
    if not told.any():
        return np.full(len(grid), np.nan)
    return np.interp(grid, grid[told], upper[told])


@dataclass(frozen=True)
class Measure:
    """A number told of the arms: its `values` (samples,), its scale, and the arms behind it."""

    term: str
    values: np.ndarray
    scale: Scale
    arms: tuple[Arm, ...]
    day: int

    def limit(self) -> tuple[float, float, float, float]:
        """Standard error, limits within the scale and p-value of no difference, all nan where a sample has no answer."""
        return limit_by_sites(self.values[0], self.values[1:], self.scale)


def measure_arms(repeat: Arm, change: Arm, days: tuple[int, ...], horizon: int) -> Iterator[Measure]:
    """Shares resolved by each day, mean days to resolution up to the horizon, their differences, change minus repeat, and the ratio of shares."""
    for day in days:
        risks, both = (repeat.risk(day), change.risk(day)), (repeat, change)
        yield Measure(f"risk_repeat_day_{day}", risks[0], SHARE, (repeat,), day)
        yield Measure(f"risk_change_day_{day}", risks[1], SHARE, (change,), day)
        yield Measure(f"risk_difference_day_{day}", risks[1] - risks[0], DIFFERENCE, both, day)
        with np.errstate(divide="ignore", invalid="ignore"):
            yield Measure(f"risk_ratio_day_{day}", risks[1] / risks[0], RATIO, both, day)
    means, days_left = (repeat.mean_days(), change.mean_days()), span(0, horizon)
    yield Measure("mean_days_repeat", means[0], days_left, (repeat,), horizon)
    yield Measure("mean_days_change", means[1], days_left, (change,), horizon)
    yield Measure("mean_days_difference", means[1] - means[0], differ(horizon), (repeat, change), horizon)
