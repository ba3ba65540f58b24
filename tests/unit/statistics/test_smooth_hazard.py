"""The smooth course of covariates: planted coefficients come back, late tests count whole,
and a course that would fall is refused."""

import numpy as np
import pandas as pd

from pipeline.statistics.smooth_hazard import course_basis, fit_hazard, keep_distinguishable
from tests.simulated_sites import FASTER, RATE, SHAPE, simulate_sites, true_share

KNOTS = (1.0, 60**0.5, 60.0)


def intervals(seed: int, sizes: list[int], **planted) -> tuple[np.ndarray, ...]:
    """Sites, left and right ends and a covariate (lateral canal) of those who are followed."""
    tables = simulate_sites(sizes, seed, **planted)
    rows = tables.spells.merge(
        tables.adjudications[["site", "episode_id", "canal"]], on=["site", "episode_id"]
    )
    rows = rows[rows["status"].ne("not_tested_again")]
    lateral = rows["canal"].eq("lateral").to_numpy(float)[:, None]
    return (
        rows["site"].to_numpy(str),
        rows["left_days"].to_numpy(float),
        rows["right_days"].to_numpy(float),
        lateral,
    )


def share_by(fit, covariates: np.ndarray, day: int) -> tuple[float, float]:
    """The mean probability of resolution by the day and its standard error, from the
    coefficients."""
    basis = np.column_stack(
        [course_basis(np.full(len(covariates), float(day)), fit.knots), covariates]
    )
    cumulative = np.exp(basis @ fit.coefficients)
    slope = basis.T @ (cumulative * np.exp(-cumulative)) / len(covariates)
    return float(-np.expm1(-cumulative).mean()), float(np.sqrt(slope @ fit.covariance @ slope))


def test_hazard_finds_what_was_planted():
    _, left, right, lateral = intervals(1, [1500])
    fit = fit_hazard(left, right, lateral, (1.0, 60.0))
    errors = np.sqrt(np.diag(fit.covariance))
    assert (np.abs(fit.coefficients - [np.log(RATE), SHAPE, FASTER]) < 4 * errors).all()
    assert errors.max() < 0.1
    for day in (7, 30):
        share, error = share_by(
            fit_hazard(left, right, lateral, KNOTS), np.repeat([[0.0], [1.0]], [6, 4], axis=0), day
        )
        assert abs(share - true_share(day)) < 4 * error


def test_a_test_after_the_last_knot_counts_alike_whatever_it_shows():
    rng, n = np.random.default_rng(3), 20000
    time = 20 * rng.weibull(0.7, n)
    first, second = rng.integers(2, 31, n), rng.integers(61, 200, n)
    left = np.select([time > second, time > first], [second, first], 0.0)
    right = np.select([time <= first, time <= second], [first, second], np.inf)
    fit = fit_hazard(left, right, np.empty((n, 0)), (1.0, 60.0))
    for day in (7, 30):  # cut at the last knot, a share was .06 off
        share, error = share_by(fit, np.empty((n, 0)), day)
        assert abs(share - -np.expm1(-((day / 20) ** 0.7))) < 4 * error


def test_a_flat_course_is_refused():
    # tested once, on day 40 or day 50, and more often resolved on the earlier: no curve that
    # rises fits
    left = np.repeat([0.0, 40.0, 0.0, 50.0], [18, 2, 4, 16])
    right = np.repeat([40.0, np.inf, 50.0, np.inf], [18, 2, 4, 16])
    assert fit_hazard(left, right, np.empty((40, 0)), (1.0, 60.0)).status == "not_identified"


def test_columns_that_hardly_differ_are_told_apart_or_dropped(plan):
    rng = np.random.default_rng(10)
    first, second = rng.random(200) < 0.3, rng.random(200) < 0.5
    nearly = first.copy()
    nearly[:3] = ~nearly[:3]  # differs in three episodes
    matrix = pd.DataFrame({"first": first, "second": second, "nearly": nearly}).astype(float)
    kept = keep_distinguishable(matrix, np.ones((200, 1)), plan.study.guards)
    assert list(kept) == ["first", "second"]
