"""The submission table: what a delivery says of itself.

A delivery that does not say it, or says another thing, is refused.
"""

from typing import Any

import pandas as pd

from pipeline.intake.check import check_cells
from pipeline.intake.handed import SUBMISSION_HEADER, Sheet
from pipeline.intake.meant import find_header
from pipeline.intake.parse import say_other_version
from pipeline.intake.problem import DESCRIBED, OF_VERSION, Problem, is_refused
from schemas.columns import DICTIONARY_VERSION
from schemas.delivery import PLANS, Submission
from schemas.synonyms import make_header_vocabulary

TABLE = "submission"
FIELDS = DESCRIBED[TABLE]
NO_PLAN = "It may be left empty: then the site has no fixed plan."
ONE_CELL = (
    "More stands in the cells beside it; in a .csv file with semicolons the list is put in "
    "quotation marks."
)
DIGITS = 3  # of a delivery number; spreadsheets turn 001 into 1


def read_submission(sheet: Sheet, site: str, delivery: str) -> tuple[dict[str, Any], list[Problem]]:
    """Read the fields of the submission table.

    Parameters
    ----------
    sheet
        The table as handed in.
    site, delivery
        Names of the folders, which the fields must repeat.

    Returns
    -------
    tuple
        The fields by name, typed, and what is wrong with them.
    """
    texts, rows, problems = turn_fields(sheet)
    if is_refused(problems):
        return {}, problems
    fields, faults = check_cells(TABLE, Submission, texts)
    values = fields.iloc[0].to_dict()
    for problem in faults:
        problems.append(describe_fault(problem, rows.get(problem.column or ""), texts.iloc[0]))
    blamed = {problem.column for problem in problems if problem.severity == "refuse"}
    for field, expected, rule in (
        ("site_code", site, "wrong_site"),
        ("delivery", delivery, "wrong_delivery_number"),
    ):
        if field not in blamed and values[field] != expected:
            problems.append(Problem(rule, TABLE, rows[field], field))
    if "dictionary_version" not in blamed and values["dictionary_version"] > DICTIONARY_VERSION:
        problems.append(
            Problem("future_dictionary", TABLE, rows["dictionary_version"], "dictionary_version")
        )
    return {field: None if pd.isna(value) else value for field, value in values.items()}, problems


def turn_fields(sheet: Sheet) -> tuple[pd.DataFrame, dict[str, int], list[Problem]]:
    """The values as one row with a column per field, the row in which each field stands,
    and what is wrong with the table itself."""
    positions = {name: position for position, name in sheet.names.items()}
    lacking = [name for name in SUBMISSION_HEADER if name not in positions]
    if lacking:
        return (
            pd.DataFrame(),
            {},
            [Problem("column_missing", TABLE, sheet.header_row, name) for name in lacking],
        )
    names = sheet.cells[positions["field"]].str.lower()
    values = sheet.cells[positions["value"]]
    fields = OF_VERSION[sheet.version][TABLE]
    rows = {name: row for row, name in names.items() if name in fields}
    repeated = sorted(set(names[names.isin(list(fields)) & names.duplicated()]))
    problems = [
        Problem("submission_incomplete", TABLE, rows[name], name, also="It stands there twice.")
        for name in repeated
    ]
    problems += [
        Problem(
            "column_unknown",
            TABLE,
            row,
            "field",
            say_other_version(TABLE, name, sheet.version),
            closest=find_header(name, make_header_vocabulary(fields), fields.keys() - rows),
        )
        for row, name in names[~names.isin(list(fields))].dropna().items()
    ]
    lists = {rows[name]: name for name in PLANS if name in rows and FIELDS[name].form_words}
    beside = sheet.outside.loc[sheet.outside["position"] > positions["value"], "row"]
    problems += [
        Problem("submission_incomplete", TABLE, row, lists[row], also=ONE_CELL)
        for row in sorted(set(beside).intersection(lists))
    ]
    entries = {name: values[rows[name]] if name in rows else None for name in FIELDS}
    if isinstance(entries["delivery"], str) and entries["delivery"].isdecimal():
        entries["delivery"] = entries["delivery"].zfill(DIGITS)
    return pd.DataFrame([entries], index=[0], dtype=object), rows, problems


def describe_fault(problem: Problem, row: int | None, texts: pd.Series) -> Problem:
    """A fault of one field as a fault of the delivery; what was only read with help stays a
    hint."""
    if problem.severity == "warn":
        return Problem(problem.rule, TABLE, row, problem.column, problem.also)
    if problem.rule == "years_in_order":
        return Problem(problem.rule, TABLE, row, problem.column)
    unconfirmed = problem.column == "deidentified" and pd.notna(texts["deidentified"])
    return Problem(
        "not_deidentified" if unconfirmed else "submission_incomplete",
        TABLE,
        row,
        problem.column,
        NO_PLAN if problem.column in PLANS else "",
    )
