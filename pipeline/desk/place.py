"""Where copies lie for the time of a check: a folder that only its owner may open, wiped when the
page ends, or by the next start if it could not."""

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from environment.make import take

PREFIX = "checking-"
# of Windows: such a file is a device
RESERVED = re.compile(r" *(con|prn|aux|nul|(com|lpt)[0-9\u00b9\u00b2\u00b3]) *", re.IGNORECASE)
HELD = "held"  # a file whose lock is held for as long as the folder is in use


@contextmanager
def make_place(parent: Path | None = None) -> Iterator[Path]:
    """A folder of this process alone, for its time; folders that others left behind are wiped.

    `parent` is where temporary folders are made (default: the system's place for them).
    """
    parent = parent or Path(tempfile.gettempdir())
    wipe_left(parent)
    place = Path(tempfile.mkdtemp(prefix=PREFIX, dir=parent))  # its owner's alone (0700)
    try:
        with (place / HELD).open("a") as file:
            take(file.fileno())
            yield place
    finally:
        wipe(place)


def wipe_left(parent: Path) -> None:
    """Wipe the folders of processes that ended without doing so; one in use is held."""
    for place in parent.glob(f"{PREFIX}*"):
        held = place / HELD
        try:
            if place.is_symlink() or held.is_symlink() or not held.is_file():
                continue
            with held.open("a") as file:
                left = take(file.fileno())
        except OSError:  # another person's
            continue
        if left:
            wipe(place)


def wipe(folder: Path) -> None:
    """Delete a folder with all that is in it, as far as it is there."""
    shutil.rmtree(folder, ignore_errors=True)


def name_safely(name: str, taken: set[str]) -> str:
    """A name for a file that somebody else named: its last part, without what no system takes, and
    otherwise as it is, since the check judges names too; numbered if it is taken."""
    last = name.replace("\\", "/").rpartition("/")[2]
    plain = "".join("_" if sign in '<>:"|?*' or not sign.isprintable() else sign for sign in last)
    stem, suffix = os.path.splitext(plain.strip())
    stem, suffix = cut(stem, 150).rstrip(". "), cut(suffix, 20).rstrip(". ")
    if not stem or RESERVED.fullmatch(stem.partition(".")[0]):
        stem = f"file{stem}"
    names = [f"{stem}{suffix}", *(f"{stem} {number}{suffix}" for number in range(2, 100))]
    return next(free for free in names if free.casefold() not in taken)


def cut(text: str, most: int) -> str:
    """The beginning of a text, of so many bytes at most."""
    return text.encode()[:most].decode("utf-8", "ignore")
