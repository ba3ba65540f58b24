"""The bill of materials: every library of the lock with its version, hashes and licence.

CycloneDX 1.6 (ECMA-424), an open standard that public tools read, such as those that look up known
vulnerabilities. Package names are those of the package URL standard, which name no host.
"""

import json
import re
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from environment.place import LOCK

ENTRY = re.compile(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)(.*(?:\n    --hash.*)*)", re.MULTILINE)
HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
NOT_SAID = "not said by the package"
LONGEST = 60  # a whole licence text in place of its name has more


def list_libraries(lock: Path = LOCK) -> list[dict]:
    """The libraries of a lock in their order: name, version and SHA-256 of each file that may be
    installed."""
    return [
        {"name": name, "version": version, "hashes": HASH.findall(rest)}
        for name, version, rest in ENTRY.findall(lock.read_text("utf-8"))
    ]


def find_licence(name: str) -> str | None:
    """What an installed library says its licence is; None where it is not installed, as what
    another system needs."""
    try:
        installed = distribution(name)
    except PackageNotFoundError:
        return None
    said = installed.metadata.json
    expression, text = said.get("license_expression"), str(said.get("license") or "").strip()
    classified = [
        line.rpartition("::")[2].strip()
        for line in said.get("classifier") or []
        if line.startswith("License ::")
    ]
    short = text if "\n" not in text and len(text) <= LONGEST else ""
    return (
        str(expression or "")
        or " or ".join(classified)
        or short
        or _read_title(installed)
        or NOT_SAID
    )


def _read_title(installed: Distribution) -> str:
    """The first line of the licence that lies beside an installed library."""
    for path in installed.files or ():
        if "licen" in path.name.lower():
            return path.read_text("utf-8").strip().partition("\n")[0]
    return ""


def describe_libraries(name: str, version: str, lock: Path = LOCK) -> str:
    """The bill of a program and its version as CycloneDX in JSON; the same libraries give the same
    bytes."""
    components = []
    for library in list_libraries(lock):
        licence = find_licence(library["name"])
        component = {
            "type": "library",
            "bom-ref": f"pkg:pypi/{library['name']}@{library['version']}",
            "name": library["name"],
            "version": library["version"],
            "purl": f"pkg:pypi/{library['name']}@{library['version']}",
            "hashes": [{"alg": "SHA-256", "content": digest} for digest in library["hashes"]],
        }
        if licence:
            component["licenses"] = [{"license": {"name": licence}}]
        components.append(component)
    bill = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {"component": {"type": "application", "name": name, "version": version}},
        "components": components,
    }
    return json.dumps(bill, indent=1) + "\n"
