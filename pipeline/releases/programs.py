"""The program of an earlier release: found in the project's history by its fingerprint, so that it
is the same to the byte, whatever a commit is called, and unpacked into a folder of its own."""

import hashlib
import io
import subprocess
import tarfile
from pathlib import Path, PurePosixPath

from pipeline.sources import (
    OWN_ROOMS,
    ROOT,
    WORKFLOW,
    combine_digests,
    fingerprint_code,
    is_own_file,
)

LOCK = "requirements.lock"


class NoProgram(Exception):
    """The program of a release is not at hand; the message is a sentence."""


def find_program(fingerprint: str, place: Path, root: Path = ROOT) -> Path:
    """The folder of the program with a fingerprint.

    Parameters
    ----------
    fingerprint
        As a release says it.
    place
        Folder that does not exist yet, for the program if it is not the one in `root`.
    root
        The project, with its history.

    Returns
    -------
    Path
        `root` itself or `place`.

    Raises
    ------
    NoProgram
        If it is neither what lies in `root` nor any commit of its history.
    """
    if root == ROOT and fingerprint == fingerprint_code():
        return root
    commit = find_commit(fingerprint, root)
    if commit is None:
        raise NoProgram(
            f"The program with the fingerprint {fingerprint[:12]}... is not this one, and in no "
            "commit of the project's history. Name the folders of both programs: --programs."
        )
    place.mkdir()
    with tarfile.open(fileobj=io.BytesIO(_git(root, "archive", commit))) as archive:
        archive.extractall(place, filter="data")
    return place


def find_commit(fingerprint: str, root: Path) -> str | None:
    """The newest commit whose program has a fingerprint; None if there is none, or no history."""
    own = ("--", *OWN_ROOMS, WORKFLOW)
    try:
        commits = _git(root, "rev-list", "--all", "--full-history", *own).decode().split()
    except (OSError, subprocess.CalledProcessError):
        return None
    digests: dict[str, bytes] = {}  # by the name of a content
    for commit in commits:
        listed = _git(root, "ls-tree", "-r", "-z", commit, *own).decode("utf-8", "surrogateescape")
        lines = [line.partition("\t") for line in listed.split("\0") if line]
        contents = {
            PurePosixPath(name): described.split()[2]
            for described, _, name in lines
            if is_own_file(PurePosixPath(name))
        }
        digests |= _digest(root, sorted(set(contents.values()) - digests.keys()))
        if combine_digests({path: digests[name] for path, name in contents.items()}) == fingerprint:
            return commit
    return None


def _digest(root: Path, names: list[str]) -> dict[str, bytes]:
    """The SHA-256 of contents by the names that the history has for them."""
    asked = "".join(f"{name}\n" for name in names).encode()
    answer = io.BytesIO(_git(root, "cat-file", "--batch", given=asked))
    digests = {}
    for name in names:
        size = int(answer.readline().split()[2])
        digests[name] = hashlib.sha256(answer.read(size)).digest()
        answer.read(1)  # the end of its line
    return digests


def _git(root: Path, *words: str, given: bytes = b"") -> bytes:
    done = subprocess.run(
        ["git", "-C", str(root), *words],
        input=given,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        check=True,
    )
    return done.stdout


def has_other_lock(program: Path) -> bool:
    """Whether a program was made for other libraries than the present one."""
    return (program / LOCK).read_bytes() != (ROOT / LOCK).read_bytes()
