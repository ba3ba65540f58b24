"""What else may come before resolution, a switch to another canal or reclassification: drawn,
and as the rows of first events.

Both come at times of their own, whatever the course of the vertigo; the first of the three counts,
and the next test shows it.
"""

import numpy as np
import pandas as pd

from pipeline.derivation.first_events import CAUSES
from tests.recovery.scenarios import RECLASSIFIED_RATE, SWITCHED_AT_ONCE, SWITCHED_RATE, VARIANTS
from tests.recovery.simulate import AT_ONCE, Course, People


def draw_first_events(course: Course, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Day of each patient's first event, and its place in CAUSES.

    A maneuver that moves debris to another canal has not resolved it.
    """
    n = len(course.resolved)
    at_once = rng.random(n) < SWITCHED_AT_ONCE
    switched = np.where(at_once, AT_ONCE / 2, rng.exponential(1 / SWITCHED_RATE, n))
    times = np.stack([course.resolved, switched, rng.exponential(1 / RECLASSIFIED_RATE, n)])
    return times.min(axis=0), times.argmin(axis=0)


def build_first_events(
    people: People, course: Course, names: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """The table of pipeline.derivation.first_events.list_first_events;
    who is no longer tested is not recorded as lost."""
    day, cause = draw_first_events(course, rng)
    before, after = course.test_day < day[:, None], course.test_day >= day[:, None]
    left = np.where(before, course.test_day, 0).max(axis=1)
    right = np.where(after, course.test_day, np.inf).min(axis=1)
    cause_name = np.where(np.isfinite(right), np.array(CAUSES)[cause], "none")
    return names.assign(
        canal=[VARIANTS[v].canal for v in people.variant],
        cause=cause_name,
        left_days=left,
        right_days=right,
        informative=(left > 0) | np.isfinite(right),
        seen_cause=cause_name,
        seen_day=np.where(np.isfinite(right), right, left),
    )
