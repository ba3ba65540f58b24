"""What the workflow answers on the demonstration pool is what was accepted last."""

import pytest

from tests.whole.conftest import pool_run
from tests.whole.meaning import find_differences, gather, read_table, show

__all__ = ["pool_run"]


def test_the_answers_are_those_that_were_accepted(pool_run):
    differences = find_differences(read_table(), gather(pool_run[0] / "results"))
    assert not differences, show(differences)


@pytest.fixture(scope="module")
def table():
    return read_table()


def test_a_changed_answer_is_named_with_both_numbers(table):
    changed = table.copy()
    told = changed.index[changed["status"].eq("ok") & changed["lower"].notna()][0]
    changed.loc[told, "estimate"] = changed.loc[told, "upper"] + 1
    (line,) = find_differences(table, changed)
    assert line.startswith(changed.loc[told, "analysis"])
    assert " became " in line
    assert "1 answers" in show([line])


def test_what_came_went_or_lost_its_number_is_named(table):
    shorter = table.iloc[1:].reset_index(drop=True)
    assert [line[:5] for line in find_differences(table, shorter)] == ["gone:"]
    assert [line[:4] for line in find_differences(shorter, table)] == ["new:"]
    withheld = table.copy()
    told = withheld.index[withheld["status"].eq("ok")][0]
    withheld.loc[told, "status"] = "too_few"
    withheld.loc[told, ["estimate", "lower", "upper"]] = None
    (line,) = find_differences(table, withheld)
    assert line.endswith("became too_few")


def test_the_last_digit_of_another_processor_is_no_change(table):
    noisy = table.copy()
    noisy["estimate"] = noisy["estimate"] * (1 + 1e-7)
    assert find_differences(table, noisy) == []
