"""Pseudonyms for a site's own tables: made from record numbers with a secret key of the site,
and the same again whenever the key is.

A pseudonym is the beginning of a keyed hash (HMAC, RFC 2104, with SHA-256), written as letters and
digits by turns, so that it can hold no word, no date and no long number. Without the key nobody can
tell which record it belongs to, not even by trying all numbers.
"""

import csv
import hashlib
import hmac
import io
import secrets
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from openpyxl import Workbook, load_workbook

from pipeline.intake.handed import LAST_HEADER_ROW, tidy, to_text
from pipeline.intake.read import PLAIN
from pipeline.intake.read_csv import decode, find_separator

PREFIXES = {"patient_id": "PT-", "episode_id": "EP-"}
CONSONANTS, DIGITS = "BCDFGHJKLMNPQRSTVWXZ", "0123456789"
PAIRS = (
    # of a letter and a digit: 200 to the fifth codes, so that two of 100,000 patients share one in
    # 1.6 of 100 sites
    5
)
KEY_BYTES = 32


class SharedPseudonym(Exception):
    """Two records would get the same pseudonym; another key parts them."""


@dataclass
class KeyList:
    """Which entry has which pseudonym: column of the dictionary and entry,
    in the order in which they were met."""

    key: bytes
    pseudonyms: dict[tuple[str, str], str] = field(default_factory=dict)
    taken: dict[str, str] = field(default_factory=dict)

    def replace(self, column: str, entry: str) -> str:
        """The pseudonym of an entry; blanks around it and capitals make no other entry of it.

        Raises SharedPseudonym.
        """
        plain = unicodedata.normalize("NFKC", entry).casefold().strip()
        pseudonym = make_pseudonym(self.key, column, plain)
        if self.taken.setdefault(pseudonym, plain) != plain:
            raise SharedPseudonym
        return self.pseudonyms.setdefault((column, entry), pseudonym)

    def write(self) -> bytes:
        """The list as .csv: column, entry, pseudonym."""
        return write_csv(
            [
                ["column", "entry", "pseudonym"],
                *([*place, code] for place, code in self.pseudonyms.items()),
            ]
        )


def make_key() -> str:
    """A new key, as text."""
    return secrets.token_hex(KEY_BYTES)


def make_pseudonym(key: bytes, column: str, entry: str) -> str:
    """The pseudonym of an entry for a column of the dictionary."""
    number = int.from_bytes(hmac.digest(key, f"{column}\x1f{entry}".encode(), hashlib.sha256))
    signs = []
    for _ in range(PAIRS):
        number, letter = divmod(number, len(CONSONANTS))
        number, digit = divmod(number, len(DIGITS))
        signs += [CONSONANTS[letter], DIGITS[digit]]
    return PREFIXES[column] + "".join(signs)


def replace_in_table(rows: list[list[str]], headers: Mapping[str, str], known: KeyList) -> set[str]:
    """Put pseudonyms into a table in place; `headers` are the table's own,
    each with the column of the dictionary that it becomes.

    The header is the first of ten rows that holds one of them. Returns those that were found.
    """
    meant = {header.casefold().strip(): column for header, column in headers.items()}
    for at, row in enumerate(islice(rows, LAST_HEADER_ROW)):
        places = {
            place: meant[header]
            for place, text in enumerate(row)
            if (header := (tidy(text) or "").casefold()) in meant
        }
        if not places:
            continue
        for below in rows[at + 1 :]:
            for place, column in places.items():
                if place < len(below) and (entry := tidy(below[place])):
                    below[place] = known.replace(column, entry)
        matched = {
            header
            for header in headers
            if header.casefold().strip() in {(tidy(row[p]) or "").casefold() for p in places}
        }
        for place, column in places.items():
            row[place] = column
        return matched
    return set()


def replace_in_file(
    path: Path, headers: Mapping[str, str], known: KeyList
) -> tuple[bytes, set[str]]:
    """The same for a .csv file or a workbook: a new file that holds nothing but the values of its
    cells, and the headers that were found."""
    if path.suffix.lower() != ".xlsx":
        text, _ = decode(path.read_bytes())
        separator = find_separator(text, "", PLAIN)
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
        replaced_headers = replace_in_table(rows, headers, known)
        return write_csv(rows, separator), replaced_headers
    source, book, replaced_headers = (
        load_workbook(path, data_only=True, read_only=True),
        Workbook(),
        set(),
    )
    book.remove(book.active)
    for sheet in source.worksheets:
        values = [list(row) for row in sheet.iter_rows(values_only=True)]
        texts = [[to_text(value) or "" for value in row] for row in values]
        replaced = [list(row) for row in texts]
        replaced_headers |= replace_in_table(replaced, headers, known)
        made = book.create_sheet(sheet.title)
        for row, before, after in zip(values, texts, replaced, strict=True):
            made.append(
                [
                    value if old == new else new
                    for value, old, new in zip(row, before, after, strict=True)
                ]
            )
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue(), replaced_headers


def write_csv(rows: list[list[str]], separator: str = ",") -> bytes:
    """Rows as .csv, in UTF-8 with the mark by which spreadsheet programs know it."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8-sig")
