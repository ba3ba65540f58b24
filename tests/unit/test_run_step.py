"""A step that fails says where, and nothing of what it held."""

import pandas as pd
import pytest

from pipeline.steps.run import run_step


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
    told = "".join(capfd.readouterr())
    assert ended.value.code == 1
    assert "SECRET" not in told
    assert step.__name__ in told
    assert "Error" in told


def test_a_step_that_works_says_nothing(capfd):
    run_step(lambda: None)
    assert "".join(capfd.readouterr()) == ""
