"""The folder of results: whose run writes to it, who may read it, and whether what lies in it is as
it was made.

A step leaves a seal: fingerprints of what it wrote and of what it was made of. What has no seal was
not finished, and what differs from its seal was changed, damaged or made of something else: both
are made anew, whatever their times and from whichever working folder the next run is started.
"""

import getpass
import hashlib
import json
import os
import platform
import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, TextIO

from environment.make import take

RELEASES = "release"  # each that was made, in a folder of its number
ORDINARY = ("estimates", "reports", RELEASES)  # what may leave
OWN = ("rows", "intake", "unreleased", "sites", "logs", "ledger", "seals")  # records of patients
WAREHOUSE = "warehouse.duckdb"  # beside the folders, and of records too
OWNER_ONLY = 0o077  # umask: neither the group nor others
RULES = "rules.json"
BRACES = "{}"  # Snakemake takes what is between them for a wildcard


class Unusable(Exception):
    """A run cannot use the folder; the message is a sentence for whoever started it."""


@dataclass(frozen=True)
class Made:
    """What a rule makes.

    Attributes
    ----------
    outputs
        Files and folders.
    made_of
        SHA-256 of what it is made of that lies outside of the results.
    """

    outputs: tuple[str, ...]
    made_of: str


def prepare_folders(results: Path) -> TextIO:
    """Make the folder, take it for this run, and let what is written from now on be its owner's.

    Parameters
    ----------
    results
        The folder. It and what may leave have the rights of the caller's umask, everything else is
        its owner's alone.

    Returns
    -------
    TextIO
        Open as long as the run has the folder: its lock ends with the process, however that ends.

    Raises
    ------
    Unusable
        Where it takes no files, or another run has it.
    """
    try:
        for name in ("", *ORDINARY):
            (results / name).mkdir(parents=True, exist_ok=True)
        os.umask(OWNER_ONLY)  # of this process and of the steps that it starts
        for name in OWN:
            (results / name).mkdir(mode=0o700, exist_ok=True)
            limit_rights(results / name)
        limit_rights(results / WAREHOUSE)
        lock = (results / "seals" / "run.lock").open("a")
        note = results / "seals" / "run.txt"
        if not take(lock.fileno()):
            raise Unusable(
                f"Another run is writing to results={results}: {note.read_text('utf-8')}. Wait "
                "until it has ended, or choose another folder for these results."
            )
        since = datetime.now().astimezone().isoformat(" ", "minutes")
        note.write_text(f"process {os.getpid()} on {platform.node()}{_by()}, since {since}")
        return lock
    except OSError as fault:
        raise Unusable(
            f"Nothing can be written to results={results}: {fault.strerror or fault}. Nothing was "
            "done."
        ) from None


def _by() -> str:
    """Who runs this, where the system knows it."""
    with suppress(OSError, KeyError, ImportError):
        return f", started by {getpass.getuser()}"
    return ""


def limit_rights(path: Path) -> None:
    """Take the group's and the others' rights away, where somebody has given them; what belongs to
    another user keeps its rights."""
    with suppress(FileNotFoundError, PermissionError):
        mode = path.stat().st_mode & 0o777
        if mode & OWNER_ONLY:
            path.chmod(mode & ~OWNER_ONLY)


def share_rights(path: Path) -> None:
    """Give a file or folder the rights of the folder that it lies in."""
    mode = path.parent.stat().st_mode & 0o777
    path.chmod(mode if path.is_dir() else mode & 0o666)


def describe_rules(results: Path, rules: Iterable[Any]) -> dict[str, Made]:
    """By name what Snakemake's rules make.

    What is made of other results changes with them; everything else counts by its content. A
    parameter `state` stands for deliveries, and `plan` for parts of the plan.
    """
    described = {}
    for rule in rules:
        if rule.output:
            stated = [str(getattr(rule.params, name, "")) for name in ("state", "plan")]
            made_of = hashlib.sha256("".join(stated).encode())
            for path in sorted(map(str, rule.input)):
                if results not in Path(path).parents:
                    made_of.update(_fingerprint_once(Path(path)).encode())
            described[rule.name] = Made(tuple(map(str, rule.output)), made_of.hexdigest())
    return described


def find_unsound(results: Path, rules: dict[str, Made]) -> dict[str, bool]:
    """The outputs that must be made anew, each with whether it is there and was changed since it
    was made."""
    unsound = {}
    for name, made in rules.items():
        seal = _read_seal(results, name)
        if seal.get("made_of") != made.made_of:
            unsound[made.outputs[0]] = False
        for path, digest in seal.get("files", {}).items():
            file = results / path
            if not file.exists() or fingerprint(file) != digest:
                output = next((o for o in made.outputs if Path(o) in (file, *file.parents)), None)
                if output:
                    unsound[output] = unsound.get(output, False) or file.exists()
    return {path: changed for path, changed in unsound.items() if Path(path).exists()}


def remove(path: Path) -> None:
    """Take a file or folder of results away, so that it is made anew."""
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def write_rules(results: Path, rules: dict[str, Made]) -> None:
    """Leave to the steps what each of them makes."""
    listed = {name: [made.outputs, made.made_of] for name, made in rules.items()}
    (results / "seals" / RULES).write_text(json.dumps(listed, indent=0), "utf-8")


@contextmanager
def sealing(seal: Path) -> Iterator[None]:
    """A step at work: alone, since a step of a run that was killed may still be writing; what it
    made gets its rights and, when it ends well, its seal."""
    with seal.with_suffix(".lock").open("a") as lock:
        while not take(lock.fileno()):
            time.sleep(0.2)
        seal.unlink(missing_ok=True)
        outputs, made_of = json.loads((seal.parent / RULES).read_text("utf-8"))[seal.stem]
        yield
        results = seal.parent.parent
        files = {}
        for output in map(Path, outputs):
            within = sorted(output.rglob("*")) if output.is_dir() else []
            for path in (output, *within):
                if path.relative_to(results).parts[0] in ORDINARY:
                    share_rights(path)
                if path.is_file():
                    files[path.relative_to(results).as_posix()] = fingerprint(path)
        written = json.dumps({"made_of": made_of, "files": files}, indent=0)
        seal.with_suffix(".part").write_text(written, "utf-8")
        os.replace(seal.with_suffix(".part"), seal)


def fingerprint(path: Path) -> str:
    """A SHA-256 over the bytes of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


# of our own files and of the plan, which many rules share
_fingerprint_once = cache(fingerprint)


def _read_seal(results: Path, name: str) -> dict:
    """What a step left; nothing where it did not end, or its seal cannot be read."""
    try:
        seal = json.loads((results / "seals" / f"{name}.json").read_text("utf-8"))
        return seal if isinstance(seal, dict) else {}
    except (OSError, ValueError):
        return {}
