"""Which version of the data dictionary a delivery follows.

The columns of another version are unknown to it.
"""

from collections.abc import Iterable
from dataclasses import replace

from pipeline.intake.cell_values import read_whole
from pipeline.intake.handed import SUBMISSION_HEADER, Sheet
from pipeline.intake.problem import DESCRIBED, OF_VERSION
from schemas.columns import DICTIONARY_VERSION, VERSIONS

FIELD = "dictionary_version"


def find_version(sheets: Iterable[Sheet]) -> int:
    """The version that the submission table names, or the one to follow where it names none that is
    known: such a delivery is refused, and judged as it should be."""
    for sheet in sheets:
        places = [sheet.positions(name) for name in SUBMISSION_HEADER]
        if sheet.table == "submission" and all(places):
            field, value = (sheet.cells[positions[0]] for positions in places)
            for text in value[field.str.lower().eq(FIELD)].dropna():
                version = read_whole(text)
                return version if version in VERSIONS else DICTIONARY_VERSION
    return DICTIONARY_VERSION


def keep_to_version(sheet: Sheet, version: int) -> Sheet:
    """The sheet with the columns of that version only; those of others are unknown."""
    others = DESCRIBED.get(sheet.table, {}).keys() - OF_VERSION[version].get(sheet.table, {}).keys()
    names = {position: name for position, name in sheet.names.items() if name not in others}
    codes = {position: entries for position, entries in sheet.codes.items() if position in names}
    return replace(sheet, names=names, codes=codes, version=version)
