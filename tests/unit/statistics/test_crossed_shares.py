"""Shares of cells: intervals hold planted shares, and what is a cell's own is told as such."""

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import beta

from pipeline.statistics.crossed import fit_crossed
from pipeline.statistics.crossed_likelihood import Counted, count_rows
from pipeline.statistics.crossed_shares import _place_points, share_cells

VARIANTS, FAMILIES, SITES, POOLS = 6, 6, 8, 30
SDS = {"variant": 0.5, "family": 0.4, "interaction": 0.4, "site": 0.4}
Z, W = np.polynomial.hermite_e.hermegauss(31)


def draw(seed: int) -> tuple[Counted, np.ndarray, np.ndarray, np.ndarray]:
    """A small pool: its rows, the cell of each, the true share and the episodes of each cell."""
    rng = np.random.default_rng([11, seed])
    chosen = rng.permutation(VARIANTS * FAMILIES)[:20]
    effects = {
        "variant": rng.normal(0, SDS["variant"], VARIANTS),
        "family": rng.normal(0, SDS["family"], FAMILIES),
        "interaction": rng.normal(0, SDS["interaction"], VARIANTS * FAMILIES),
    }
    site = rng.normal(0, SDS["site"], SITES)
    rows = []
    for cell in chosen:
        size = rng.choice([6, 15, 40], p=[0.4, 0.4, 0.2])
        where, count = np.unique(rng.integers(0, SITES, size), return_counts=True)
        rows += [(cell, s, n) for s, n in zip(where, count, strict=True)]
    cell, where, members = np.array(rows).T
    log_odds = (
        0.4
        + effects["variant"][cell // FAMILIES]
        + effects["family"][cell % FAMILIES]
        + effects["interaction"][cell]
    )
    events = rng.binomial(members, expit(log_odds + site[where]))
    names, index = np.unique(cell, return_inverse=True)
    counted = count_rows(events, members, [cell // FAMILIES, cell % FAMILIES, cell, where])
    mean = 0.4 + effects["variant"][names // FAMILIES] + effects["family"][names % FAMILIES]
    mean += effects["interaction"][names]
    truth = expit(mean[:, None] + SDS["site"] * Z) @ (W / W.sum())
    return counted, index, truth, np.bincount(index, members)


@pytest.fixture(scope="module")
def pools():
    """Of each pool every cell's truth, pooled share, limits, own part, size and crude events."""
    found = []
    for seed in range(POOLS):
        counted, cell, truth, size = draw(seed)
        fit = fit_crossed(counted)
        shares = share_cells(counted, fit, cell, 3)
        crude = np.bincount(cell, counted.events)
        found.append(np.column_stack([truth, *vars(shares).values(), size, crude]))
    return np.concatenate(found)


def test_pooled_shares_hold_the_truth_and_are_nearer_to_it_than_crude_ones(pools):
    truth, share, low, high, _, size, events = pools.T
    held = (low <= truth) & (truth <= high)
    # cells of a pool share its sites and effects: pools count, of 20 cells each
    assert held.mean() == pytest.approx(0.95, abs=0.025)
    by_pool = np.array([part.mean() for part in np.array_split(share - truth, POOLS)])
    assert abs(by_pool.mean()) < 3 * by_pool.std(ddof=1) / np.sqrt(len(by_pool))
    crude = events / size
    for few in (size < 11, size >= 11):
        assert ((share - truth)[few] ** 2).mean() < ((crude - truth)[few] ** 2).mean()
    # exact limits of the crude share, which do not know sites, hold it less often
    exact = beta.ppf(0.025, events, size - events + 1), beta.ppf(0.975, events + 1, size - events)
    large = size >= 30
    crude_held = (np.nan_to_num(exact[0]) <= truth) & (truth <= np.nan_to_num(exact[1], nan=1))
    assert held[large].mean() > crude_held[large].mean() - 0.01


def test_a_larger_cell_learns_more_from_its_own_records(pools):
    own, size = pools[:, 4], pools[:, 5]
    assert ((own > 0) & (own < 1)).all()
    means = [own[size == each].mean() for each in (6, 15, 40)]
    assert means == sorted(means)
    assert means[0] < 0.35 < means[2]


def test_the_part_of_its_own_is_what_leaving_out_its_rows_loses():
    counted, cell, _, _ = draw(3)
    fit = fit_crossed(counted)
    shares = share_cells(counted, fit, cell, 3)
    sds, weight, modes = _place_points(counted, fit)
    spread = counted.spread(sds)
    rows = cell == 2
    linear = (spread * modes.effects) @ counted.belongs[rows].T
    told = counted.members[rows] * expit(linear) * expit(-linear)
    contrast = spread * np.where(
        np.append(True, counted.factor != 3), counted.belongs[rows][0], 0.0
    )
    parts = []
    for k in range(len(sds)):
        inside = spread[k] * counted.belongs[rows]
        without = modes.information[k] - (inside.T * told[k]) @ inside
        variances = [
            contrast[k] @ np.linalg.solve(each, contrast[k])
            for each in (modes.information[k], without)
        ]
        parts.append(1 - variances[0] / variances[1])
    assert shares.own[2] == pytest.approx(weight @ np.array(parts), abs=1e-6)


def test_a_cell_of_very_many_is_its_own_share():
    counted, cell, _, _ = draw(5)
    plenty = Counted(
        np.where(cell == 1, 0.9 * 4000, counted.events),
        np.where(cell == 1, 4000, counted.members),
        counted.belongs,
        counted.factor,
    )
    shares = share_cells(plenty, fit_crossed(plenty), cell, 3)
    assert shares.own[1] > shares.own[np.arange(len(shares.own)) != 1].max()
    # the sites' spread is still averaged over
    assert shares.low[1] < 0.9 < shares.high[1] + 0.05
