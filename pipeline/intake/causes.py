"""One cause, one entry: of several findings at one place, or in one column or row as a whole,
the surest stands, and the others follow from it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

from pipeline.intake.problem import Problem
from pipeline.intake.recognised import NO_RECORDS
from schemas.rules import GATE_RULES

UNKNOWN, TOO_MANY = "column_unknown", "too_many_cells"
OF_A_COLUMN = ("identifier_column", "free_text")  # whose column is deleted, whatever its cells hold
OTHERS = tuple(sorted(GATE_RULES - set(OF_A_COLUMN)))
SUREST_FIRST = (OF_A_COLUMN[0], *OTHERS, OF_A_COLUMN[1], UNKNOWN)


def fold(problems: Iterable[Problem], header_rows: Mapping[str, int]) -> list[Problem]:
    """The problems without those that only follow from another one at the same place,
    column or row; `header_rows` are those of the tables.

    What refuses a delivery is never folded into what does not, so that the verdict stays.
    """
    surest = fold_places(dict.fromkeys(problems))
    return fold_rows(fold_columns(surest, header_rows))


def fold_places(problems: Iterable[Problem]) -> list[Problem]:
    """The problems without those that are less sure than another one in the same cell;
    a place without a row may hold several texts."""
    surest: dict[tuple, int] = {}
    for problem in problems:
        if problem.rule in SUREST_FIRST and problem.row:
            place, rank = (
                (problem.table, problem.row, problem.column),
                SUREST_FIRST.index(problem.rule),
            )
            surest[place] = min(rank, surest.get(place, rank))
    return [
        problem
        for problem in problems
        if problem.rule not in SUREST_FIRST
        or not problem.row
        or SUREST_FIRST.index(problem.rule) == surest[problem.table, problem.row, problem.column]
    ]


def fold_columns(problems: list[Problem], header_rows: Mapping[str, int]) -> list[Problem]:
    """The problems without identifiers in the cells of a column that must go as a whole, and
    without the note that a column is unknown in whose cells identifiers are, unless a column of the
    dictionary may be meant."""
    condemned = {
        (p.table, p.column)
        for p in problems
        if p.rule in OF_A_COLUMN and p.row and p.row == header_rows.get(p.table or "")
    }
    in_cells = [
        p
        for p in problems
        if p.rule in GATE_RULES and p.row and p.row != header_rows.get(p.table or "")
    ]
    counts = Counter((p.table, p.column) for p in in_cells)
    folded = {p for p in in_cells if (p.table, p.column) in condemned}
    folded |= {
        p for p in problems if p.rule == UNKNOWN and not p.closest and (p.table, p.column) in counts
    }
    return [
        replace(p, also=_add(p.also, _count_cells(counts[p.table, p.column])))
        if p.rule == OF_A_COLUMN[0]
        and (p.table, p.column) in condemned
        and counts[p.table, p.column]
        else p
        for p in problems
        if p not in folded
    ]


def fold_rows(problems: list[Problem]) -> list[Problem]:
    """The problems with one entry for a row that is no record: what identifies somebody in it,
    or else what the row is."""
    no_records = {(p.table, p.row): p for p in problems if p.rule in NO_RECORDS}
    identifying = {(p.table, p.row) for p in problems if p.rule in GATE_RULES} & no_records.keys()
    kept = []
    for problem in problems:
        place = (problem.table, problem.row)
        if problem.rule in GATE_RULES and place in identifying:
            kept.append(
                replace(
                    problem, also=_add(problem.also, "Its row is no record: delete the whole row.")
                )
            )
        elif not (problem.rule in NO_RECORDS and place in identifying) and not (
            problem.rule == TOO_MANY and place in no_records
        ):
            kept.append(problem)
    return kept


def _count_cells(number: int) -> str:
    return (
        f"{number:,} of its cells "
        f"{'looks like an identifier' if number == 1 else 'look like identifiers'} as well."
    )


def _add(*sentences: str) -> str:
    return " ".join(filter(None, sentences))
