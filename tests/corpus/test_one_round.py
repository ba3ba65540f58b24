"""A realistic first file needs one round: who mends all that one check names, and nothing else,
has a delivery of which every row is stored."""

from pathlib import Path

import pytest

from pipeline.intake.receive import receive_delivery
from schemas.study import read_config
from tests.corpus.base import make_tables
from tests.corpus.delivery import Delivery
from tests.corpus.first import list_first
from tests.corpus.mend import mend
from tests.corpus.register import FIRST
from tests.corpus.sheet import Sheet

CONFIG = read_config(Path(__file__).parents[2] / "config")
SITE = "S03"
# attempts counted from 0: only the cells with a 0 can be named before they are mended
TWO = {"canal_and_side_in_one"}


def find_to_mend(delivery: Delivery, folder: Path):
    """What keeps rows or the delivery out."""
    problems = receive_delivery(delivery.write(folder), CONFIG).tables["problems"]
    return problems[problems["severity"].isin(("refuse", "set_aside"))]


@pytest.mark.parametrize("case", list_first(), ids=lambda case: case.name)
def test_one_round_is_enough(case, tmp_path):
    delivery, meant = case.build(SITE)[-1], make_tables(SITE, FIRST[case.name]["episodes"])
    rounds = 0
    while not (to_mend := find_to_mend(delivery, tmp_path / str(rounds))).empty:
        rounds += 1
        assert rounds <= 1 + (case.name in TWO), (
            to_mend.groupby(["table", "rule"], dropna=False).size().to_dict()
        )
        delivery = mend(delivery, meant, to_mend)


def test_a_slip_that_is_not_named_is_not_mended(tmp_path):
    """The person who mends looks only where the check points."""
    meant = make_tables(SITE, 3)
    faulty = Delivery(make_tables(SITE, 3))
    faulty.tables.put("episodes", 2, "age_years", "old")
    faulty.tables.put("episodes", 3, "age_years", 44)
    mended = mend(faulty, meant, find_to_mend(faulty, tmp_path))
    assert mended.tables.get("episodes", 2, "age_years") == meant.get("episodes", 2, "age_years")
    assert mended.tables.get("episodes", 3, "age_years") == 44


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_table_under_another_name_is_known_by_its_columns(tmp_path, form):
    delivery = Delivery(
        make_tables(SITE, 3), form, table_names={"examinations": "tests", "followups": "contacts"}
    )
    delivery.tables.put("examinations", 3, "side", "nowhere")
    to_mend = find_to_mend(delivery, tmp_path)
    assert to_mend[["table", "row", "column"]].values.tolist() == [["examinations", 3, "side"]]


def test_of_two_tables_that_could_be_it_none_is_taken(tmp_path):
    delivery = Delivery(make_tables(SITE, 3), table_names={"examinations": "tests"})
    delivery.edit_book(
        lambda book: book.sheets.append(Sheet("older tests", delivery.tables.rows["examinations"]))
    )
    assert "table_missing" in set(find_to_mend(delivery, tmp_path)["rule"])
