"""Makes the environment: every package is checked against its hash in requirements.lock."""

import contextlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import time
import venv
from collections.abc import Callable, Iterator
from pathlib import Path

from environment.place import LOCK, MADE_FROM, PYTHON, ROOT, VENV, WINDOWS, describe, is_made
from environment.variables import isolate

Say = Callable[[str], None]


class NotMade(Exception):
    """The environment could not be made; the message is a sentence for whoever started it."""


def make_environment(say: Say) -> None:
    """Make the environment unless it is made; of several starts at once one does.

    Raises NotMade with a sentence.
    """
    try:
        with hold(ROOT / ".venv.lock", say):
            if not is_made():
                build(say)
    except OSError as fault:
        raise NotMade(
            f"No environment can be made in {ROOT}: {fault.strerror or fault}. A copy in another "
            "folder will do."
        ) from None


@contextlib.contextmanager
def hold(path: Path, say: Say) -> Iterator[None]:
    """Hold a file's lock, which ends with this process and the installer that it started;
    wait while another holds it."""
    with path.open("a") as file:
        os.set_inheritable(file.fileno(), True)
        if not take(file.fileno()):
            say("Another start is making the environment; waiting for it ...")
            while not take(file.fileno()):
                time.sleep(0.2)
        yield


def take(descriptor: int) -> bool:
    """Take the lock of an open file; False if another process has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def build(say: Say) -> None:
    """Make the environment anew; the note of what it is made from comes last,
    so that whatever was interrupted is begun again."""
    installers = find_installers()
    if not installers:
        name = "python{}.{}".format(*sys.version_info)
        raise NotMade(
            f"{name} lacks venv. Debian, Ubuntu: sudo apt install {name}-venv. Without rights: "
            "install uv (docs.astral.sh/uv)."
        )
    say(
        f"Making the environment in {VENV} with Python {sys.version.split()[0]}, once; it takes "
        "about a minute ..."
    )
    began, said = time.monotonic(), ""
    for with_pip, command in installers:
        if VENV.is_symlink():
            VENV.unlink()
        elif VENV.exists():
            shutil.rmtree(VENV)
        venv.EnvBuilder(with_pip=with_pip, symlinks=not WINDOWS).create(VENV)
        said = install(command)
        if not said:
            MADE_FROM.write_bytes(describe())
            say(f"The environment is ready after {time.monotonic() - began:.0f} s.")
            return
        if "hash" in said.lower():
            break
    say(said)
    if "hash" in said.lower():
        raise NotMade(
            "A package is not the one that requirements.lock names by its hash. Nothing of it is "
            "used."
        )
    raise NotMade(
        "The packages could not be installed: the lines above say why. Behind a mirror, name it as "
        "pip and uv are told (pip.conf, PIP_INDEX_URL, UV_DEFAULT_INDEX); without a network, name "
        "a folder of wheels (PIP_NO_INDEX=1 PIP_FIND_LINKS=DIR)."
    )


def find_installers() -> list[tuple[bool, list[str]]]:
    """The commands that can install into the environment, best first,
    as far as this machine has them, and whether they need its pip."""
    uv = shutil.which("uv")
    found = [(False, [uv, "pip", "install", "--python", str(PYTHON)])] if uv else []
    pip = importlib.util.find_spec("ensurepip")
    if pip and pip.origin:  # an empty folder of that name has none
        options = ("--use-pep517", "--no-compile", "--disable-pip-version-check", "--no-input")
        found.append((True, [str(PYTHON), "-m", "pip", "install", *options]))
    return found


def install(command: list[str]) -> str:
    """Install what the lock names, first of all what builds the few packages that come as source.

    What was said if it failed.
    """
    builder = VENV / "builder.lock"
    named = re.findall(r"^setuptools==.*\n(?: .*\n)*", LOCK.read_text("utf-8"), re.MULTILINE)
    builder.write_text("".join(named), "utf-8")
    for lock in (builder, LOCK):
        done = subprocess.run(
            [*command, "--require-hashes", "--no-build-isolation", "--requirement", str(lock)],
            env=isolate(),
            cwd=ROOT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            errors="replace",
            close_fds=False,  # it keeps the lock even if this process is killed
            check=False,
        )
        if done.returncode:
            return done.stdout or "The installer ended without a word."
    return ""
