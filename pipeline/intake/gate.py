"""The de-identification gate: it looks at every place of a delivery and names the place and the
kind of a hit, never the value.

What is an identifier beyond doubt refuses the delivery. What only may be one sets its row aside
(SET_APART), and nobody reads it further.
"""

from collections.abc import Callable, Collection, Iterator, Mapping

from pipeline.intake.free_text import find_free_text
from pipeline.intake.handed import KNOWN_COLUMNS, Handed, Loose, Sheet, letters
from pipeline.intake.headers import names_age, names_identifier
from pipeline.intake.identifiers import (
    find_identifier,
    find_in_age,
    find_in_days,
    is_unclear_number,
)
from pipeline.intake.problem import DESCRIBED, PSEUDONYMS, Problem, describe_column
from pipeline.intake.pseudonyms import TOO_SHORT, UNCLEAR, judge_pseudonyms
from schemas.columns import Integer, Number
from schemas.delivery import TABLES
from schemas.site_map import spell_plainly

# characters; programs write shorter texts, and a hint or a page header holds 255 at most
LONGEST_LOOSE = 1_000
NUMBER_UNCLEAR = "number_unclear"
SET_APART = (UNCLEAR, TOO_SHORT, NUMBER_UNCLEAR)  # rules of cells that are read no further
ALLOWED = {("file", "calendar_date"), ("author", "free_text")}
DAYS = "days from day 0"
NoRecords = Mapping[str, Collection[int]]  # rows of each table that are no records


def find_identifiers(
    handed: Handed, no_records: NoRecords, shapes: tuple[str, ...] = ()
) -> list[Problem]:
    """Find all hits of the gate.

    Parameters
    ----------
    handed
        What could be read of a delivery.
    no_records
        By table the numbers of rows that are no records: they hold neither ages nor pseudonyms.
    shapes
        Of the site's own pseudonyms: 9 a digit, X a digit or letter, other signs themselves.
    """
    problems = []
    for sheet in handed.sheets:
        problems += [*search_header(sheet), *search_cells(sheet, no_records.get(sheet.table, ()))]
    for column in PSEUDONYMS:
        problems += search_pseudonyms(column, handed.sheets, no_records, shapes)
    return problems + [problem for loose in handed.loose for problem in judge_loose(loose)]


def search_header(sheet: Sheet) -> Iterator[Problem]:
    """Hits among the column names, and among the field names of the submission table.

    A name that a site's own list explains is searched as well: a list cannot make a date of birth
    harmless.
    """
    for position, text in sheet.header.items():
        column = sheet.names.get(position)
        if text.lower() in KNOWN_COLUMNS.get(sheet.table, ()) or spell_plainly(
            text
        ) == spell_plainly(column or ""):
            continue
        named = names_identifier(text, () if column else sheet.cells[position].dropna())
        if kind := "identifier_column" if named else find_identifier(text):
            yield Problem(kind, sheet.table, sheet.header_row, sheet.label(position))
    for position in sheet.positions("field") if sheet.table == "submission" else ():
        fields = sheet.cells[position].dropna()
        for row, field in fields[~fields.str.lower().isin(DESCRIBED["submission"])].items():
            if names_identifier(field):
                yield Problem("identifier_column", sheet.table, row, "field")


def search_cells(sheet: Sheet, no_records: Collection[int]) -> Iterator[Problem]:
    """Hits among the cells: each different text of a column is judged once.

    Of pseudonyms only those are searched that are no records.
    """
    for position, texts in sheet.cells.items():
        if is_pseudonym(sheet, position):
            texts = texts[texts.index.isin(no_records)]
        judge, listed = choose_judge(sheet, position), sheet.codes.get(position, {})
        hits = {
            text: kind
            for text in texts.dropna().unique()
            if text.casefold() not in listed and (kind := judge(text))
        }
        label = sheet.label(position)
        for row, text in texts[texts.isin(list(hits))].items() if hits else ():
            if row not in no_records or hits[text] not in ("age_above_89", NUMBER_UNCLEAR):
                yield Problem(hits[text], sheet.table, row, label)
        if position not in sheet.names and (
            extent := find_free_text(sheet.header[position], texts)
        ):
            yield Problem("free_text", sheet.table, sheet.header_row, label, also=extent)
    for row, position, text in sheet.outside.itertuples(index=False):
        kind = find_identifier(text)
        # a title may say when it was written
        if kind and (row > sheet.header_row or kind != "calendar_date"):
            yield Problem(kind, sheet.table, row, f"column {letters(position)}")


def choose_judge(sheet: Sheet, position: int) -> Callable[[str], str | None]:
    """How the cells of a column are judged, by what the column is in the dictionary."""
    column = describe_column(sheet.table, sheet.names.get(position))
    if sheet.names.get(position) == "age_years" or (
        not column and names_age(sheet.header[position])
    ):
        return find_in_age
    if column is None or not isinstance(column.dtype, Integer | Number):
        return find_identifier
    judge = find_in_days if column.unit == DAYS else find_identifier
    return lambda text: judge(text) or (NUMBER_UNCLEAR if is_unclear_number(text) else None)


def is_pseudonym(sheet: Sheet, position: int) -> bool:
    """Whether a column holds pseudonyms, also one that its table does not need."""
    called = sheet.names.get(position) or spell_plainly(sheet.header[position])
    return called in (*PSEUDONYMS, *map(spell_plainly, PSEUDONYMS))


def search_pseudonyms(
    column: str, sheets: tuple[Sheet, ...], no_records: NoRecords, shapes: tuple[str, ...]
) -> Iterator[Problem]:
    """Hits among the pseudonyms of one column, in all tables together:
    the column as a whole is told once, in the first table that has it."""
    places = [
        (sheet, position)
        for sheet in sheets
        if sheet.table in TABLES
        for position in sheet.positions(column)
    ]
    cells = [
        (sheet, texts[~texts.index.isin(no_records.get(sheet.table, ()))])
        for sheet, position in places
        for texts in (sheet.cells[position],)
    ]
    judged = judge_pseudonyms(
        (text for _, texts in cells for text in texts.dropna().unique()), shapes
    )
    if judged.column_rule:
        sheet = cells[0][0]
        also = f"This is so of {judged.broken:,} of {judged.codes:,} different entries."
        yield Problem(judged.column_rule, sheet.table, sheet.header_row, column, also=also)
        return
    for sheet, texts in cells:
        for row, text in texts[texts.isin(list(judged.texts))].items():
            yield Problem(judged.texts[text], sheet.table, row, column)


def judge_loose(loose: Loose) -> Iterator[Problem]:
    """The hit, if any, in a text outside of the cells."""
    kind = "free_text" if len(loose.text) > LONGEST_LOOSE else find_identifier(loose.text)
    if loose.judged == "remark" or (kind and (loose.judged, kind) not in ALLOWED):
        yield Problem(kind or "free_text", loose.table, loose.row, loose.column)
