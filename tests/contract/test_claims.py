"""What the documents count and list is so: the table of rooms is what is built, lists are complete,
numbers are those of the studies."""

import ast
import re
import sys
from collections import defaultdict
from functools import cache

import pandas as pd
import pytest

from pipeline.reports.technical.condense import MOST
from schemas import codes
from schemas.study import PARTS
from synthetic_data.sites import TEN as HABITS
from tests.contract.test_documents import list_tracked, read
from tests.contract.test_floors import AGGREGATES_ONLY, FLOORS, ROOT, floor_of, name_of, names_in
from tests.recovery.scenarios import SCENARIOS

ANYWHERE = {"pandas", "numpy"}  # libraries that every room may use


def read_decisions() -> str:
    """All decisions as one line."""
    return " ".join(
        " ".join(
            read(path) for path in list_tracked() if path.startswith("docs/decisions/")
        ).split()
    )


def read_rooms() -> list[dict[str, str]]:
    """The rows of the table of rooms: room, does, libraries."""
    table = re.search(r"\| room \|.*?\n\n", read("DEVELOPERS.md"), re.S)[0].splitlines()
    names = [cell.strip() for cell in table[0].strip("|").split("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in table[2:] if line]
    return [dict(zip(names, row, strict=True)) for row in cells]


def name_rooms(row: dict[str, str]) -> list[str]:
    return [
        name.removeprefix("pipeline/").removesuffix(".py").rstrip("/").replace("/", ".")
        for name in re.findall(r"`([^`]+)`", row["room"])
    ]


def test_the_table_lists_the_rooms_of_the_pipeline_in_the_order_of_their_floors():
    rooms = [
        name for row in read_rooms() if "`pipeline/" in row["room"] for name in name_rooms(row)
    ]
    assert [name for name in rooms if name not in ("Snakefile", "rules")] == FLOORS


def test_the_table_names_the_libraries_of_each_room():
    """Each library from outside, but for those that any room may use,
    with every room that imports it."""
    named, imported = defaultdict(set), defaultdict(set)
    for row in read_rooms():
        for room in name_rooms(row):
            named[room] |= set(re.findall(r"`([^`]+)`", row["libraries"]))
    ours = {"environment", "pipeline", "schemas", "synthetic_data"}
    for path in (
        ROOT / name
        for name in list_tracked()
        if name.endswith(".py") and name.split("/")[0] in ours
    ):
        here = path.relative_to(ROOT).parts
        room = here[0] if here[0] != "pipeline" else floor_of(name_of(path))
        tops = {
            n.split(".")[0]
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            for n in names_in(node)
        }
        imported[room] |= {
            top for top in tops - ours - ANYWHERE if top not in sys.stdlib_module_names
        }
    assert {room: libraries for room, libraries in named.items() if libraries} == {
        room: libraries for room, libraries in imported.items() if libraries
    }


def test_rooms_that_see_no_patient_are_named():
    text = " ".join(read("DEVELOPERS.md").split())
    sentence = re.search(r"\.([^.]*)import no room that sees patients", text)[1]
    assert set(re.findall(r"`([^`]+)`", sentence)) == {
        room.removeprefix("reports.") for room in AGGREGATES_ONLY
    }


def test_lists_of_the_documents_are_complete():
    analyst, pool = read("docs/analyst.md"), read("synthetic_data/README.md")
    assert {path.stem for path in (ROOT / "config").glob("*.yaml")} == set(PARTS)
    assert all(f"`config/{part}.yaml`" in analyst for part in PARTS)
    assert all(f"`{status}`" in analyst for status in codes.ESTIMATE_STATUS if status != "ok")
    assert f"at most {MOST:,} rows of an analysis" in read_decisions()
    assert all(re.search(rf"^\| {code} \|", pool, re.M) for code in [site.code for site in HABITS])
    forms = dict(re.findall(r"^\| (S\d+) \| (\.\w+) \|", pool, re.M))
    handed = {
        p.parent.parent.name: p.suffix for p in (ROOT / "synthetic_data" / "pool").glob("S*/*/*")
    }
    assert list(forms) == [site.code for site in HABITS]
    for site, form in handed.items():  # the habits come round again
        assert form == forms[f"S{(int(site[1:]) - 1) % len(HABITS) + 1:02d}"]
    assert "eleven scenarios" in read("tests/recovery/README.md")
    assert len(SCENARIOS) == 11


FOLLOWED_AS_PLANNED = (
    "benign",
    "eight_sites",
    "twenty_sites",
    "frail_patients",
    "channelled",
    "weibull",
    "irregular_tests",
)


@cache
def read_study() -> pd.DataFrame:
    return pd.read_csv(ROOT / "tests" / "recovery" / "recovery.csv", comment="#").query(
        "stance == 'honest'"
    )


def test_the_study_says_what_its_table_says():
    """The mean coverage of each analysis, and what is said of the second line's difference."""
    text = " ".join(read("tests/recovery/README.md").split())
    rows = read_study()
    judged = rows[
        rows["scenario"].isin(FOLLOWED_AS_PLANNED) & (rows["answered"] >= rows["pools"] / 2)
    ]
    mean_coverage = judged.groupby("analysis")["coverage"].mean()
    sentence = re.search(r"\*\*All in all\*\*.*? mean coverage (.*?)\. - ", text)[1]
    stated = {name: float(number) for number, name in re.findall(r"(\.\d+) `(\w+)`", sentence)}
    assert stated == {
        name: pytest.approx(coverage, abs=0.0006) for name, coverage in mean_coverage.items()
    }


def test_the_second_line_is_as_good_as_is_said():
    rows = read_study()
    rows = rows[rows["answered"] >= rows["pools"] / 2].set_index("term")
    by_day = {day: rows.loc[f"all risk_difference_day_{day} against repeat"] for day in (7, 30)}
    match = re.search(
        r"difference by day 30 in (\d+) to (\d+) %.*?by day 7 it is (\.\d+) to (\.\d+) too great "
        r"in most scenarios",
        " ".join(read("docs/limits.md").split()),
    )
    least, most, low, high = (float(number) for number in match.groups())
    coverage = 100 * by_day[30]["coverage"]
    assert [coverage.min(), coverage.max()] == pytest.approx([least, most], abs=0.6)
    assert by_day[7]["bias"].between(low - 0.005, high + 0.005).mean() > 0.5
