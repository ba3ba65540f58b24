"""Problems: what is wrong in one place, and the sentences that say so.

No sentence quotes a cell.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import pandas as pd

from pipeline.intake.quote import may_quote
from schemas.codes import TABLE
from schemas.columns import VERSIONS, Description, Rule
from schemas.delivery import TABLES, Submission
from schemas.rules import RULES
from schemas.store import Problems

DESCRIBED = {"submission": Submission.describe()} | {
    name: model.describe() for name, model in TABLES.items()
}
OF_VERSION = {
    version: {
        table: {name: column for name, column in columns.items() if version in column.versions}
        for table, columns in DESCRIBED.items()
    }
    for version in VERSIONS
}
PSEUDONYMS = ("episode_id", "patient_id")
LAST = 10_000  # places that the dictionary does not know come after those that it knows


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong in one place.

    Attributes
    ----------
    rule
        Name of the rule that is broken.
    table
        A table of the dictionary, or how the place is called instead.
    row
        As the spreadsheet shows it.
    column
        A column of the dictionary, or how it is called instead.
    also
        A further sentence of our own.
    closest
        The code of the dictionary that may be meant.
    lines
        What a site's list of names would say.
    """

    rule: str
    table: str | None = None
    row: int | None = None
    column: str | None = None
    also: str = ""
    closest: str = ""
    lines: str = ""

    @property
    def severity(self) -> str:
        """How grave it is. What is wrong in the submission table concerns every row,
        so that nothing can be set aside there."""
        severity = RULES[self.rule].severity
        return "refuse" if self.table == "submission" and severity == "set_aside" else severity


def is_refused(problems: Iterable[Problem]) -> bool:
    """Whether one of the problems refuses the whole delivery."""
    return any(problem.severity == "refuse" for problem in problems)


def describe_column(table: str | None, column: str | None) -> Description | None:
    """What the dictionary says of a column, if it knows it."""
    return DESCRIBED.get(table or "", {}).get(column or "")


@cache
def phrase(
    rule: Rule, table: str | None, column: str | None, also: str, closest: str, lines: str = ""
) -> tuple[str, str]:
    """What is wrong and how to mend it, in the words of the rule and of the column's own
    description."""
    described = describe_column(table, column)
    words = {"column": column or ""} | describe_words(described)
    message = " ".join(part for part in (rule.message.format(**words), also) if part)
    question = f" Did you mean {closest}?" if closest else ""
    return message, rule.fix.format(**words) + question + (f" {lines}" if lines else "")


def describe_words(described: Description | None) -> dict[str, str]:
    """The words that a rule's sentences may ask for, from a column's description."""
    if described is None:
        return dict.fromkeys(
            ("meaning", "unit", "allowed", "least", "most"), "as in the data dictionary"
        )
    return {
        "meaning": described.meaning,
        "unit": described.unit or "as the data dictionary says",
        "allowed": say_allowed(described),
        "least": "" if described.ge is None else f"{described.ge:g}",
        "most": "" if described.le is None else f"{described.le:g}",
    }


def say_allowed(described: Description) -> str:
    """What may be entered in a column, in words."""
    if described.codes:
        return ("one of " if len(described.codes) > 1 else "") + ", ".join(described.codes)
    if described.ge is not None and described.le is not None:
        return f"a number from {described.ge:g} to {described.le:g}"
    return described.form_words or ""


def place_of(problem: Problem) -> tuple:
    """Where a problem stands in the list: by table, row and column, in the dictionary's order."""
    columns = list(DESCRIBED.get(problem.table or "", {}))
    return (
        list(TABLE).index(problem.table) if problem.table in TABLE else LAST,
        problem.table or "",
        problem.row or 0,
        columns.index(problem.column) if problem.column in columns else LAST,
        problem.column or "",
        problem.rule,
        problem.also,
    )


def list_problems(
    problems: Iterable[Problem], texts: dict[str, pd.DataFrame], rows: dict[str, pd.DataFrame]
) -> pd.DataFrame:
    """List problems as rows, each once; what refuses the delivery comes first.

    Parameters
    ----------
    problems
        All that was found.
    texts
        By table the cells as handed in.
    rows
        By table the same as types, wrong ones missing. Both are empty for a delivery that was
        refused, so that no value of it is copied.

    Returns
    -------
    pd.DataFrame
        schemas.store.Problems without site and delivery.
    """
    listed = []
    for number, problem in enumerate(
        sorted(
            set(problems), key=lambda problem: (problem.severity != "refuse", place_of(problem))
        ),
        1,
    ):
        rule = RULES[problem.rule]
        message, fix = phrase(
            rule, problem.table, problem.column, problem.also, problem.closest, problem.lines
        )
        listed.append(
            {
                "number": number,
                "table": problem.table,
                "row": problem.row,
                "episode_id": look_up(rows.get(problem.table or ""), problem.row, "episode_id"),
                "column": problem.column,
                "value": quote_safely(
                    look_up(texts.get(problem.table or ""), problem.row, problem.column), problem
                ),
                "rule": problem.rule,
                "severity": problem.severity,
                "message": message,
                "how_to_fix": fix,
            }
        )
    return pd.DataFrame(listed, columns=list(Problems.describe())[2:])


def quote_safely(text: str | None, problem: Problem) -> str | None:
    """The cell, if it is a number, a pseudonym, a code of the dictionary or may mean one;
    other words, which might be a name, are not repeated."""
    described = describe_column(problem.table, problem.column)
    if not text or not described:
        return None
    # what may be no pseudonym is not among the texts any more
    is_pseudonym = problem.column in PSEUDONYMS
    return text if is_pseudonym or may_quote(text, described, problem.closest) else None


def look_up(rows: pd.DataFrame | None, row: int | None, column: str | None) -> str | None:
    """The cell of a row and column, if there is such a cell and it is not empty."""
    if (
        rows is None
        or column not in rows.columns
        or row not in rows.index
        or pd.isna(rows.at[row, column])
    ):
        return None
    return rows.at[row, column]
