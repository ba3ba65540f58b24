"""All cases of one half, kind by kind."""

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from tests.corpus.case import Case
from tests.corpus.clean import list_clean
from tests.corpus.first import list_first
from tests.corpus.half import load_held_code
from tests.corpus.identifiers import list_identifiers
from tests.corpus.messy import list_messy

MODULES = (
    *(
        "places_cells",
        "places_text",
        "places_sheets",
        "places_parts",
        "places_objects",
        "places_archive",
        "places_files",
    ),
    *("clean_tables", "clean_books", "messy_rows", "messy_columns", "messy_whole", "messy_files"),
)
MAKERS = {
    "identifiers": list_identifiers,
    "clean": list_clean,
    "messy": list_messy,
    "first": list_first,
}


def list_cases(kinds: Sequence[str], held_out: Path | None = None) -> list[Case]:
    """The cases of these kinds: the open half, or the one that is held back in that folder."""
    for module in MODULES:
        import_module(f"tests.corpus.{module}")
    if held_out:
        load_held_code(held_out)
    return [case for kind in kinds for case in MAKERS[kind](held_out)]
