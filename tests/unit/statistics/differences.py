"""Slopes by finite differences, to check slopes by formulas."""

from collections.abc import Callable

import numpy as np

from pipeline.statistics.hidden_end_model import Courses, Rates
from pipeline.statistics.hidden_end_parameters import from_row

STEP = 1e-5


def differ(courses: Courses, row: np.ndarray, value: Callable[[Rates], float]) -> np.ndarray:
    """The slope of a function of rates, by the parameters of a row."""

    def move(k: int, step: float) -> float:
        moved = row.copy()
        moved[k] += step
        return value(from_row(moved, courses.sizes))

    return np.array([(move(k, STEP) - move(k, -STEP)) / (2 * STEP) for k in range(len(row))])
