"""The model of a hidden end where the days of visits say nothing: against R's msm package, recorded
in hidden_end_reference.csv, and against interval-censored curves.

Time is continuous there, days are whole here. With a constant rate and whole days that is the
same: an end in (d - 1, d] is one on day d, and its hazard is 1 - exp(-rate). Days of visits are
made to say nothing in two ways: none counts as under observation, or all do, of one habit, and
visits are as likely in the state as out of it.
"""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter

from pipeline.statistics.npmle import fit_npmle
from tests.published.hidden_end_cases import (
    NEVER_WRONG,
    NOTHING,
    UNKNOWN,
    alike,
    gather,
    lean,
    settle,
    watch,
)

HERE = Path(__file__).parent
SPLIT = 36  # month from which the rate is another in hidden_end.R
MANUAL = (1e9, 0.17491, 1 - 0.02690)  # misread visits as in model 5 of the manual of msm
STOPS_SHORT = 1.5e-3  # of survfit: see test_survfit.py


def read_visits(data: str) -> pd.DataFrame:
    return pd.read_csv(HERE / "hidden_end_rows.csv", comment="#").query("data == @data")


def until_found(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits up to the first at which state 2 was found, for models in which none is misread."""
    return visits[visits.groupby("person")["found"].cumsum() - visits["found"] == 0]


def lay_out(visits: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """What visits showed by person and month, and whether the person is a man. State 1 is the one
    that ends."""
    index, people = pd.factorize(visits["person"])
    shown = np.full((len(people), visits["month"].max()), NOTHING)
    shown[index, visits["month"] - 1] = 1 - visits["found"]
    return shown, visits.groupby("person", sort=False)["male"].first().to_numpy()


def recall(data: str, model: str, quantity: str) -> pd.DataFrame:
    rows = pd.read_csv(HERE / "hidden_end_reference.csv", comment="#")
    rows = rows[rows["data"].eq(data) & rows["model"].eq(model) & rows["quantity"].eq(quantity)]
    assert len(rows)
    return rows


def recall_value(data: str, model: str, quantity: str) -> float:
    return recall(data, model, quantity)["value"].item()


@pytest.mark.parametrize("data", ["cav", "psor"])
def test_one_rate_agrees_with_msm(data):
    courses = gather(lay_out(until_found(read_visits(data)))[0])
    fit = settle(courses)
    assert fit.rates.natural[0] == pytest.approx(recall_value(data, "constant", "rate"), rel=1e-6)
    assert fit.value - lean(courses, fit.rates) == pytest.approx(
        recall_value(data, "constant", "log_likelihood"), abs=1e-5
    )
    for row in recall(data, "constant", "ended").itertuples():
        ended = -np.expm1(-fit.rates.natural[0] * row.month)
        assert ended == pytest.approx(row.value, abs=1e-6)


@pytest.mark.parametrize("data", ["cav", "psor"])
def test_visits_as_likely_in_either_state_add_their_own_likelihood_and_change_nothing(data):
    """Looks that come on a day with one chance, whatever the state, add those of tosses of a
    coin."""
    shown, _ = lay_out(until_found(read_visits(data)))
    courses = watch(gather(shown))
    fit = settle(courses, alike(courses))
    chance, visits, days = -np.expm1(-fit.rates.planned[0]), (shown != NOTHING).sum(), shown.size
    assert chance == pytest.approx(visits / days, rel=1e-3)
    tosses = visits * np.log(chance) + (days - visits) * np.log(1 - chance)
    assert fit.rates.natural[0] == pytest.approx(recall_value(data, "constant", "rate"), rel=1e-6)
    assert fit.value - lean(courses, fit.rates) - tosses == pytest.approx(
        recall_value(data, "constant", "log_likelihood"), abs=1e-5
    )


def test_shares_ended_are_means_of_what_the_rate_of_msm_tells_of_each_interval():
    visits = until_found(read_visits("cav"))
    rate, months = recall_value("cav", "constant", "rate"), np.array([12, 60, 120, 180])
    people = visits.groupby("person")
    last = visits["month"].where(visits["found"].eq(0)).groupby(visits["person"]).max().fillna(0)
    left = np.exp(-rate * last.to_numpy())[:, None]
    has_ended = people["found"].max().to_numpy()[:, None] == 1
    right = np.where(has_ended, np.exp(-rate * people["month"].max().to_numpy())[:, None], 0.0)
    expected = np.clip((left - np.exp(-rate * months)) / (left - right), 0, 1).mean(axis=0)
    fit = settle(gather(lay_out(visits)[0]))
    np.testing.assert_allclose(fit.share_ended(months), expected, rtol=0, atol=1e-6)


def test_a_rate_for_each_period_agrees_with_msm():
    shown, _ = lay_out(until_found(read_visits("cav")))
    later = np.arange(1, shown.shape[1] + 1) > SPLIT
    courses = gather(shown, part=np.broadcast_to(later.astype(int), shown.shape))
    fit = settle(courses)
    expected = recall("cav", "two_periods", "rate")["value"]
    np.testing.assert_allclose(fit.rates.natural, expected, rtol=1e-5)
    assert fit.value - lean(courses, fit.rates) == pytest.approx(
        recall_value("cav", "two_periods", "log_likelihood"), abs=1e-5
    )


def test_what_men_have_above_women_as_a_jump_agrees_with_msm():
    shown, male = lay_out(until_found(read_visits("cav")))
    courses = gather(shown, done=np.broadcast_to(male[:, None], shown.shape))
    fit = settle(courses)
    women, men = (recall_value("cav", group, "rate") for group in ("women", "men"))
    assert fit.rates.natural[0] == pytest.approx(women, rel=1e-5)
    assert fit.rates.natural[0] + fit.rates.jump[1] == pytest.approx(men, rel=1e-5)
    assert fit.value - lean(courses, fit.rates) == pytest.approx(
        recall_value("cav", "women", "log_likelihood"), abs=1e-5
    )


@pytest.mark.parametrize(("model", "belief"), [("misread", UNKNOWN), ("misread_fixed", MANUAL)])
def test_misread_visits_agree_with_msm(model, belief):
    shown, _ = lay_out(read_visits("cav"))
    courses = gather(shown, belief)
    fit = settle(courses)
    assert fit.rates.natural[0] == pytest.approx(recall_value("cav", model, "rate"), rel=1e-5)
    missed, seen = fit.rates.showing
    assert missed == pytest.approx(recall_value("cav", model, "missed_in_2"), abs=1e-6)
    assert 1 - seen == pytest.approx(recall_value("cav", model, "found_in_1"), abs=1e-6)
    assert fit.value - lean(courses, fit.rates) == pytest.approx(
        recall_value("cav", model, "log_likelihood"), abs=1e-5
    )
    for row in recall("cav", model, "ended").itertuples():
        ended = -np.expm1(-fit.rates.natural[0] * row.month)
        assert ended == pytest.approx(row.value, abs=1e-5)


@pytest.mark.parametrize(("model", "belief"), [("misread", UNKNOWN), ("misread_fixed", MANUAL)])
def test_the_probable_state_at_each_visit_agrees_with_msm(model, belief):
    """Of people who seem to have gone back from state 2 to 1, given all their visits."""
    visits = read_visits("cav")
    fit = settle(gather(lay_out(visits)[0], belief))
    place = {person: k for k, person in enumerate(visits["person"].unique())}
    rows = recall("cav", model, "state_2")
    at = rows["person"].map(place).to_numpy(int), rows["month"].to_numpy(int) - 1
    np.testing.assert_allclose(fit.weight.cumsum(axis=1)[at], rows["value"], rtol=0, atol=1e-5)
    assert rows["value"].between(0.05, 0.95).sum() > 10  # undecided ones


def read_arm(arm: str) -> tuple[np.ndarray, np.ndarray]:
    rows = pd.read_csv(HERE / "cosmesis.csv", comment="#").query("arm == @arm")
    return rows["left"].to_numpy(float), rows["right"].fillna(np.inf).to_numpy()


def lay_out_intervals(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Each interval as a visit at either end."""
    last = np.r_[left, right[np.isfinite(right)]].max().astype(int)
    shown = np.full((len(left), last), NOTHING)
    for number, day in ((1, left), (0, right)):
        known = (day > 0) & np.isfinite(day)
        shown[np.flatnonzero(known), day[known].astype(int) - 1] = number
    return shown


@pytest.mark.parametrize("observed", [False, True])
@pytest.mark.parametrize("arm", ["RT", "RCT"])
def test_a_rate_for_each_month_gives_turnbulls_estimate(arm, observed):
    left, right = read_arm(arm)
    shown = lay_out_intervals(left, right)
    months = np.arange(1, shown.shape[1] + 1)
    courses = gather(shown, part=np.broadcast_to(months - 1, shown.shape))
    courses = watch(courses) if observed else courses
    fit = settle(courses, alike(courses) if observed else None)
    survival = 1 - fit.share_ended(months)
    np.testing.assert_allclose(np.exp(-fit.rates.natural.cumsum()), survival, rtol=0, atol=1e-4)

    lower, upper = fit_npmle(left, right).survival(months)
    known = upper - lower < 1e-9  # elsewhere the estimate is not unique
    assert known.sum() > 40
    np.testing.assert_allclose(survival[known], upper[known], rtol=0, atol=1e-4)
    assert ((lower - 1e-4 <= survival) & (survival <= upper + 1e-4)).all()
    other = KaplanMeierFitter().fit_interval_censoring(left + 1e-5, right, tol=1e-10)
    curve = other.survival_function_["NPMLE_estimate_lower"]
    expected = [curve.loc[:month].iloc[-1] for month in months[known]]
    np.testing.assert_allclose(survival[known], expected, rtol=0, atol=1e-4)
    recorded = pd.read_csv(HERE / "survfit_interval.csv", comment="#").query("arm == @arm")
    recorded = recorded.set_index("day")["survival"].reindex(months).to_numpy()
    both = known & ~np.isnan(recorded)
    np.testing.assert_allclose(survival[both], recorded[both], rtol=0, atol=STOPS_SHORT)


def test_turnbulls_estimate_has_the_log_likelihood_of_npsurv():
    left, right = read_arm("RT")
    shown = lay_out_intervals(left, right)
    courses = gather(shown, NEVER_WRONG, part=np.broadcast_to(np.arange(48), shown.shape))
    fit = settle(courses)
    assert fit.value - lean(courses, fit.rates) == pytest.approx(-58.0600220, abs=1e-4)


def test_record_is_what_the_script_gives(run_r):
    for arguments, name in (([], "hidden_end_reference.csv"), (["rows"], "hidden_end_rows.csv")):
        again = pd.read_csv(io.StringIO(run_r("hidden_end.R", *arguments)), comment="#")
        recorded = pd.read_csv(HERE / name, comment="#")
        pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=0, atol=1e-6)
