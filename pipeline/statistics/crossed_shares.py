"""Shares of cells by logistic regression with crossed effects.

They are partly told by the cell's own records, partly by its levels elsewhere.

A cell is a combination of levels of all factors but one, such as the site, over whose levels its
share is the mean: with eta the log-odds of the cell, the mean of expit(eta + sd z) over z normal(0,
1). Given the standard deviations eta is normal about its mode (Laplace's approximation). How far
the standard deviations themselves are known is taken into account by a mean over many values of
them, each with its likelihood times a half-normal(0, PRIOR_SD) prior (Roever C et al. Res Synth
Methods 2021;12:448-474, from memory, for log-odds): an integral by Gauss-Legendre quadrature where
the product is not next to nothing, as Rue H, Martino S, Chopin N. J R Stat Soc B 2009;71:319-392 do
in general.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit
from scipy.stats import norm

from pipeline.statistics.crossed import GREATEST_SD, CrossedFit
from pipeline.statistics.crossed_likelihood import Counted, Modes, find_modes

PRIOR_SD = 1.0  # of the half-normal prior of each standard deviation, on the log-odds scale
POINTS = 5  # of each standard deviation
FALL = 4.0  # of the log-density along one standard deviation, where the points end
TRIED = 60  # values of a standard deviation at which that is looked for
NEGLIGIBLE = 1e-6  # of the weight of the likeliest point
QUANTILES = norm.ppf((np.arange(81) + 0.5) / 81)  # of the log-odds at each point
SITE_POINTS = 15


@dataclass(frozen=True)
class CellShares:
    """The share of each cell.

    Attributes
    ----------
    share, low, high
        Mean and .025 and .975 quantile of what the share may be, (cells,).
    own
        Part of what is known of the cell's log-odds that its own records tell: one less its
        variance over that without them, (cells,).
    """

    share: np.ndarray
    low: np.ndarray
    high: np.ndarray
    own: np.ndarray


def share_cells(counted: Counted, fit: CrossedFit, cell: np.ndarray, averaged: int) -> CellShares:
    """Find the share of each cell, averaged over the levels of one factor.

    Parameters
    ----------
    counted
        Rows, of two cells or more.
    fit
        Standard deviations of the greatest likelihood.
    cell
        Number of the cell of each row, from 0, (rows,).
    averaged
        Number of the factor that is averaged over.

    Returns
    -------
    CellShares
        For each cell.

    Raises
    ------
    FloatingPointError
        Where effects are not found.
    """
    sds, weight, modes = _place_points(counted, fit)
    spread = counted.spread(sds)
    covariance = np.linalg.inv(modes.information)
    fixed = np.append(True, counted.factor != averaged)
    found = []
    for number in range(cell.max() + 1):
        rows = np.flatnonzero(cell == number)
        held = np.flatnonzero(fixed & (counted.belongs[rows[0]] > 0))
        contrast = spread[:, held]
        middle = (contrast * modes.effects[:, held]).sum(axis=1)
        reach = np.einsum("ki,kij->kj", contrast, covariance[:, held])
        variance = (reach[:, held] * contrast).sum(axis=1)
        logs = middle[:, None] + np.sqrt(variance)[:, None] * QUANTILES
        shares = _average(logs, sds[:, averaged])
        even = np.repeat(weight[:, None] / len(QUANTILES), len(QUANTILES), axis=1)
        low, high = _find_quantiles(shares.ravel(), even.ravel())
        own = weight @ _tell_own(counted, modes, spread, rows, reach, variance, covariance)
        found.append(((even * shares).sum(), low, high, own))
    return CellShares(*np.array(found).T)


def _place_points(counted: Counted, fit: CrossedFit) -> tuple[np.ndarray, np.ndarray, Modes]:
    """Values of the standard deviations (points, factors), their weights (points,), their modes."""
    x, w = np.polynomial.legendre.leggauss(POINTS)
    axes, lengths = [], []
    for factor in range(len(fit.sds)):
        tried = np.linspace(0, GREATEST_SD, TRIED)
        along = np.tile(fit.sds, (TRIED, 1))
        along[:, factor] = tried
        density = find_modes(counted, along).value - (tried / PRIOR_SD) ** 2 / 2
        near = np.flatnonzero(density > density.max() - FALL)
        low, high = tried[max(near[0] - 1, 0)], tried[min(near[-1] + 1, TRIED - 1)]
        axes.append(low + (high - low) * (x + 1) / 2)
        lengths.append(w)
    sds = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, len(axes))
    size = np.prod(np.stack(np.meshgrid(*lengths, indexing="ij"), axis=-1), axis=-1).ravel()
    modes = find_modes(counted, sds)
    density = modes.value - ((sds / PRIOR_SD) ** 2).sum(axis=1) / 2
    weight = size * np.exp(density - density.max())
    kept = weight > NEGLIGIBLE * weight.max()
    modes = Modes(modes.value[kept], modes.effects[kept], modes.information[kept])
    return sds[kept], weight[kept] / weight[kept].sum(), modes


def _average(logs: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """The mean of expit(log-odds + sd z) over z normal(0, 1), (points, quantiles)."""
    z, w = np.polynomial.hermite_e.hermegauss(SITE_POINTS)
    return expit(logs[:, :, None] + sd[:, None, None] * z) @ (w / w.sum())


def _find_quantiles(values: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """The .025 and .975 quantiles of weighted values."""
    order = np.argsort(values, kind="stable")
    up_to = np.cumsum(weight[order]) - weight[order] / 2
    return np.interp([0.025, 0.975], up_to, values[order])


def _tell_own(
    counted: Counted,
    modes: Modes,
    spread: np.ndarray,
    rows: np.ndarray,
    reach: np.ndarray,
    variance: np.ndarray,
    covariance: np.ndarray,
) -> np.ndarray:
    """One less the variance of a cell's log-odds over that without its rows, (points,).

    The latter by taking the rows out of the information, with the identity of Woodbury.
    """
    held = np.flatnonzero(counted.belongs[rows].any(axis=0))  # all else is multiplied by 0
    belongs, spread = counted.belongs[np.ix_(rows, held)], spread[:, held]
    linear = (spread * modes.effects[:, held]) @ belongs.T
    told = counted.members[rows] * expit(linear) * expit(-linear)
    shared = (spread * reach[:, held]) @ belongs.T
    between = spread[:, :, None] * covariance[:, held[:, None], held] * spread[:, None, :]
    kept = belongs @ between @ belongs.T
    left = np.eye(len(rows)) / told[:, :, None] - kept
    gain = np.einsum("kr,kr->k", shared, np.linalg.solve(left, shared[:, :, None])[:, :, 0])
    return gain / (variance + gain)
