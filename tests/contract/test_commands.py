"""Command lines in the documents would be understood: by the parsers of the tools,
of the workflow and of the tests themselves."""

import argparse
import re
import shlex
from functools import cache
from importlib.util import find_spec

import pytest
from snakemake.cli import get_argument_parser

from pipeline.__main__ import TOOLS
from run import list_tools
from tests.contract.test_documents import (
    DOCUMENTS,
    is_command,
    list_code,
    list_tracked,
    read,
    read_sources,
)
from tests.contract.test_floors import ROOT

RUFF = {"check", "format"}
COMMANDS = [
    (document, command)
    for document in DOCUMENTS
    for command in list_code(document)
    if is_command(command)
]


def read_tools() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="./run")
    tools = parser.add_subparsers(required=True)
    for tool in TOOLS:
        tool.add_to(tools)
    return parser


@cache
def list_workflow_options() -> frozenset[str]:
    return frozenset(
        option for action in get_argument_parser()._actions for option in action.option_strings
    )


def list_options(words: list[str]) -> list[str]:
    return [word.partition("=")[0] for word in words if re.match(r"--?[A-Za-z]", word)]


def list_keys(words: list[str]) -> set[str]:
    return {word.partition("=")[0] for word in words if re.match(r"\w+=", word)}


def find_fault(command: str, asked: pytest.Config) -> str:
    """What of a command would not be understood, nothing if all would."""
    words = shlex.split(re.split(r"\s{2,}", command.replace("py run.py", "./run"))[0])
    words[0] = words[0].removeprefix(".venv/bin/")
    if words[0] == "./run" and words[1:2] and words[1] in list_tools():
        return find_fault_of_tool(words[1:])
    if words[:2] == ["./run", "test"] or words[0] == "pytest":
        return find_unknown_to_pytest(words, asked)
    if words[0] in ("./run", "snakemake"):
        return find_fault_of_workflow(words[1:])
    if words[0] == "ruff":
        return "" if words[1:2] and words[1] in RUFF else "no command of ruff"
    if words[0] == "snakefmt":
        there = all((ROOT / word).exists() for word in words[1:] if word != "--check")
        return "" if words[1:] and there else "not as snakefmt is called"
    if words[0] == "mypy":
        return "mypy is told all by pyproject.toml" if words[1:] else ""
    return find_fault_of_module(words[2:]) if words[:2] == ["python", "-m"] else ""


def find_fault_of_tool(words: list[str]) -> str:
    """A tool that is only named need not have what it asks for."""
    if words[1:]:
        try:
            read_tools().parse_args(words)
        except SystemExit as end:
            return "not as the tool is called" if end.code else ""
    return ""


def find_unknown_to_pytest(words: list[str], asked: pytest.Config) -> str:
    for option in list_options(words):
        try:
            asked.getoption(option)
        except ValueError:
            return f"{option} is no option of pytest"
    return ""


def find_fault_of_workflow(words: list[str]) -> str:
    known = set(re.findall(r"\w+", re.search(r"set\(config\) - \{(.+?)\}", read("Snakefile"))[1]))
    if not list_keys(words) <= known:
        return "no key of the workflow"
    if words[:1] and not re.match(r"-|.*[/.\\]", words[0]):
        return "no tool"
    return (
        "" if set(list_options(words)) <= list_workflow_options() else "no option of the workflow"
    )


def find_fault_of_module(words: list[str]) -> str:
    module, options = words[0], list_options(words[1:])
    if not find_spec(module):
        return "no such module"
    source = "\n".join(
        read(path) for path in list_tracked() if path.startswith(module.replace(".", "/"))
    )
    return (
        ""
        if all(option in source or option == "--help" for option in options)
        else "no option of the module"
    )


@pytest.mark.parametrize(("document", "command"), COMMANDS)
def test_every_command_is_understood(document, command, pytestconfig, capsys):
    assert find_fault(command, pytestconfig) == ""


@pytest.mark.parametrize(
    "command",
    [
        "./run chekc S03_001.xlsx",
        "./run check S03_001.xlsx --marks",
        "./run template --filed",
        "./run explain S03",
        "./run --config previous=DIR",
        "./run --drie-run",
        "./run test --hypothesis-profil=search",
        ".venv/bin/ruff chekc .",
        ".venv/bin/snakefmt --chek Snakefile",
        ".venv/bin/snakefmt Snakefil",
        ".venv/bin/mypy pipline",
        "python -m tests.recovry run",
        "python -m tests.corpus --hold",
    ],
)
def test_a_command_that_would_not_be_understood_is_found(command, pytestconfig, capsys):
    assert is_command(command)
    assert find_fault(command, pytestconfig)


def test_options_that_are_named_alone_exist():
    options = [
        word
        for document in DOCUMENTS
        for word in list_code(document)
        if re.fullmatch(r"--[a-z-]+", word)
    ]
    assert options
    assert [option for option in options if option not in read_sources()] == []


@pytest.mark.parametrize("name", [*DOCUMENTS, "Snakefile", "run.py"])
def test_config_keys_that_are_named_exist(name):
    settings = re.findall(r"--config ((?:\w+=\S+ ?)+)", (ROOT / name).read_text("utf-8"))
    assert [keys for keys in settings if find_fault_of_workflow(["--config", *keys.split()])] == []
