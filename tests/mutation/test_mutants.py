"""Mutants change what decides, one thing at a time, and leave words and types alone."""

import ast
from pathlib import Path

import pytest

from pipeline.sources import find_sources
from tests.mutation.__main__ import COPIED, ROOT, TARGETS
from tests.mutation.mutants import list_mutants

MODULE = '''"""What it does."""
import os
LEAST: int = 3

@cache
def judge(number: "int" = 2) -> str:
    """Whether it is enough."""
    if number < LEAST and not os.sep:
        raise ValueError(f"{number} is too few")
    total = number + 1
    return "a" if number else "some words"
'''


def say(text: str) -> list[str]:
    return [mutant.says for mutant in list_mutants(text)]


def test_every_mutant_differs_from_the_module_and_from_every_other():
    plain = ast.unparse(ast.parse(MODULE))
    texts = [mutant.text for mutant in list_mutants(MODULE)]
    assert plain not in texts
    assert len(set(texts)) == len(texts)
    for text in texts:
        compile(text, "mutant", "exec")


def test_docstrings_imports_annotations_decorators_and_words_stay():
    for mutant in list_mutants(MODULE):
        for kept in ("What it does.", "import os", "LEAST: int", "@cache", "number: 'int'"):
            assert kept in mutant.text
        for kept in ("Whether it is enough.", "-> str"):
            assert kept in mutant.text


@pytest.mark.parametrize(
    ("text", "changes"),
    [
        ("a < b", {"a < b -> a <= b"}),
        ("a < b == c", {"a < b == c -> a <= b == c", "a < b == c -> a < b != c"}),
        ("a and b", {"a and b -> a or b"}),
        ("not a", {"not a -> a"}),
        ("~a", {"~a -> a"}),
        ("a - b", {"a - b -> a + b"}),
        ("a ** b", set()),
        ("x[1]", {"1 -> 2"}),
        ("f(True)", {"True -> False"}),
        ("f('canal')", {"'canal' -> 'canalx'"}),
        ("f('some words')", set()),
        ("f(None)", set()),
        ("f(f'{a} is {b + 1}')", set()),
    ],
)
def test_each_sign_is_changed_as_somebody_might_get_it_wrong(text, changes):
    assert set(say(f"def f():\n    return {text}")) == {
        *changes,
        f"return {text} -> return None",
    }


def test_statements_are_left_out():
    assert say("if a:\n    b = c\n    f(b)\n    b += c") == [
        "b = c -> pass",
        "f(b) -> pass",
        "b += c -> pass",
    ]


def test_lines_are_those_of_the_module():
    assert {mutant.line for mutant in list_mutants(MODULE)} == {3, 6, 8, 9, 10, 11}


@pytest.mark.parametrize("module", TARGETS)
def test_what_the_tests_of_a_module_import_is_copied(module):
    tests = [Path(test).with_suffix("") for test in TARGETS[module]]
    sources = {path for test in tests for path in find_sources(".".join(test.parts))}
    folders = {Path(path).relative_to(ROOT).parts[0] for path in sources}
    assert {"tests", "pipeline", "schemas"} <= folders <= set(COPIED)
