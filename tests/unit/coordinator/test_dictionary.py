"""The dictionary says what the schemas say, in three forms, and nothing else."""

import csv
import html
import io
import re

import pytest

from pipeline.coordinator.dictionary import describe_dictionary, format_csv, format_markdown
from pipeline.intake.cell_values import choose_reader
from pipeline.intake.problem import DESCRIBED
from pipeline.reports.render import render_page
from schemas.codes import SEVERITY
from schemas.dictionary import list_entries, list_row_rules, phrase_openly, say_limits
from schemas.reasons import WHY
from schemas.rules import RULES


@pytest.fixture(scope="module")
def maneuvers(plan):
    return {code: maneuver.name for code, maneuver in plan.maneuvers.items()}


@pytest.fixture(scope="module")
def entries(maneuvers):
    return list_entries(maneuvers)


@pytest.fixture(scope="module")
def forms(maneuvers) -> dict[str, str]:
    """The words of the page and of the Markdown, without their marks."""
    page = render_page("dictionary.html.j2", describe_dictionary(maneuvers))
    bare = re.sub(r"<style>.*?</style>", "", page, flags=re.S)
    return {
        "page": " ".join(html.unescape(re.sub(r"<[^>]+>", "", bare)).split()),
        "markdown": format_markdown(maneuvers).replace("\\", ""),
    }


@pytest.fixture(scope="module")
def lines(maneuvers) -> list[dict]:
    return list(csv.DictReader(io.StringIO(format_csv(maneuvers))))


def test_every_column_is_there_once_with_what_its_schema_says(entries):
    assert [(entry.table, entry.column) for entry in entries] == [
        (table, name) for table, columns in DESCRIBED.items() for name in columns
    ]
    for entry in entries:
        column = DESCRIBED[entry.table][entry.column]
        assert (entry.meaning, entry.unit, entry.needed) == (
            column.meaning,
            column.unit or "",
            column.filled,
        )
        if entry.column != "maneuver":
            assert entry.codes == (column.codes or {})


def test_every_column_has_a_reason_and_no_reason_is_left_over(entries):
    assert {entry.why for entry in entries} == set(WHY.values())
    assert all(entry.why.endswith(".") and len(entry.why) > 20 for entry in entries)


def test_every_example_is_one_that_intake_accepts(entries):
    for entry in entries:
        column = DESCRIBED[entry.table][entry.column]
        assert entry.example, entry
        value = choose_reader(column)(entry.example)
        assert value is not None, entry
        if entry.codes:
            assert value in entry.codes
        if entry.kind in ("whole number", "number"):
            assert entry.least is None or value >= entry.least, entry
            assert entry.most is None or value <= entry.most, entry


def test_bounds_are_those_of_the_checks_but_for_the_age_that_is_no_number(entries):
    for entry in entries:
        column = DESCRIBED[entry.table][entry.column]
        if entry.column == "age_years":
            assert (say_limits(entry), entry.form) == ("between 0 and 89", "or the text 90+")
        else:
            assert (entry.least, entry.most) == (column.ge, column.le)


@pytest.mark.parametrize("form", ["page", "markdown"])
def test_page_and_markdown_say_every_meaning_code_and_reason(entries, forms, form):
    for entry in entries:
        for text in (entry.meaning, entry.why, entry.example, *entry.codes, *entry.codes.values()):
            assert text in forms[form], text
    for rule in RULES.values():
        assert phrase_openly(rule.message) in forms[form], rule.name
        assert phrase_openly(rule.fix) in forms[form], rule.name
    for meaning in SEVERITY.values():
        assert meaning in forms[form].replace("The ", "the ")


def test_the_csv_has_a_line_a_column_a_code_and_a_rule(entries, lines):
    columns = [line for line in lines if line["entry"] == "column"]
    assert [(line["table"], line["column"], line["meaning"], line["why"]) for line in columns] == [
        (entry.table, entry.column, entry.meaning, entry.why) for entry in entries
    ]
    codes = [
        (x["table"], x["column"], x["code"], x["meaning"]) for x in lines if x["entry"] == "code"
    ]
    assert codes == [
        (e.table, e.column, code, meaning) for e in entries for code, meaning in e.codes.items()
    ]
    rules = {line["code"]: line for line in lines if line["entry"] == "rule"}
    assert set(rules) == set(RULES)
    assert len(lines) == len(columns) + len(codes) + len(RULES)
    assert all(rules[name]["severity"] == rule.severity for name, rule in RULES.items())


def test_a_rule_across_columns_stands_with_its_table():
    assert [rule.name for rule in list_row_rules("treatments")] == ["first_attempt_on_day_0"]
    for table, columns in DESCRIBED.items():
        assert all(rule.column in columns for rule in list_row_rules(table))


def test_no_sentence_keeps_a_gap(forms, lines):
    assert not any("{" in text for text in forms.values())
    assert not any("{" in cell for line in lines for cell in line.values())
    assert (
        phrase_openly(RULES["too_small"].message)
        == "[column] ([meaning]) must be at least [least]."
    )


def test_places_of_the_contents_exist(maneuvers):
    page = render_page("dictionary.html.j2", describe_dictionary(maneuvers))
    ids = re.findall(r'id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'href="#([^"]+)"', page)) <= set(ids)
