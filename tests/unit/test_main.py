"""Every tool at a terminal: no message of a library reaches it, since it could quote a record,
and none of its faults looks like a verdict."""

import subprocess
import sys

import pytest

from pipeline import __main__ as terminal
from pipeline.sources import ROOT
from schemas.plan_faults import PlanFault

NAMES = [tool.__name__.rpartition(".")[2] for tool in terminal.TOOLS]


@pytest.fixture
def end(monkeypatch, capsys):
    """A function from a tool's name and what it meets to its exit code and what was said."""

    def run(name, fault):
        def meet(_):
            raise fault

        tool = next(t for t in terminal.TOOLS if t.__name__.endswith(f".{name}"))
        monkeypatch.setattr(
            tool, "add_to", lambda tools: tools.add_parser(name).set_defaults(run=meet)
        )
        monkeypatch.setattr(sys, "argv", ["run", name])
        with pytest.raises(SystemExit) as ended:
            terminal.main()
        return ended.value.code, "".join(capsys.readouterr())

    return run


@pytest.mark.parametrize("name", NAMES)
def test_a_fault_is_told_without_its_message(end, name):
    code, message = end(name, ValueError("could not read 'MEIER 1952'"))
    assert code == 3
    assert "MEIER" not in message
    assert "ValueError" in message


@pytest.mark.parametrize("name", NAMES)
def test_a_fault_of_the_plan_is_told_whole(end, name):
    assert end(name, PlanFault("study.yaml, line 3: horizn is not known.")) == (
        3,
        "study.yaml, line 3: horizn is not known.\n",
    )


@pytest.mark.parametrize("name", NAMES)
def test_stopping_is_no_fault(end, name):
    assert end(name, KeyboardInterrupt()) == (130, "Stopped.\n")


HELP = """import sys
from pipeline.__main__ import main
try:
    main()
finally:
    print(sorted({name.partition(".")[0] for name in sys.modules}
                 & {"duckdb", "jinja2", "numpy", "openpyxl", "pandas", "pydantic", "yaml"}))
"""


@pytest.mark.parametrize("words", [["--help"], *([name, "--help"] for name in NAMES)], ids=" ".join)
def test_help_waits_for_no_library(words):
    done = subprocess.run(
        [sys.executable, "-c", HELP, *words], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert "usage: " in done.stdout
    assert done.stdout.endswith("\n[]\n")
