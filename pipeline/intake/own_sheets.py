"""What the project itself writes into a workbook, recognised when it comes back: sealed sheets,
and comments that repeat their texts.

A sealed sheet says in the first column of its last row which texts it held when it was written. If
somebody typed into it, the seal no longer fits, and the sheet is a sheet like any other. The seal
guards against accidents, not against forgery.
"""

import hashlib
from collections.abc import Iterable, Mapping

SEAL = "written by the pipeline, please leave as it is: "


def make_seal(texts: Iterable[str]) -> str:
    """The text that seals a sheet whose other cells hold `texts`,
    row by row and from left to right."""
    return SEAL + hashlib.sha256("\x1f".join(map(plain, texts)).encode()).hexdigest()[:16]


def is_sealed(cells: Mapping[tuple[int, int], str]) -> bool:
    """Whether a sheet still holds what was written: `cells` are its texts by row and column;
    empty ones are no matter."""
    filled = [cells[place] for place in sorted(cells) if plain(cells[place])]
    return (
        bool(filled) and filled[-1].startswith(SEAL) and plain(filled[-1]) == make_seal(filled[:-1])
    )


def seal_comment(text: str) -> str:
    """A comment of ours: the text, and on a last line the seal by which it is known when it comes
    back."""
    return f"{text}\n{make_seal([text])}"


def is_sealed_comment(text: str) -> bool:
    """Whether a comment is one of ours that nobody changed."""
    text_before, mark, seal = text.rpartition(SEAL)
    return bool(mark) and plain(SEAL + seal) == make_seal([text_before])


def plain(text: str) -> str:
    """A text with single blanks for every gap: programs write ends of lines in different ways."""
    return " ".join(text.split())
