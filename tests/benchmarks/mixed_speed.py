"""How fast the attempt regressions are on collapsed rows, beside statsmodels on single rows,
and how their cost grows with the pool.

Run as: python -m tests.benchmarks.mixed_speed Simulated patients of nine sites have up to four
attempts, ended by the first success; covariates are the number of the attempt, three classes of
fit, three canals, and one of five gaps. Times are processor seconds, the best of two. The last line
is the whole analysis with the terms of config/study.yaml on 100,000 episodes whose many covariates
leave few rows equal.
"""

import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import statsmodels.api as sm

from pipeline.analyses.attempts.success import estimate_attempt_success
from pipeline.statistics.cloglog import Rows, collapse_rows, fit_cloglog
from pipeline.statistics.mixed import fit_mixed
from pipeline.statistics.quadrature import collapse_patients
from schemas.study import read_config
from tests.pool_of_attempts import simulate_attempts

SITES, LONGEST, POINTS = 9, 4, 31
# two classes of fit, two canals, the logarithm of the gap
EFFECTS = np.array([-0.5, 0.1, 0.5, -0.2, 0.2])


def simulate_rows(n: int, seed: int) -> tuple[Rows, np.ndarray, np.ndarray]:
    """Single rows, patients and sites of n patients with a normal intercept of standard deviation
    0.8."""
    rng = np.random.default_rng(seed)
    site, person = rng.integers(SITES, size=n), rng.normal(0, 0.8, n)
    canal, going, parts = rng.integers(3, size=n), np.ones(n, dtype=bool), []
    for k in range(LONGEST):
        fit, gap = rng.integers(3, size=n), rng.choice([1.0, 3.0, 7.0, 14.0, 30.0], n)
        classes = np.column_stack([fit == 1, fit == 2, canal == 1, canal == 2, np.log(gap)]).astype(
            float
        )
        event = rng.random(n) < -np.expm1(-np.exp(classes @ EFFECTS - 0.6 - 0.2 * k + person))
        number = np.eye(LONGEST)[np.full(n, k), 1:]
        design = np.column_stack([classes, number, np.eye(SITES)[site]])
        parts.append((design[going], event[going], np.flatnonzero(going), site[going]))
        going = going & ~event
    design, event, patient, site = (np.concatenate(part) for part in zip(*parts, strict=True))
    return Rows(design, np.zeros(len(event)), event.astype(float), 1.0 - event), patient, site


def take_time(call: Callable[[], object]) -> float:
    """Processor seconds of the faster of two calls."""
    seconds = []
    for _ in range(2):
        start = time.process_time()
        call()
        seconds.append(time.process_time() - start)
    return min(seconds)


def compare(n: int) -> str:
    """One line of the table; the coefficients of both programs must agree."""
    single, patient, site = simulate_rows(n, seed=n)
    event = single.events > 0
    rows, _ = collapse_rows(single.design, single.offset, event, site)
    groups = collapse_patients(single, patient, site)
    model = sm.GLM(single.events, single.design, sm.families.Binomial(sm.families.links.CLogLog()))
    fit = fit_cloglog(rows)
    np.testing.assert_allclose(fit.point, model.fit(method="newton").params, atol=1e-6)
    collapse = take_time(lambda: collapse_rows(single.design, single.offset, event, site))
    seconds = take_time(lambda: fit_cloglog(rows))
    raw = take_time(lambda: model.fit(method="newton"))
    mixed = take_time(lambda: fit_mixed(groups, fit.point, POINTS, random_sites=False))
    sizes = f"{n:>8}{len(event):>9}{len(rows.offset):>8}{len(groups.weight):>9}"
    return f"{sizes}{collapse:>10.3f}{seconds:>9.3f}{raw:>13.2f}{raw / seconds:>8.0f}{mixed:>9.2f}"


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    print(
        f"{'':>8}{'':>9}{'distinct':>8}{'distinct':>9}{'':>10}{'':>9}{'statsmodels':>13}{'times':>8}{'':>9}"
    )
    print(
        f"{'patients':>8}{'rows':>9}{'rows':>8}{'patients':>9}{'collapse':>10}{'fit':>9}"
        f"{'raw rows':>13}{'fit':>8}{'mixed':>9}"
    )
    for size in (10_000, 100_000, 1_000_000):
        print(compare(size))
    tables, config = (
        simulate_attempts(100_000, seed=1),
        read_config(Path(__file__).parents[2] / "config"),
    )
    start = time.process_time()
    estimate_attempt_success(*tables, config)
    print(f"whole analysis of 100000 episodes: {time.process_time() - start:.0f} s")
