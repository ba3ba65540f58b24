"""The ways in which repeating and changing are compared: weighted, without weights,
and with sessions that act at once.

The first two take tests to come independently of resolution. A test that shows a failure is often
followed by another session at once, and whom that helps is first seen well at the next test: just
after it the shares are then too low. The third puts each resolution between two tests on the day
after the first session between them, as if nobody recovered without: the other end.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from pipeline.analyses.order.arms import Arm, fit_arm
from pipeline.analyses.order.propensity import Contrast

LEAVING_OUT = (
    "intervals: leaving out each site, t distribution, or at the effective number, exact of a "
    "share and by both shares of a difference or ratio, where these reach further"
)
WEIGHTED = f"inverse-probability weighted interval-censored NPMLE; {LEAVING_OUT}"
NAIVE = f"interval-censored NPMLE without weights; {LEAVING_OUT}"
AT_ONCE = f"{WEIGHTED}; each resolution taken to follow at once after a session"
OUTCOME = ["left_days", "right_days", "treated_days"]
# part of an arm that a further session can have helped unseen, above which a row says so
LATE = 0.05


class Way(NamedTuple):
    """One way to compare.

    Attributes
    ----------
    prefix
        What its terms begin with.
    method
        Its name in the column `method`.
    pattern
        Which terms it tells, a regular expression.
    weights
        (samples, episodes).
    left, right
        Resolution of each episode is taken to lie in (left, right] days, (episodes,).
    """

    prefix: str
    method: str
    pattern: str
    weights: np.ndarray
    left: np.ndarray
    right: np.ndarray


def list_ways(contrast: Contrast) -> Iterator[Way]:
    """Each way to compare."""
    left, right, treated = (contrast.rows[name].to_numpy(float) for name in OUTCOME)
    yield Way("", WEIGHTED, "", contrast.weights, left, right)
    yield Way("naive_", NAIVE, "", contrast.unweighted, left, right)
    known = np.isfinite(treated)
    at_once = np.where(known, treated, left), np.where(known, treated + 1, right)
    yield Way("at_once_", AT_ONCE, r"risk_(repeat|change|difference)_", contrast.weights, *at_once)


def fit_arms(contrast: Contrast, way: Way, last_day: int) -> tuple[Arm, Arm]:
    """The arms, repeat first.

    What is known of an episode is counted by its own interval, whatever is taken to be inside it.
    """

    def fit(members: np.ndarray) -> Arm:
        arm = fit_arm(way.left[members], way.right[members], way.weights[:, members], last_day)
        left, right = (contrast.rows.loc[members, name].to_numpy(float) for name in OUTCOME[:2])
        return replace(arm, left=left, right=right)

    return fit(~contrast.changed), fit(contrast.changed)


def say_late(contrast: Contrast, day: int) -> str | None:
    """Whether a further session may have helped, by the day,
    a part of an arm that was first seen well after the day."""
    left, right, treated = (contrast.rows[name].to_numpy(float) for name in OUTCOME)
    unseen = (left < day) & (right > day) & (treated > 0) & (treated < day)
    if max(unseen[arm].mean() for arm in (contrast.changed, ~contrast.changed)) < LATE:
        return None
    return (
        f"a twentieth of an arm or more had another session before day {day} and was first seen "
        "well after it: the shares may be greater, as in at_once_, and differ otherwise"
    )
