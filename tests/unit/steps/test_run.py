"""A step that fails says where, and nothing of what it held."""

import re
import warnings

import pandas as pd
import pytest

from pipeline.steps.run import run_step
from schemas.plan_faults import PlanFault


def fail_with_a_value():
    pd.Series({"EP-1": 1})["EP-SECRET"]


def fail_with_a_cause():
    try:
        fail_with_a_value()
    except KeyError as cause:
        raise ValueError("EP-SECRET") from cause


@pytest.mark.parametrize("step", [fail_with_a_value, fail_with_a_cause])
def test_the_place_is_told_and_the_value_is_not(step, capfd):
    with pytest.raises(SystemExit) as ended:
        run_step(step)
    output = "".join(capfd.readouterr())
    assert ended.value.code == 1
    assert "SECRET" not in output
    assert step.__name__ in output
    assert "Error" in output


def test_a_step_that_works_says_what_it_counted_and_what_it_took(capfd):
    run_step(lambda: {"rows read": 12_345, "rows kept": 12_000})
    output = capfd.readouterr().out.splitlines()
    assert output[:2] == ["rows read: 12,345", "rows kept: 12,000"]
    assert re.fullmatch(r"seconds: \d+\.\d", output[2])
    assert re.fullmatch(r"peak memory: [\d,]+ MB", output[3])


def test_a_warning_is_told_by_its_place_without_its_message(capfd):
    shown = warnings.showwarning
    try:
        run_step(lambda: warnings.warn("EP-SECRET", RuntimeWarning, stacklevel=1))
    finally:
        warnings.showwarning = shown
    output = capfd.readouterr().err
    assert re.match(rf"RuntimeWarning at {re.escape(__file__)}:\d+\n", output)
    assert "SECRET" not in output


def test_a_fault_of_the_plan_is_told_whole(capsys):
    def read_plan():
        raise PlanFault("study.yaml, line 8: resolution.recurence_gap is not known.")

    with pytest.raises(SystemExit):
        run_step(read_plan)
    assert capsys.readouterr().err == "study.yaml, line 8: resolution.recurence_gap is not known.\n"
