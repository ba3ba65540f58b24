"""What the coordinator gets back: the sentence that matters, places without cells,
and a list that a spreadsheet can open safely."""

import csv
import io
import re
from itertools import pairwise

import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import (
    PLACES_SHOWN,
    PROBLEM_COLUMNS,
    answer,
    describe_changes,
    describe_intake,
    disarm,
    format_problems,
)
from pipeline.reports.render import render_page
from tests.unit.intake.conftest import CONTACT


def page_of(received) -> str:
    return render_page("intake.html.j2", describe_intake(received))


def test_the_sentence_that_matters(receive, tables):
    assert answer(receive(tables)) == "Your delivery can be pooled: all 13 rows are stored."
    tables["followups"][0]["dhi_total"] = 37
    assert (
        answer(receive(tables))
        == "Your delivery can be pooled: 12 of 13 rows are stored, 1 needs attention."
    )
    tables["followups"][1]["dhi_total"] = 39
    assert (
        answer(receive(tables))
        == "Your delivery can be pooled: 11 of 13 rows are stored, 2 need attention."
    )
    tables["submission"]["deidentified"] = "no"
    assert answer(receive(tables)) == (
        "This delivery was refused: the site does not confirm that the delivery is de-identified. "
        "Nothing of it was stored. Besides, 2 rows need attention."
    )
    tables["episodes"][0]["cause"] = "a.person@example.org"
    assert answer(receive(tables)) == (
        "This delivery was refused: 1 place in it could identify a person. Nothing of it was "
        "stored. Besides, 2 rows need attention."
    )


def test_the_page_opens_with_the_sentence_and_shows_no_cell(receive, tables):
    first = receive(tables)
    tables["episodes"][0] |= {"sex": "qwertz", "onset_day": "<yxcv>", "patient_id": "PT_777"}
    tables["followups"][1] |= {"dhi_total": 37}
    received = receive(tables, previous=first)
    page = page_of(received)
    body = re.sub(r"<[^>]+>", " ", page.partition("<main>")[2])
    assert re.search(r"In short\s+Your delivery can be pooled", body)
    assert "Episodes: what changed since delivery 001" in page
    assert not any(value in page for value in ("qwertz", "yxcv", "PT_777", "EP-1", "EP-2"))
    # no code is near it, so that it could be a name
    assert "qwertz" not in format_problems(received)


def test_the_page_stands_alone_and_is_well_formed(receive, tables):
    tables["episodes"][0]["sex"] = "femal"
    page = page_of(receive(tables))
    assert '<html lang="en">' in page
    assert not re.search(r"<(?:link|script|img|iframe)|(?:src|href)=\"(?!#)|url\(", page)
    levels = [int(level) for level in re.findall(r"<h([1-6])", page)]
    assert levels[0] == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    assert all(re.search("scope=", head) for head in re.findall(r"<th\b[^>]*>", page))
    for tag in ("main", "header", "footer"):
        assert page.count(f"<{tag}>") == page.count(f"</{tag}>") == 1


def test_only_the_first_places_are_shown_and_the_rest_is_counted(receive, tables):
    tables["followups"] = [
        {"episode_id": "EP-1"} | CONTACT | {"day": day, "dhi_total": 37} for day in range(30)
    ]
    group = next(p for p in describe_intake(receive(tables))["parts"] if p["name"] == "set_aside")[
        "groups"
    ][0]
    assert group["size"] == "30 rows"
    assert group["more"]
    assert group["places"] == [
        {"table": "followups", "column": "dhi_total", "rows": f"rows 2 to {1 + PLACES_SHOWN}"}
    ]


def test_a_delivery_that_cannot_be_read_gets_a_page_too(folder, plan):
    folder.mkdir(parents=True)
    assert "neither exactly one workbook" in page_of(receive_delivery(folder, plan))


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=1+1", "'=1+1"),
        ("+x", "'+x"),
        ("@x", "'@x"),
        ("-x", "'-x"),
        ("\tx", "'\tx"),
        ("-3", "-3"),
        ("+4.5", "+4.5"),
        ("-2,5", "-2,5"),
        ("x=", "x="),
        ("\nx", "'\nx"),
        ("＝1+1", "'＝1+1"),
        ("－x", "'－x"),
        ("-EP-1", "'-EP-1"),
        (-3, -3),
        (None, None),
    ],
)
def test_cells_that_a_spreadsheet_would_run_are_disarmed(cell, written):
    """CWE-1236: improper neutralisation of formula elements in a CSV file."""
    assert disarm(cell) == written


def test_the_list_of_problems(receive, tables):
    tables["episodes"][0]["sex"] = "femal"
    tables["episodes"][1]["sex"] = "=1+1"
    tables["followups"][0]["day"] = "-3.5"
    lines = list(csv.DictReader(io.StringIO(format_problems(receive(tables)))))
    assert list(lines[0]) == PROBLEM_COLUMNS
    values = {line["value"] for line in lines}
    assert {"femal", "", "-3.5"} <= values <= {"femal", "", "-3.5", "EP-1", "EP-2"}
    assert lines[0] | {"message": "", "how_to_fix": ""} == {
        "table": "episodes",
        "row": "2",
        "episode_id": "EP-1",
        "column": "sex",
        "value": "femal",
        "rule": "not_in_list",
        "severity": "set_aside",
        "message": "",
        "how_to_fix": "",
    }


def test_episodes_that_changed_are_named_by_their_rows(receive, tables):
    first = receive(tables)
    last = tables["episodes"][-1]["episode_id"]
    changed = {
        name: [dict(row) for row in rows] for name, rows in tables.items() if name != "submission"
    }
    changed = {
        name: [row for row in rows if row["episode_id"] != last] for name, rows in changed.items()
    }
    changed["episodes"][0]["age_years"] = 58
    changed["episodes"].append(changed["episodes"][0] | {"episode_id": "EP-77"})
    second = receive({"submission": tables["submission"]} | changed, previous=first)
    changes = describe_changes(second, first)
    assert {kind["name"]: (kind["episodes"], kind["rows"]) for kind in changes["kinds"]} == {
        "added": (1, f"row {len(changed['episodes']) + 1}"),
        "changed": (1, "row 2"),
        "withdrawn": (1, f"row {len(tables['episodes']) + 1} of delivery 001"),
    }
