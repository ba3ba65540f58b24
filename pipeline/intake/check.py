"""Judging rows of proper types by their model.

What the checking library says is turned into places at once: its words quote cells.
"""

import warnings
from dataclasses import dataclass
from functools import cache

import pandas as pd
import pandera.pandas as pa
from pandera.errors import SchemaErrors

from pipeline.intake.meant import find_meanings
from pipeline.intake.own_words import offer_words
from pipeline.intake.parse import type_cells
from pipeline.intake.plausible_codes import say_code
from pipeline.intake.problem import DESCRIBED, Problem
from pipeline.intake.shorthand import write_out_negatives
from schemas.columns import Table
from schemas.rules import RULES
from schemas.store import RowCounts
from schemas.synonyms import make_vocabulary

RULE_OF_CHECK = {
    "not_nullable": "not_filled",
    "isin": "not_in_list",
    "str_matches": "wrong_form",
    "greater_than_or_equal_to": "too_small",
    "less_than_or_equal_to": "too_large",
}
OUT_OF_BOUNDS = ("too_small", "too_large")
# against the maneuver list, which says more than that the form is wrong
JUDGED_ELSEWHERE = ("maneuver", "str_matches")


class ChecksOff(Exception):
    """The checks of the models are switched off from outside, so that nothing may be received."""


class ProgramFault(Exception):
    """Something that no delivery can cause: it is our own doing."""


def require_checks() -> None:
    """Make sure that a wrong row is found; raises ChecksOff where the environment has switched the
    checks off."""
    negative = dict.fromkeys(
        ("rows_in", "rows_stored", "rows_set_aside", "rows_withdrawn", "rows_refused"), -1
    )
    wrong = pd.DataFrame([{"site": "S01", "delivery": "001", "table": "episodes"} | negative])
    if find_failures(RowCounts, RowCounts.cast(wrong)).empty:
        raise ChecksOff(
            "The checks of the tables are switched off, so that nothing can be received. Remove "
            "PANDERA_VALIDATION_ENABLED and PANDERA_VALIDATION_DEPTH from the environment, then "
            "start again."
        )


