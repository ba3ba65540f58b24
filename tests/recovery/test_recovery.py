"""A slice of the recovery study runs again and gives the committed answers;
its parts do what the table says of them."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from schemas.derived import Adjudications, Attempts, Spells
from tests.recovery import study, truth
from tests.recovery.frames import draw_pool
from tests.recovery.naive import estimate_share, impute
from tests.recovery.scenarios import BY_NAME, SCENARIOS, VARIANTS, WEIBULL_DAYS, WEIBULL_SHAPE
from tests.recovery.table import tabulate

HERE = Path(__file__).parent
SLICE = [json.loads(line) for line in (HERE / "slice.jsonl").read_text("utf-8").splitlines()]
RELATIVE = 1e-4  # optimisers stop there on another machine


@pytest.mark.parametrize("line", SLICE, ids=lambda line: f"{line['pool']}-{line['analysis']}")
def test_the_committed_answers_come_again(line):
    again = study.answer_pool((line["pool"], line["analysis"]))
    assert again["scenario"] == line["scenario"]
    assert [(a[0], a[1], a[5]) for a in again["answers"]] == [
        (a[0], a[1], a[5]) for a in line["answers"]
    ]
    numbers = [np.array([a[2:5] for a in each["answers"]], dtype=float) for each in (again, line)]
    np.testing.assert_allclose(*numbers, rtol=RELATIVE, atol=RELATIVE)


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_tables_are_as_the_warehouse_gives_them_and_intervals_hold_the_truth(scenario):
    pool = draw_pool(scenario, 5, gap=14)
    for model, rows in (
        (Adjudications, pool.adjudications),
        (Attempts, pool.attempts),
        (Spells, pool.spells),
    ):
        model.validate(rows, lazy=True)
    first = pool.spells[pool.spells["spell"].eq(1)]
    assert (first["left_days"].to_numpy(float) < pool.resolved).all()
    assert (pool.resolved <= first["right_days"].to_numpy(float)).all()


def test_a_pool_depends_on_its_number_alone():
    once, again, other = (draw_pool(BY_NAME["everything"], number, gap=14) for number in (7, 7, 18))
    pd.testing.assert_frame_equal(once.spells, again.spells)
    assert len(once.spells) != len(other.spells) or not once.spells.equals(other.spells)


def test_weibull_truth_is_the_closed_form():
    scenario = dataclasses.replace(BY_NAME["weibull"], site_sd=0.0)
    people, course = truth.draw_population(scenario)
    strength = np.array([variant.jump for variant in VARIANTS])[people.variant] * np.exp(
        people.effect
    )
    for day in (1, 7, 30):
        expected = -np.expm1(-strength * (day / WEIBULL_DAYS) ** WEIBULL_SHAPE)
        error = np.sqrt((expected * (1 - expected)).mean() / len(expected))
        assert abs((course.resolved <= day).mean() - expected.mean()) < 4 * error


def test_a_stop_loses_the_last_line_only(tmp_path, monkeypatch):
    monkeypatch.setattr(study, "ProcessPoolExecutor", InPlace)
    study.run_study(2, ["recurrence"], tmp_path, 1)
    path = tmp_path / study.ANSWERS
    whole = path.read_text("utf-8")
    path.write_text(whole[:-20], "utf-8")
    study.run_study(2, ["recurrence"], tmp_path, 1)
    assert path.read_text("utf-8") == whole


class InPlace:
    """Stands for the processes: works in this one."""

    def __init__(self, _processes, _context):
        self.map = lambda function, jobs, chunksize: map(function, jobs)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None


def test_the_table_counts_bias_coverage_and_false_alarms():
    answers = pd.DataFrame(
        {
            "analysis": "a", "term": "t", "scenario": "s", "stance": "honest", "truth": 0.0,
            "estimate": [0.1, 0.3, np.nan, -0.1], "lower": [-0.1, 0.2, np.nan, -0.2],
            "upper": [0.3, 0.4, np.nan, 0.0],
        }
    )  # fmt: skip
    row = tabulate(answers).iloc[0]
    assert (row["pools"], row["answered"]) == (4, 3)
    assert row["bias"] == pytest.approx(0.1)
    assert row["coverage"] == pytest.approx(2 / 3)
    assert row["type_i_error"] == pytest.approx(1 / 3)


def test_naive_share_is_the_printed_product_limit():
    # times of remission under 6-mercaptopurine: Freireich EJ et al. Blood 1963;21:699-716;
    # product-limit values as in Kalbfleisch & Prentice (from memory): .857 after week 6, .807 after
    # week 7, .627 after week 16
    weeks = np.array([6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])
    relapse = np.arange(21) < 9
    for week, survival in ((6, 0.857), (7, 0.807), (16, 0.627)):
        assert 1 - estimate_share(relapse, weeks, week)[0] == pytest.approx(survival, abs=5e-4)


def test_imputed_days():
    left, right = np.array([1.0, 7.0]), np.array([7.0, np.inf])
    assert impute(left, right, "midpoint")[1].tolist() == [4, 7]
    assert impute(left, right, "visit")[1].tolist() == [7, 7]
