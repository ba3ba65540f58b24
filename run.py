"""The command line of everything: the workflow, the tools, the tests.

`./run` finds a Python and starts this; on Windows: `py run.py`.

It needs nothing but Python's own library, since it runs before anything is installed.
"""

import sys

if not (3, 11) <= sys.version_info[:2] <= (3, 13):
    sys.exit("Python 3.11, 3.12 or 3.13 is needed, and this is {}.{}.".format(*sys.version_info))

import os
from pathlib import Path

from environment.place import PYTHON, ROOT, WINDOWS, is_made
from environment.variables import surround

CALL = "py run.py" if WINDOWS else "./run"
TOOLS = ROOT / "pipeline" / "commands"
FITS, LACKS_VENV, WRONG_USE, NO_ENVIRONMENT, INTERRUPTED = (
    0,
    3,
    64,
    69,
    130,
)  # tools have exit codes of their own below 4
# In place of profiles/default, which Snakemake announces and looks for beside the caller first.
# What the caller says comes later and wins.
PLAINLY = (
    "--workflow-profile",
    "none",
    "--logger",
    "plain",
    "--cores",
    "all",
    "--rerun-incomplete",
    "--nolock",  # the results have a lock of their own, which ends with the run
)
HELP = """\
{call}                                        run the demonstration pool to finished reports
{call} --config submissions=DIR results=DIR2  run your pool
{call} --config plan=DIR                      with a changed copy of config/
{call} --dry-run                              say what would run
{call} results/estimates/FILE.csv             make one file, and what it needs

{tools}
{call} test [OPTIONS]  run the tests; options are those of pytest

{call} TOOL --help says more about a tool. Options of the workflow are those of Snakemake.
The first call makes the environment in .venv, which takes about a minute; \
PYTHON=python3.12 {call} chooses its Python."""


def main(words: list[str]) -> None:
    """Do what the words of the command line ask for."""
    first = words[0] if words else ""
    if first == "--fits":
        say_whether_it_fits()
    elif first in ("--help", "-h"):
        print(HELP.format(call=CALL, tools=describe_tools()))
    elif first == "--version":
        print(read_version())
    elif first == "test":
        start(["-m", "pytest", *(words[1:] or ["-n", "logical"])], ROOT)
    elif first in list_tools():
        start(["-m", "pipeline", *words])
    elif not first or first.startswith("-") or {"/", "\\", "."} & set(first):
        start(
            [
                "-m",
                "snakemake_logger_plugin_plain",
                "--snakefile",
                str(ROOT / "Snakefile"),
                *PLAINLY,
                *words,
            ]
        )
    else:
        complain(first)


def say_whether_it_fits() -> None:
    """Answer `./run`, which asks each Python that it finds: its full path,
    since a name may be a slow shim, and an exit code."""
    from environment.make import find_installers

    print(sys.executable)
    sys.exit(FITS if find_installers() else LACKS_VENV)


def list_tools() -> dict[str, str]:
    """What `python -m pipeline` knows, each with the first line of its module,
    read without importing anything."""
    texts = {path.stem: path.read_text("utf-8") for path in sorted(TOOLS.glob("*.py"))}
    return {
        name: text.strip('"').partition("\n")[0].rstrip('"')
        for name, text in texts.items()
        if "\ndef add_to(" in text
    }


def describe_tools() -> str:
    """A line for each tool."""
    tools = list_tools()
    width = max(map(len, [*tools, "test [OPTIONS]"]))
    return "\n".join(f"{CALL} {name:{width}}  {says}" for name, says in tools.items())


def read_version() -> str:
    """The version of the project, which stands in `pipeline/__init__.py`."""
    return (
        (ROOT / "pipeline" / "__init__.py")
        .read_text("utf-8")
        .partition('__version__ = "')[2]
        .partition('"')[0]
    )


def complain(word: str) -> None:
    """End with a sentence on a word that is no tool, and what may have been meant."""
    import difflib

    near = difflib.get_close_matches(word, ["test", *list_tools()], 1)
    say(
        f"{CALL} knows no {word}. {f'Did you mean {near[0]}? ' if near else ''}{CALL} --help says "
        "what there is."
    )
    sys.exit(WRONG_USE)


def start(arguments: list[str], folder: Path | None = None) -> None:
    """Run the environment's Python, made beforehand if need be,
    in a folder (default: where the caller is), and end as it ends."""
    if not is_made():
        make()
    command = [str(PYTHON), *arguments]
    os.chdir(folder or ".")
    if not WINDOWS:
        os.execve(PYTHON, command, surround())
    import subprocess

    try:
        sys.exit(subprocess.run(command, env=surround(), check=False).returncode)
    except KeyboardInterrupt:  # the child was told as well, and says so
        sys.exit(INTERRUPTED)


def make() -> None:
    """Make the environment; what is in the way ends with a sentence."""
    from environment.make import NotMade, make_environment

    try:
        make_environment(say)
    except NotMade as fault:
        say(str(fault))
        sys.exit(NO_ENVIRONMENT)
    except KeyboardInterrupt:
        say("Stopped. The next start makes the environment anew.")
        sys.exit(INTERRUPTED)


def say(text: str) -> None:
    """A line for whoever watches, not mixed with what a tool prints."""
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
