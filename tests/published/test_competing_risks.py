"""Competing events against R's survival package and against other algorithms,
recorded in competing_reference.csv."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from scipy.optimize import minimize

from pipeline.statistics.competing_risks import aalen_johansen_errors, fit_aalen_johansen
from pipeline.statistics.interval_incidence import fit_interval_incidence
from pipeline.statistics.npmle import fit_npmle
from pipeline.statistics.npmle_search import NotConverged

HERE = Path(__file__).parent
DAYS = [12, 60, 120, 240]

# Survival at the right end of each interval with mass in the radiotherapy arm of cosmesis.csv, by
# the R package npsurv 0.5-0 (R 4.2.2).
COSMESIS_SURVIVAL = {
    5: 0.9537,
    7: 0.9203,
    8: 0.8316,
    12: 0.7609,
    25: 0.6682,
    34: 0.5864,
    40: 0.4656,
}
COSMESIS_LOG_LIKELIHOOD = -58.0600220


def read_rows(data: str) -> tuple[np.ndarray, np.ndarray]:
    rows = pd.read_csv(HERE / "competing_rows.csv", comment="#").query("data == @data")
    return rows["time"].to_numpy(float), rows["cause"].to_numpy()


def read_reference(estimator: str, data: str) -> pd.DataFrame:
    rows = pd.read_csv(HERE / "competing_reference.csv", comment="#")
    return rows[rows["estimator"].eq(estimator) & rows["data"].eq(data)]


def examine_every_few_months() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """mgus2 as seen every 3 to 12 months, as competing.R does it."""
    months, cause = read_rows("mgus2")
    gap = 3 + np.arange(1, len(months) + 1) % 10
    right = np.where(cause > 0, np.ceil(months / gap) * gap, np.inf)
    return np.where(cause > 0, right - gap, np.floor(months / gap) * gap), right, cause


@pytest.mark.parametrize("data", ["mgus2", "transplant"])
def test_known_days_agree_with_survfit_to_nine_digits(data):
    time, cause = read_rows(data)
    fit, errors = (
        find(time, cause, cause.max()) for find in (fit_aalen_johansen, aalen_johansen_errors)
    )
    for row in read_reference("aalen_johansen", data).itertuples():
        assert fit.at(row.day)[1][row.cause - 1] == pytest.approx(row.incidence, abs=1e-10)
        assert errors[row.cause - 1, fit.days <= row.day][-1] == pytest.approx(
            row.std_error, abs=1e-9
        )


def test_weighted_known_days_agree_with_survfit():
    time, cause = read_rows("mgus2")
    fit = fit_aalen_johansen(time, cause, 2, 1 + np.arange(1, len(time) + 1) % 3)
    for row in read_reference("aalen_johansen", "mgus2_weighted").itertuples():
        assert fit.at(row.day)[1][row.cause - 1] == pytest.approx(row.incidence, abs=1e-10)


def test_intervals_agree_with_expectation_maximisation_in_r():
    fit = fit_interval_incidence(*examine_every_few_months(), 2, [0, 12, 24, 60, 120, 240])
    for row in read_reference("intervals", "mgus2").itertuples():
        k = list(fit.edges).index(row.day) - 1
        assert fit.incidence[row.cause - 1, k] == pytest.approx(row.incidence, abs=2e-6)
    assert fit.log_likelihood == pytest.approx(
        read_reference("log_likelihood", "mgus2")["incidence"].item(), abs=1e-5
    )
    assert fit.identified.all()


def test_intervals_tell_nearly_what_the_days_themselves_tell():
    time, cause = read_rows("mgus2")
    known, errors = (find(time, cause, 2) for find in (fit_aalen_johansen, aalen_johansen_errors))
    edges = [0, 6, 12, 24, 36, 60, 90, 120, 180, 240]
    seen = fit_interval_incidence(*examine_every_few_months(), 2, edges)
    for day in DAYS:
        error = errors[:, known.days <= day][:, -1]
        assert (
            np.abs(seen.incidence[:, edges.index(day) - 1] - known.at(day)[1]).max() < error.max()
        )


def test_tests_on_the_edges_give_the_life_table_of_known_days():
    time, cause = read_rows("mgus2")
    years = np.ceil(time / 12) * 12
    edges = np.arange(0, 361, 12)
    # a person last seen within a year is only known to be without event at its start
    kept = cause > 0
    left, right = (
        np.where(kept, years - 12, np.floor(time / 12) * 12),
        np.where(kept, years, np.inf),
    )
    fitted = fit_interval_incidence(left, right, cause, 2, edges)
    table = fit_aalen_johansen(np.where(kept, years, left), cause, 2)
    for k, day in enumerate(edges[1:]):
        survival, incidence = table.at(day)
        np.testing.assert_allclose(fitted.incidence[:, k], incidence, atol=1e-7)
        assert fitted.survival[k] == pytest.approx(survival, abs=1e-7)


def test_one_event_on_whole_months_is_the_interval_censored_curve_of_npsurv():
    rows = pd.read_csv(HERE / "cosmesis.csv", comment="#").query("arm == 'RT'")
    right = rows["right"].fillna(np.inf).to_numpy()
    fit = fit_interval_incidence(
        rows["left"], right, np.isfinite(right).astype(int), 1, np.arange(49)
    )
    assert fit.log_likelihood == pytest.approx(COSMESIS_LOG_LIKELIHOOD, abs=1e-6)
    for month, survival in COSMESIS_SURVIVAL.items():
        assert fit.survival[month - 1] == pytest.approx(survival, abs=5e-5)
        assert fit.identified[-1][month - 1]
    # 39 in (38, 40] and 47 in (46, 48]: no information
    assert not fit.identified[-1][[38, 46]].any()


def test_one_event_with_known_days_is_one_less_kaplan_meier_with_greenwoods_error():
    time, cause = read_rows("mgus2")
    event = (cause > 0).astype(int)
    fit, errors = (find(time, event, 1) for find in (fit_aalen_johansen, aalen_johansen_errors))
    curve = KaplanMeierFitter().fit(time, event)
    for day in DAYS:
        survival, incidence = fit.at(day)
        assert survival == pytest.approx(curve.predict(day), abs=1e-12)
        assert incidence[0] == pytest.approx(1 - survival, abs=1e-12)
        past = curve.event_table.loc[:day].query("at_risk > observed")
        rest = past["at_risk"] - past["observed"]
        greenwood = survival * np.sqrt((past["observed"] / (past["at_risk"] * rest)).sum())
        assert errors[0, fit.days <= day][-1] == pytest.approx(greenwood, abs=1e-12)


def test_a_general_optimiser_finds_nothing_better():
    left, right, cause = examine_every_few_months()
    edges = np.array([0, 24, 60, 120, 240])
    fit = fit_interval_incidence(left, right, cause, 2, edges)

    def chance(mass: np.ndarray) -> np.ndarray:
        """By the definition: the rise of an incidence that is straight within bands,
        and what is left without event."""
        grown = np.concatenate([np.zeros((2, 1)), mass[:, :-1].cumsum(axis=1)], axis=1)
        rise = [
            np.interp(np.minimum(right, 240), edges, g) - np.interp(left, edges, g) for g in grown
        ]
        rise = [r + m * (right > 240) for r, m in zip(rise, mass[:, -1], strict=True)]
        return np.select([cause == 1, cause == 2], rise, rise[0] + rise[1])

    def loss(x: np.ndarray) -> float:
        weight = np.exp(x - x.max())
        return -np.log(chance((weight / weight.sum()).reshape(2, -1))).sum()

    optimum = minimize(loss, np.zeros(10), method="BFGS", options={"maxiter": 500})
    assert -optimum.fun <= fit.log_likelihood + 1e-6
    assert -optimum.fun == pytest.approx(fit.log_likelihood, abs=1e-2)


ROWS = st.lists(
    st.tuples(st.integers(0, 12), st.integers(1, 9), st.integers(0, 2), st.integers(1, 3)),
    min_size=3,
    max_size=40,
)


@settings(max_examples=60)
@given(ROWS, st.randoms(use_true_random=False))
def test_known_days_add_up_and_neither_order_nor_repetition_matters(rows, random):
    time, _, cause, weight = (np.array(part) for part in zip(*rows, strict=True))
    fit = fit_aalen_johansen(time, cause, 2, weight)
    np.testing.assert_allclose(fit.incidence.sum(axis=0) + fit.survival, 1, atol=1e-12)
    assert (np.diff(fit.incidence, axis=1) >= -1e-15).all()
    repeated = [row for row in rows for _ in range(row[3])]
    random.shuffle(repeated)
    again = fit_aalen_johansen(
        *(np.array(part) for part in list(zip(*repeated, strict=True))[0::2]), 2
    )
    np.testing.assert_allclose(again.incidence, fit.incidence, atol=1e-12)
    other = fit_aalen_johansen(time, np.where(cause > 0, 3 - cause, 0), 2, weight)
    np.testing.assert_allclose(
        other.incidence[::-1], fit.incidence, atol=1e-12
    )  # which cause of a day is first is nothing


def test_the_same_rows_give_the_same_bytes_and_an_error_until_nobody_is_left():
    time, cause = read_rows("mgus2")
    for find in (lambda *rows: fit_aalen_johansen(*rows).incidence, aalen_johansen_errors):
        assert find(time, cause, 2).tobytes() == find(time, cause, 2).tobytes()
    errors = aalen_johansen_errors([1, 1, 2, 2, 3, 3], [1, 2, 1, 0, 1, 2], 2)
    assert np.isnan(errors).tolist() == [[False, False, True]] * 2


@settings(max_examples=60)
@given(ROWS, st.randoms(use_true_random=False))
def test_intervals_add_up_are_proved_and_do_not_depend_on_order_or_repetition(rows, random):
    def fit(chosen, weighted):
        left, width, cause, weight = (np.array(part) for part in zip(*chosen, strict=True))
        right = np.where(cause > 0, left + width, np.inf)
        return fit_interval_incidence(
            left, right, cause, 2, [0, 2, 5, 10], weight if weighted else None
        )

    once = fit(rows, True)
    assert once.max_gradient <= 1 + 1e-9
    assert (once.mass >= 0).all()
    assert (once.survival >= -1e-12).all()
    left_over = np.append(1.0, once.survival[:-1]) > 1e-6
    np.testing.assert_allclose(
        (once.hazard * np.append(1.0, once.survival[:-1]))[:, left_over], once.mass[:, left_over]
    )
    repeated = [row for row in rows for _ in range(row[3])]
    random.shuffle(repeated)
    again = fit(repeated, False)
    assert again.log_likelihood == pytest.approx(once.log_likelihood, abs=1e-7)
    assert (again.identified == once.identified).all()
    np.testing.assert_allclose(
        again.incidence[once.identified[:-1]], once.incidence[once.identified[:-1]], atol=1e-4
    )


def test_one_cause_of_intervals_lies_within_what_the_curve_allows():
    rng = np.random.default_rng(7)
    left = rng.integers(0, 20, 300)
    right = np.where(rng.random(300) < 0.7, left + rng.integers(1, 15, 300), np.inf)
    fit = fit_interval_incidence(left, right, np.isfinite(right).astype(int), 1, np.arange(41))
    lower, upper = fit_npmle(left, right).survival(np.arange(1, 41))
    known = upper - lower < 1e-9
    assert known.sum() > 5
    np.testing.assert_allclose(fit.survival[known], upper[known], atol=1e-6)
    assert fit.identified[-1][known].all()


def test_the_global_generator_is_left_alone():
    np.random.seed(3)
    expected = np.random.random()
    np.random.seed(3)
    fit_aalen_johansen([1, 1, 2], [1, 2, 0], 2)
    fit_interval_incidence([0, 1, 1], [2, 3, np.inf], [1, 2, 0], 2, [0, 2, 4])
    assert np.random.random() == expected


@pytest.mark.parametrize(
    ("left", "right", "cause"),
    [
        ([3], [3], [1]),
        ([0], [np.inf], [1]),
        ([0], [4], [0]),
        ([0], [np.nan], [1]),
        ([-1], [4], [1]),
        ([0], [4], [3]),
    ],
)
def test_what_is_no_interval_is_refused(left, right, cause):
    with pytest.raises(ValueError, match=r"event|times"):
        fit_interval_incidence(left, right, cause, 2, [0, 10])


def test_a_tolerance_that_cannot_be_reached_is_told():
    with pytest.raises(NotConverged):
        fit_interval_incidence(*examine_every_few_months(), 2, [0, 12, 24], tolerance=-1.0)


def test_record_is_what_the_script_gives(run_r):
    printed = run_r("competing.R")
    again = pd.read_csv(io.StringIO(printed), comment="#")
    recorded = pd.read_csv(HERE / "competing_reference.csv", comment="#")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=0, atol=1e-6)
    rows = run_r("competing.R", "rows")
    pd.testing.assert_frame_equal(
        pd.read_csv(io.StringIO(rows)), pd.read_csv(HERE / "competing_rows.csv", comment="#")
    )
