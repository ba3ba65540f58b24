"""What a kept release says of itself: a Data Package, an open standard, which names every file with
its size and SHA-256, and every column of the estimates.

Frictionless Data: Data Package and Table Schema, version 1 (specs.frictionlessdata.io).
"""

import json
import platform
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.results import fingerprint
from schemas.estimate import Estimates
from schemas.table_schema import describe_columns

PACKAGE = "datapackage.json"
ESTIMATES = "estimates"
MEDIA = {
    ".csv": "text/csv",
    ".html": "text/html",
    ".pdf": "application/pdf",
    ".svg": "image/svg+xml",
}
AUDIENCE = (
    "Everything in this folder may leave the place where the records are. The sites' own pages, "
    "the store, the unreleased estimates and the ledger of releases may not."
)


class NoRelease(Exception):
    """A folder holds no release that can be read; the message is a sentence."""


@dataclass(frozen=True)
class Package:
    """What a kept release says of itself.

    Attributes
    ----------
    folder
        Where it lies.
    made_from
        By name: number of the release, version, fingerprints of deliveries, plan and code, and
        versions of libraries.
    hashes
        By path within the folder the SHA-256 of each file.
    """

    folder: Path
    made_from: dict[str, str]
    hashes: dict[str, str]

    @property
    def number(self) -> int:
        """1 for the first release."""
        return int(self.made_from["release"])


def describe_release(files: Mapping[str, Path], made_from: Mapping[str, str]) -> str:
    """The text of a release's descriptor.

    Parameters
    ----------
    files
        By path within the release where each file is now.
    made_from
        Number of the release and what it was made from.

    Returns
    -------
    str
        JSON. Beside the members of the standard it has `madeFrom`, `platform` and `audience`.
    """
    columns = describe_columns(Estimates)
    package = {
        "profile": "data-package",
        "name": f"release-{made_from['release']}",
        "title": f"Release {made_from['release']}",
        "madeFrom": dict(made_from),
        "platform": {"python": platform.python_version(), "system": platform.platform()},
        "audience": AUDIENCE,
        "resources": [_describe_file(path, file, columns) for path, file in sorted(files.items())],
    }
    return json.dumps(package, indent=1, ensure_ascii=False) + "\n"


def _describe_file(path: str, file: Path, columns: dict) -> dict:
    is_table = path.startswith(f"{ESTIMATES}/")
    table = {"profile": "tabular-data-resource", "encoding": "utf-8", "schema": columns}
    return {
        "name": path.lower().replace("/", "-").replace("_", "-"),
        "path": path,
        "mediatype": MEDIA[file.suffix],
        "bytes": file.stat().st_size,
        "hash": f"sha256:{fingerprint(file)}",
        **(table if is_table else {"profile": "data-resource"}),
    }


def read_package(folder: Path) -> Package:
    """Read what a kept release says of itself.

    Parameters
    ----------
    folder
        Of one release.

    Returns
    -------
    Package
        Its content.

    Raises
    ------
    NoRelease
        If there is none, or it cannot be read.
    """
    try:
        said = json.loads((folder / PACKAGE).read_text("utf-8"))
        hashes = {file["path"]: file["hash"].removeprefix("sha256:") for file in said["resources"]}
        package = Package(folder, dict(said["madeFrom"]), hashes)
        if package.number < 1:
            raise ValueError
        return package
    except FileNotFoundError:
        raise NoRelease(
            f"{folder} is no release: it has no {PACKAGE}. Name a folder of results/release."
        ) from None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise NoRelease(
            f"{folder / PACKAGE} cannot be read: it was changed or damaged since it was released."
        ) from None


def find_changes(package: Package) -> list[str]:
    """Everything in which a kept release is not what it says of itself, a sentence each.

    A descriptor that was changed along with its files is told by its own SHA-256 alone, which the
    run that made the release printed.
    """
    there = {
        path.relative_to(package.folder).as_posix()
        for path in package.folder.rglob("*")
        if path.is_file() or path.is_symlink()
    } - {PACKAGE}
    changes = [f"{path} is missing" for path in sorted(package.hashes.keys() - there)]
    changes += [
        f"{path} was not part of the release" for path in sorted(there - package.hashes.keys())
    ]
    for path in sorted(there & package.hashes.keys()):
        file = package.folder / path
        if file.is_symlink() or not file.is_file() or fingerprint(file) != package.hashes[path]:
            changes.append(f"{path} was changed since it was released")
    return changes