def find_failures(
    model: type[Table] | pa.Column | pa.DataFrameSchema, rows: pd.DataFrame
) -> pd.DataFrame:
    """Find where rows do not fit their model, or a part of it.

    Parameters
    ----------
    model
        A table, a column or a part of a table.
    rows
        Typed rows, by row number.

    Returns
    -------
    pd.DataFrame
        The `row` number, `column` and name of the `check`, each once, without any value. A rule
        across columns names itself as check and has no column.

    Raises
    ------
    ProgramFault
        Where the rows are no such table at all.
    """
    cases = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", FutureWarning
            )  # of how pandera joins the values it found, which are not used here
            # nothing is changed, so that no copy is needed
            model.validate(rows, lazy=True, inplace=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases[["index", "column", "check", "schema_context"]]
    if cases is None:
        return pd.DataFrame({"row": [], "column": [], "check": []}, dtype=object)
    if cases["index"].isna().any():
        raise ProgramFault(
            "columns or types are not those of "
            f"{model.__name__ if isinstance(model, type) else model.name}"
        )
    across = cases["schema_context"] == "DataFrameSchema"
    failures = pd.DataFrame(
        {
            "row": cases["index"].astype(int),
            "column": cases["column"].mask(across),
            "check": cases["check"].where(across, cases["check"].str.partition("(")[0]),
        }
    )
    return failures.drop_duplicates(ignore_index=True)


def require_fit(model: type[Table], rows: pd.DataFrame) -> None:
    """Make sure that rows which are kept fit their model, but for what is only shown;
    raises ProgramFault, which names no value."""
    if rows.empty:
        return
    failures = find_failures(model, rows.reset_index(drop=True))
    failures = failures[
        [check not in RULES or RULES[check].severity != "warn" for check in failures["check"]]
    ]
    if not failures.empty:
        wrong = failures[["column", "check"]].drop_duplicates()
        raise ProgramFault(
            f"rows of {model.__name__} do not fit their model: {wrong.to_dict('records')}"
        )


@dataclass(frozen=True)
class Known:
    """What is wrong with a table before its cells are judged; none of it is blamed again.

    Attributes
    ----------
    cells
        Single cells by row and column.
    rows
        Rows that are no records.
    columns
        Columns that are missing.
    """

    cells: frozenset[tuple[int | None, str | None]] = frozenset()
    rows: frozenset[int | None] = frozenset()
    columns: frozenset[str] = frozenset()

    def holds(self, row: int, column: str) -> bool:
        """Whether a cell is blamed already."""
        return row in self.rows or column in self.columns or (row, column) in self.cells


NOTHING_KNOWN = Known()


def check_cells(
    table: str, model: type[Table], texts: pd.DataFrame, known: Known = NOTHING_KNOWN
) -> tuple[pd.DataFrame, list[Problem]]:
    """Judge each row of a table by itself.

    No cell is blamed twice. Rules across columns are asked after wrong cells are cleared, so that
    they judge only what is right in itself.

    Parameters
    ----------
    table, model
        Name and model of the table.
    texts
        Its cells as handed in, by row number.
    known
        What was found before.

    Returns
    -------
    tuple
        The rows as types, wrong cells missing, and all that is wrong within single rows.
    """
    if table == "examinations":
        texts = write_out_negatives(texts)
    rows, problems = type_cells(table, texts, DESCRIBED[table])
    unread = {(problem.row, problem.column) for problem in problems}
    in_cells = find_wrong_cells(model, rows, texts)
    blamed = [
        (row, column, RULE_OF_CHECK[check])
        for row, column, check in in_cells
        if (row, column) not in unread
        and (column, check) != JUDGED_ELSEWHERE
        and not known.holds(row, column)
    ]
    problems += blame_cells(table, texts, blamed)
    named = {(problem.row, problem.column) for problem in problems}
    wrong: dict[str, list[int]] = {}
    for row, column, _ in in_cells:
        wrong.setdefault(column, []).append(row)
    for column, at in wrong.items():
        rows.loc[at, column] = pd.NA
    across = find_failures(pa.DataFrameSchema(checks=model.to_schema().checks), rows)
    problems += [
        Problem(rule, table, row, RULES[rule].column)
        for row, rule in zip(across["row"], across["check"], strict=True)
        if (row, RULES[rule].column) not in named and not known.holds(row, RULES[rule].column)
    ]
    return rows, problems


@cache
def list_cell_checks(model: type[Table]) -> dict[str, pa.Column]:
    """The columns of a model without their types, which cells have when they are judged: to ask for
    these takes half of a check's time."""
    return {
        name: pa.Column(checks=column.checks, nullable=column.nullable, name=name)
        for name, column in model.to_schema().columns.items()
    }


def fits(column: pa.Column, cells: pd.Series) -> bool:
    """Whether all cells fit their column: most columns do, and to ask for no more than that takes a
    fraction of the time that the places of faults take."""
    missing = cells.isna()
    if missing.all():
        return column.nullable or cells.empty
    if missing.any() and not column.nullable:
        return False
    try:
        return all(check(cells).check_passed for check in column.checks)
    except TypeError:  # cells of another type, of which find_failures tells
        return False


def find_wrong_cells(
    model: type[Table], rows: pd.DataFrame, texts: pd.DataFrame
) -> list[tuple[int, str, str]]:
    """The cells that do not fit their column, by row, column and name of the check;
    each different text of a column is judged once."""
    wrong = []
    for name, column in list_cell_checks(model).items():
        cells = rows[name][~texts[name].duplicated()]
        if fits(column, cells):
            continue
        failures = find_failures(column, cells.to_frame())
        for first, check in zip(failures["row"], failures["check"], strict=True):
            alike = texts[name].isin([texts.at[first, name]])
            wrong += [(row, name, check) for row in texts.index[alike]]
    return wrong


def blame_cells(
    table: str, texts: pd.DataFrame, blamed: list[tuple[int, str, str]]
) -> list[Problem]:
    """Make the problems of cells, with the code that may be meant where one is misspelt.

    Parameters
    ----------
    table
        Name of the table.
    texts
        Its cells as handed in, by row number.
    blamed
        Row, column and rule of each.
    """
    misspelt: dict[str, set[str]] = {}
    for row, column, rule in blamed:
        if rule == "not_in_list":
            misspelt.setdefault(column, set()).add(texts.at[row, column])
    meant = {
        column: find_meanings(given, make_vocabulary(DESCRIBED[table][column]))
        for column, given in misspelt.items()
    }
    problems = [
        Problem(
            rule,
            table,
            row,
            column,
            also=say_code(texts.at[row, column]) if rule in OUT_OF_BOUNDS else "",
            closest=meant.get(column, {}).get(texts.at[row, column], ""),
        )
        for row, column, rule in blamed
    ]
    for column, words in meant.items():
        entries = (
            texts.at[row, column]
            for row, at, rule in blamed
            if at == column and rule == "not_in_list"
        )
        problems += offer_words(table, column, entries, words)
    return problems
