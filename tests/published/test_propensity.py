"""Chances and weights against a worked example, printed figures and R's glm."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.arms import fit_arm
from pipeline.analyses.order.propensity import count_effective, measure_balance, weigh
from pipeline.statistics.logistic import fit_logistic

HERE = Path(__file__).parent
UNCUT = (0.0, 1.0)

# Hernan MA, Robins JM. Causal Inference: What If. 2020, table 2.2: 20 people with L, A, Y and how
# many there are (from memory).
HEART_TRANSPLANTS = [
    (0, 0, 0, 3),
    (0, 0, 1, 1),
    (0, 1, 0, 3),
    (0, 1, 1, 1),
    (1, 0, 0, 1),
    (1, 0, 1, 2),
    (1, 1, 0, 3),
    (1, 1, 1, 6),
]
# The same, chapter 12 and its code: stabilised weights of quitting smoking, and the weight gained
# by it in kg (from memory).
PRINTED = {"mean": 0.9988, "least": 0.3312, "greatest": 4.2977, "difference": 3.4405}


@pytest.fixture(scope="module")
def nhefs() -> pd.DataFrame:
    """The smokers of nhefs.csv."""
    return pd.read_csv(HERE / "nhefs.csv", comment="#")


@pytest.fixture(scope="module")
def reference() -> pd.Series:
    """What propensity.R said."""
    return pd.read_csv(HERE / "propensity.csv", comment="#", index_col="name")["value"]


def build_matrix(rows: pd.DataFrame) -> np.ndarray:
    """The design of propensity.R, in its order of columns."""

    def classes(name: str) -> list[pd.Series]:
        return [rows[name].eq(value) for value in sorted(rows[name].unique())[1:]]

    def curve(name: str) -> list[pd.Series]:
        return [rows[name], rows[name] ** 2]

    columns = [
        rows["sex"],
        rows["race"],
        *curve("age"),
        *classes("education"),
        *curve("smokeintensity"),
    ]
    columns += [*curve("smokeyrs"), *classes("exercise"), *classes("active"), *curve("wt71")]
    return np.column_stack([np.ones(len(rows)), *columns]).astype(float)


def compare(values: np.ndarray, changed: np.ndarray, weight: np.ndarray) -> float:
    return np.average(values[changed], weights=weight[changed]) - np.average(
        values[~changed], weights=weight[~changed]
    )


def test_the_worked_example_of_heart_transplants():
    distinct, counts = (
        np.array([row[:3] for row in HEART_TRANSPLANTS]),
        [row[3] for row in HEART_TRANSPLANTS],
    )
    ill, changed, died = np.repeat(distinct, counts, axis=0).T
    changed = changed == 1
    chances, _ = fit_logistic(np.column_stack([np.ones(20), ill]), changed)
    assert chances[ill == 0] == pytest.approx(1 / 2)
    assert chances[ill == 1] == pytest.approx(3 / 4)
    weight = weigh(chances, changed, UNCUT).weight
    right = np.where(died == 1, 10.0, np.inf)
    left = np.where(died == 1, 0.0, 10.0)
    crude = np.ones(20)
    for w, with_transplant, without in ((weight, 0.5, 0.5), (crude, 7 / 13, 3 / 7)):
        arms = [fit_arm(left[arm], right[arm], w[None, arm], 10) for arm in (changed, ~changed)]
        assert [arm.risk(10)[0] for arm in arms] == pytest.approx([with_transplant, without])


def test_quitting_smoking_gives_the_printed_weights_and_effect(nhefs):
    changed = nhefs["qsmk"].eq(1).to_numpy()
    chances, _ = fit_logistic(build_matrix(nhefs), changed)
    weight = weigh(chances, changed, UNCUT).weight
    effect = compare(nhefs["wt82_71"].to_numpy(), changed, weight)
    assert [weight.mean(), weight.min(), weight.max(), effect] == pytest.approx(
        list(PRINTED.values()), abs=6e-5
    )


def test_agrees_with_glm_of_r(nhefs, reference):
    changed = nhefs["qsmk"].eq(1).to_numpy()
    chances, coef = fit_logistic(build_matrix(nhefs), changed)
    np.testing.assert_allclose(coef, reference.filter(like="coef_"), atol=1e-8)
    whole, cut = weigh(chances, changed, UNCUT), weigh(chances, changed, (0.01, 0.99))
    gained = nhefs["wt82_71"].to_numpy()
    values = {
        "mean": whole.weight.mean(),
        "least": whole.weight.min(),
        "greatest": cut.greatest,
        "difference": compare(gained, changed, whole.weight),
        "naive": compare(gained, changed, np.ones(len(gained))),
        "cut_mean": cut.weight.mean(),
        "cut_low": cut.weight.min(),
        "cut_high": cut.weight.max(),
        "cut_difference": compare(gained, changed, cut.weight),
        "effective_change": count_effective(cut.weight[changed]),
        "effective_repeat": count_effective(cut.weight[~changed]),
    }
    balance = measure_balance(nhefs, ("sex", "exercise"), changed, whole.weight)
    for level, name in (("sex=1", "sex"), ("exercise=2", "exercise_2")):
        values |= {f"{name}_{when}": balance.loc[level, when] for when in ("before", "after")}
    assert values == pytest.approx(reference[list(values)].to_dict(), abs=1e-7)
    assert cut.truncated_share == pytest.approx(32 / len(nhefs))


def test_the_script_still_says_the_same(run_r, reference):
    again = [
        line.split(",")
        for line in run_r("propensity.R").splitlines()
        if "," in line and not line.startswith("name")
    ]
    assert {name: float(value) for name, value in again} == pytest.approx(
        reference.to_dict(), abs=1e-7
    )
