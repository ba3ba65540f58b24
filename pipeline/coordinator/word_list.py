"""The words of a site that are none of the dictionary, each with what it may stand for: questions
to the coordinator, from whose answers the site's list of names is made.

What the check repeats is told here too. Any other word could be a name: it is called by its place,
and enters a list only if somebody types it.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline.intake.cell_values import BETWEEN
from pipeline.intake.handed import Handed, Sheet, name_safely, tidy
from pipeline.intake.meant import find_header, find_meanings
from pipeline.intake.own_words import LEAST_CELLS
from pipeline.intake.patterns import normalise
from pipeline.intake.problem import DESCRIBED
from pipeline.intake.receive import match_tables
from pipeline.intake.report import name_ranges
from schemas.delivery import TABLES
from schemas.maneuver import make_maneuver_vocabulary
from schemas.rules import GATE_RULES
from schemas.site_map import SiteMap
from schemas.study import Config
from schemas.synonyms import CERTAIN, Vocabulary, make_header_vocabulary, make_vocabulary

NO_CODE = ("not_in_list", "maneuver_unknown")


class NotMeant(Exception):
    """Answers that make no list; the name of a sentence that quotes nothing."""


@dataclass(frozen=True)
class OwnWord:
    """An entry, or a name of a column, that the dictionary does not know.

    Attributes
    ----------
    table
        Where it stands.
    column
        The column of the dictionary whose entry it is; empty if it is the name of a column.
    text
        The word, with which nothing is done but to compare and to enter it in the list.
    place
        Its rows, or the letters of its column.
    cells
        How many cells hold it; 0 if it is the name of a column.
    told
        Whether the page may show it, as the check would.
    sure
        The code that it stands for beyond doubt; empty if a person must say so.
    perhaps
        The code, or the column, of which the check would ask whether it is meant.
    columns
        If it is the name of a column, those of the dictionary that are missing in its table.
    """

    table: str
    column: str
    text: str
    place: str
    cells: int
    told: bool
    sure: str = ""
    perhaps: str = ""
    columns: tuple[str, ...] = ()


def list_own_words(handed: Handed, problems: pd.DataFrame, config: Config) -> list[OwnWord]:
    """List what a delivery holds in place of names and codes of the dictionary.

    Parameters
    ----------
    handed
        The delivery.
    problems
        What the check found in it.
    config
        The plan, with its list of maneuvers.

    Returns
    -------
    list
        Names of columns first. None while something in the delivery may identify a person: that
        must go before anything of it is told. Words that the check does not repeat are asked about
        from three cells on, since fewer are slips of the pen.
    """
    if problems["rule"].isin(GATE_RULES).any():
        return []
    texts, _ = match_tables(handed)
    words = [
        word for name in TABLES if (sheet := handed.sheet(name)) for word in _list_headers(sheet)
    ]
    unknown = problems[problems["rule"].isin(NO_CODE) & problems["table"].isin(list(TABLES))]
    for (table, column), of_column in unknown.groupby(["table", "column"], sort=False):
        cells = texts[table].loc[of_column["row"].dropna().astype(int), column]
        words += _list_entries(table, column, cells.astype(object).dropna(), config)
    return words


def find_certain(text: str, vocabulary: Vocabulary) -> str:
    """The code that a text stands for beyond doubt: it is one of the words that are declared as
    certain, letter for letter but for capitals and gaps. Nothing otherwise."""
    plain = " ".join(normalise(text).split())
    return vocabulary.words.get(plain, "") if plain in CERTAIN else ""


def add_meanings(
    site_map: SiteMap, words: list[OwnWord], meanings: Mapping[int, str], typed: Mapping[int, str]
) -> SiteMap:
    """Make the list of a site longer by what somebody answered.

    Parameters
    ----------
    site_map
        The list so far.
    words
        The questions.
    meanings
        By number of the question the code or column that was chosen.
    typed
        By number of the question the word as it was typed, where the page does not show it.

    Returns
    -------
    SiteMap
        The new list.

    Raises
    ------
    NotMeant
        If nothing was chosen, a word was typed that does not stand there, or one column was chosen
        for two.
    """
    codes = {
        table: {column: dict(entries) for column, entries in columns.items()}
        for table, columns in site_map.codes.items()
    }
    columns = {table: dict(headers) for table, headers in site_map.columns.items()}
    if not meanings:
        raise NotMeant("no_word")
    for number, meaning in meanings.items():
        word = words[number]
        if not word.told and (tidy(typed.get(number)) or "").casefold() != word.text.casefold():
            raise NotMeant("other_word")
        if word.column:
            codes.setdefault(word.table, {}).setdefault(word.column, {})[word.text] = meaning
        else:
            columns.setdefault(word.table, {})[word.text] = meaning
    if any(
        count > 1 for headers in columns.values() for count in Counter(headers.values()).values()
    ):
        raise NotMeant("column_twice")
    return SiteMap.model_validate(site_map.model_dump() | {"columns": columns, "codes": codes})


def _list_headers(sheet: Sheet) -> Iterator[OwnWord]:
    """The names of columns that are unknown where columns of the dictionary are missing."""
    described = DESCRIBED[sheet.table]
    of_version = {name: c for name, c in described.items() if sheet.version in c.versions}
    missing = {n: c for n, c in of_version.items() if not sheet.positions(n)}
    vocabulary = make_header_vocabulary(of_version)
    needed = any(column.filled for column in missing.values())
    for position, header in sheet.header.items():
        perhaps = find_header(header, vocabulary, missing)
        if position not in sheet.names and missing and (perhaps or needed):
            place = sheet.label(position)
            told = name_safely(header, "") == place
            yield OwnWord(
                sheet.table, "", header, place, 0, told, perhaps=perhaps, columns=tuple(missing)
            )


def _list_entries(table: str, column: str, cells: pd.Series, config: Config) -> Iterator[OwnWord]:
    """The entries of a column that are no codes, each once without regard to capitals."""
    described = DESCRIBED[table][column]
    vocabulary = (
        make_maneuver_vocabulary(config.maneuvers)
        if column == "maneuver"
        else make_vocabulary(described)
    )
    meant = find_meanings(cells.unique(), vocabulary)
    for _, same in cells.groupby(cells.str.casefold(), sort=False):
        text = same.iloc[0]
        if described.several and len(BETWEEN.split(text)) > 1:
            continue
        perhaps = meant.get(text, "")
        if perhaps or len(same) >= LEAST_CELLS:
            sure = find_certain(text, vocabulary)
            yield OwnWord(
                table,
                column,
                text,
                name_ranges(sorted(same.index)),
                len(same),
                told=bool(perhaps),
                sure=sure if sure == perhaps else "",
                perhaps=perhaps,
            )
