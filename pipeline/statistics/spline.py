"""Natural cubic splines."""

from collections.abc import Sequence

import numpy as np


def bend(x: np.ndarray, knots: Sequence[float]) -> np.ndarray:
    """Give the columns of a natural cubic spline without intercept.

    It is linear outside of the first and the last knot, and all columns are 0 at 0 if that is the
    first knot.

    Parameters
    ----------
    x
        Where, (rows,).
    knots
        At least three, rising.

    Returns
    -------
    np.ndarray
        x itself and one column for each knot but two, (rows, knots - 1).

    Notes
    -----
    With knots t_1 < ... < t_K and (u)+ = max(u, 0), column j + 1 is
    [(x - t_j)+^3 - (x - t_{K-1})+^3 (t_K - t_j) / (t_K - t_{K-1})
    + (x - t_K)+^3 (t_{K-1} - t_j) / (t_K - t_{K-1})] / (t_K - t_1)^2:
    Harrell FE. Regression Modeling Strategies. Springer 2001, from memory.
    """
    t = np.asarray(knots, dtype=float)
    x = np.asarray(x, dtype=float)
    cubes = np.maximum(x[:, None] - t, 0.0) ** 3
    last, before = cubes[:, -1], cubes[:, -2]
    gap = t[-1] - t[-2]
    columns = [
        (cubes[:, j] - before * (t[-1] - t[j]) / gap + last * (t[-2] - t[j]) / gap)
        / (t[-1] - t[0]) ** 2
        for j in range(len(t) - 2)
    ]
    return np.column_stack([x, *columns])
