"""How fast the interval-censored estimator is beside lifelines', on simulated patients tested on
whole days, and how little a fit grows with the pool once intervals repeat.

Run as: python -m tests.benchmarks.npmle_speed Times are the best of three; both get the same
collapsed intervals and weights. lifelines takes intervals as closed, so that its left ends are
shifted by 1e-5; its columns name its stopping rule, the step of the log-likelihood.
"""

import time
import warnings
from collections.abc import Callable
from functools import partial

import numpy as np
from lifelines import KaplanMeierFitter

from pipeline.statistics.npmle import collapse_intervals, fit_many, fit_npmle

HORIZON_DAY = 60
TESTS = 8
REPLICATES = 400
DAYS = np.arange(HORIZON_DAY + 1)


def simulate_tests(n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Weibull event times of median about 7 days, each patient tested on 8 random whole days."""
    rng = np.random.default_rng(seed)
    event = 12 * rng.weibull(0.7, n)[:, None]
    test = np.argsort(rng.random((n, HORIZON_DAY)), axis=1)[:, :TESTS] + 1.0
    return np.where(test < event, test, 0).max(axis=1), np.where(test >= event, test, np.inf).min(
        axis=1
    )


def fit_lifelines(left: np.ndarray, right: np.ndarray, weight: np.ndarray, tol: float) -> None:
    """The same estimate by the other implementation."""
    KaplanMeierFitter().fit_interval_censoring(left + 1e-5, right, weights=weight, tol=tol)


def take_time(call: Callable[[], object]) -> float:
    """Seconds of the fastest of three calls."""
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def compare(n: int) -> str:
    """One line of the table."""
    tests = simulate_tests(n, seed=n)
    collapse = take_time(lambda: collapse_intervals(*tests))
    left, right, index = collapse_intervals(*tests)
    weight = np.bincount(index)
    draws = np.random.default_rng(1).multinomial(n, weight / n, size=REPLICATES)
    seconds = take_time(lambda: fit_npmle(left, right, weight))
    many = take_time(lambda: fit_many(left, right, draws, DAYS))
    loose, tight = (
        take_time(partial(fit_lifelines, left, right, weight, tol)) / seconds
        for tol in (1e-5, 1e-9)
    )
    return (
        f"{n:>8}{len(left):>11}{collapse * 1000:>10.1f}{seconds * 1000:>10.1f}{loose:>16.0f}"
        f"{tight:>16.0f}{many:>12.2f}"
    )


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    print(
        f"{'':>8}{'':>11}{'collapse':>10}{'one fit':>10}{'lifelines 1e-5':>16}"
        f"{'lifelines 1e-9':>16}{f'{REPLICATES} fits':>12}"
    )
    print(
        f"{'n':>8}{'intervals':>11}{'ms':>10}{'ms':>10}{'times that':>16}{'times that':>16}"
        f"{'s':>12}"
    )
    for size in (1_000, 10_000, 100_000):
        print(compare(size))
