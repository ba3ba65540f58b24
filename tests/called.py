"""A tool called as at a terminal, for tests: a conftest takes the fixture from here."""

import sys
from collections.abc import Callable

import pytest

from pipeline.__main__ import main


@pytest.fixture
def call(monkeypatch, capsys) -> Callable[..., tuple]:
    """A function from the words behind `./run` to how that tool ends, None for well, and what it
    prints."""

    def run(*words: object) -> tuple:
        monkeypatch.setattr(sys, "argv", ["run", *map(str, words)])
        try:
            code = main()
        except SystemExit as end:
            code = end.code
        return code, capsys.readouterr().out

    return run
