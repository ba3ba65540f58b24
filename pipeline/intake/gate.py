"""The de-identification gate: it looks at every place of a delivery and names the place and the kind of a hit, never the value."""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import partial

from pipeline.intake.handed import KNOWN_COLUMNS, Handed, Loose, Sheet, letters
from pipeline.intake.patterns import (
    DICTIONARY_WORDS,
    find_identifier,
    find_in_age,
    find_in_pseudonym,
    find_pattern,
    normalise,
    split_names,
)
from pipeline.intake.problem import DESCRIBED, Problem
from schemas.site_map import spell_plainly

PSEUDONYMS = ("episode_id", "patient_id")
LONGEST_LOOSE = 1_000  # characters; programs write shorter texts, and a hint or a page header holds 255 at most

# What safe harbor (45 CFR 164.514(b)(2)(i)) removes, as columns are called. The regulation names the things; their usual names, also
# in other languages, are common practice. Each word of a column name is compared as a whole.
HOLDS_IDENTIFIERS = re.compile(
    r"""names? | [a-z]+name | (sur|fore|first|last|full|middle|nick)names? | maiden | initials | nom | pr[eé]nom | nombres? | apellidos?
    | cognome | nome | sobrenome | naam | achternaam
    | dob | doe | dod | born | [a-z]*birth[a-z]* | geburt[a-z]* | naissance | nacimiento | nascita | nascimento | geboorte[a-z]*
    | dates? | (?!up)[a-z]+date | datetime | timestamp | [a-z]*datum | fecha
    | mrn | ssn | nhs | nhi | nin | chi | insee | bsn | svnr | pid | uid | record | chart | account | acct | [a-z]*insurance | insured | policy
    | beneficiary | certificate | [a-z]*passport[a-z]* | [a-z]*licen[cs]e[a-z]* | plate | vehicle | vin | device | serial
    | [a-z]*addres[a-z]* | addr | adresse | indirizzo | direcci[oó]n | street | stra(ss|ß)e | road | city | stadt | ort | ville | ciudad | town
    | village | county | precinct | zip[a-z]* | postal | postcode | plz | geocode | lat | lon | latitude | longitude
    | [a-z]*phone[a-z]* | tel | tel[eé]fono? | mobile | cell | fax | e?mails? | ur[il] | web | website | ip | mac
    | photo[a-z]* | picture | image | video | fingerprint | voice | biometric | employer | occupation | kin | relative | spouse | mother | father""",
    re.VERBOSE,
)


def find_identifiers(handed: Handed, maneuvers: Iterable[str]) -> list[Problem]:
    """All hits of the gate. `maneuvers` are the codes of the maneuver list, whose words are no free text."""
    words = DICTIONARY_WORDS | split_names(maneuvers)
    found = [
        problem
        for sheet in handed.sheets
        for search in (search_header, search_cells)
        for problem in search(sheet, words)
    ]
    return found + [problem for loose in handed.loose for problem in judge_loose(loose, words)]


def search_header(sheet: Sheet, words: frozenset[str]) -> Iterator[Problem]:
    """Hits among the column names, and among the field names of the submission table; those of the dictionary are none.

    A name that a site's own list explains is judged by what it says of its column only: a list cannot make a date of birth harmless.
    """
    own = KNOWN_COLUMNS.get(sheet.table, ())
    for position, text in sheet.header.items():
        if text.lower() in own or spell_plainly(text) == spell_plainly(sheet.names.get(position, "")):
            kind = None
        else:
            kind = judge_name(text, words | set(split_header(normalise(text))) if position in sheet.names else words)
        if kind:
            yield Problem(kind, sheet.table, sheet.header_row, sheet.label(position))
        if sheet.table == "submission" and sheet.names.get(position) == "field":
            fields = sheet.cells[position].dropna()
            for row, field in fields[~fields.str.lower().isin(DESCRIBED["submission"])].items():
                if names_identifier(field):
                    yield Problem("identifier_column", sheet.table, row, "field")


def judge_name(text: str, words: frozenset[str]) -> str | None:
    """The kind of a hit in a column name that the dictionary does not know."""
    return "identifier_column" if names_identifier(text) else find_identifier(text, words)


def search_cells(sheet: Sheet, words: frozenset[str]) -> Iterator[Problem]:
    """Hits among the cells: each different text of a column is judged once."""
    for position, texts in sheet.cells.items():
        judge = choose_judge(sheet, position, words)
        listed = sheet.codes.get(position, {})
        hits = {
            text: kind for text in texts.dropna().unique() if text.casefold() not in listed and (kind := judge(text))
        }
        label = sheet.label(position)
        for row, text in texts[texts.isin(list(hits))].items():
            yield Problem(hits[text], sheet.table, row, label)
    for row, position, text in sheet.beyond.itertuples(index=False):
        kind = find_identifier(text, words, unknown_column=True)
        if kind:
            yield Problem(kind, sheet.table, row, f"column {letters(position)}")


def choose_judge(sheet: Sheet, position: int, words: frozenset[str]) -> Callable[[str], str | None]:
    """How the cells of a column are judged: by what the column is in the dictionary, most strictly where it is not in it."""
    column = sheet.names.get(position)
    if column is None:
        judge = find_in_age if "age" in split_header(sheet.header[position]) else find_identifier
        return partial(judge, words=words, unknown_column=True)
    if column in PSEUDONYMS:
        return partial(find_in_pseudonym, words=words)
    return partial(find_in_age if column == "age_years" else find_identifier, words=words)


def split_header(text: str) -> list[str]:
    """The words of a column name, also where only capitals part them."""
    return re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower())


def names_identifier(header: str) -> bool:
    """Whether a column name says that the column holds identifiers."""
    return any(HOLDS_IDENTIFIERS.fullmatch(word) for word in split_header(header))


def judge_loose(loose: Loose, words: frozenset[str]) -> Iterator[Problem]:
    """The hit, if any, in a text outside of the cells."""
    if len(loose.text) > LONGEST_LOOSE:
        kind = "free_text"
    else:
        kind = find_identifier(loose.text, words) if loose.judged == "name" else find_pattern(normalise(loose.text))
    if kind or loose.judged == "remark":
        yield Problem(kind or "free_text", loose.table, loose.row, loose.column)
