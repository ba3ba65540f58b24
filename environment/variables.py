"""The environment variables in which packages are installed and everything runs:
nothing of the user's own comes in by them."""

import os
import re

from environment.place import PYTHON, ROOT, VENV, WINDOWS

# Settings of the user's own Python, pip and uv could bring in other packages or soften the check of
# hashes: only those stay that say where packages come from and how that place is reached.
FOREIGN = re.compile(r"PYTHON|PYTEST|PIP_|UV_|MPL|MATPLOTLIBRC|VIRTUAL_ENV")
PLACES = re.compile(
    r"(PIP|UV)_(DEFAULT_INDEX|(EXTRA_)?INDEX(_\w+)?|NO_INDEX|FIND_LINKS|TRUSTED_HOST|INSECURE_HOST|PROXY|CERT|CLIENT_CERT|NATIVE_TLS"
    r"|SYSTEM_CERTS|KEYRING_PROVIDER|OFFLINE|CONFIG_FILE|CACHE_DIR|NO_CACHE(_DIR)?|LINK_MODE|HTTP_\w+|(DEFAULT_)?TIMEOUT|RETRIES)"
)


def isolate() -> dict[str, str]:
    """The variables of this process without those that could change what is installed or imported;
    caches go where files can be written."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if not FOREIGN.match(name) or PLACES.fullmatch(name)
    }
    if not may_write("HOME"):
        kept["XDG_CACHE_HOME"] = str(VENV / "cache")
    if not may_write("TMPDIR"):
        kept.pop("TMPDIR", None)
    return kept | {"PYTHONNOUSERSITE": "1", "PYTHONUTF8": "1", "PIP_USER": "0"}


def surround() -> dict[str, str]:
    """The variables of everything that runs: our own modules beside the environment's, no others,
    and no settings from a home."""
    own = {
        "PYTHONPATH": str(ROOT),
        "PYTHONSAFEPATH": "1",  # nothing from the folder that the caller happens to be in
        "VIRTUAL_ENV": str(VENV),
        "PATH": os.pathsep.join([str(PYTHON.parent), os.environ.get("PATH", os.defpath)]),
        "MPLCONFIGDIR": str(VENV / "cache" / "matplotlib"),
        "XDG_CACHE_HOME": str(VENV / "cache"),
    }
    return isolate() | own | ({} if may_write("HOME") else {"HOME": str(VENV / "home")})


def may_write(variable: str) -> bool:
    """Whether a variable names a folder that takes files; Windows asks for neither HOME nor
    TMPDIR."""
    return WINDOWS or os.access(os.environ.get(variable, ""), os.W_OK | os.X_OK)
