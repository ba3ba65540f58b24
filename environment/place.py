"""Where the environment is, and whether it is whole.

Every start asks this, so that little is imported.
"""

import os
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
LOCK = ROOT / "requirements.lock"
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
PYTHON = VENV / ("Scripts/python.exe" if WINDOWS else "bin/python")
MADE_FROM = VENV / "made_from"  # written last: ./run looks for it too


def is_made() -> bool:
    """Whether the environment is as it was when it was finished,
    by this Python and from this lock."""
    try:
        return PYTHON.exists() and MADE_FROM.read_bytes() == describe()
    except OSError:
        return False


def describe() -> bytes:
    """The Python, the place, what is installed by name, and the lock:
    a package that came or went changes it too."""
    library = (
        VENV / ("Lib" if WINDOWS else "lib/python{}.{}".format(*sys.version_info)) / "site-packages"
    )
    names = sorted(name for name in os.listdir(library) if name != "__pycache__")
    made = [os.fsencode(VENV), *map(os.fsencode, names)]
    return b"\n".join([sys.version.encode(), *made, LOCK.read_bytes()])
