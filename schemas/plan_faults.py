"""What is wrong with a file of the plan, as sentences with its line.

They quote the plan, which holds no record of a patient.
"""

import difflib
import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Union, get_args, get_origin

import yaml
from pydantic import BaseModel, ValidationError

MOST = 20  # faults that are told at once
PLAINLY = {  # pydantic's words for types, as patterns
    "a valid integer": "a whole number",
    "a valid number": "a number",
    "a valid string": "a text",
    "a valid boolean": "true or false",
    "a valid tuple": "a list",
    "a valid list": "a list",
    r"a valid dictionary( or instance of \w+)?": "keys with values",
}


class PlanFault(ValueError):
    """The plan cannot be followed; the message has a line for each fault,
    with its file and line."""


@dataclass(frozen=True)
class PlanFile:
    """One YAML file: its content, and its nodes, which know their lines."""

    path: Path
    node: yaml.Node | None
    content: Any

    def say(self, location: tuple, sentence: str) -> str:
        """A sentence with the line of the key that `location` leads to,
        or of the nearest key around it."""
        return f"{self.path}, line {find_line(self.node, location)}: {sentence}"


def load_plan_file(path: Path) -> PlanFile:
    """Read a file of the plan; raises PlanFault if it is missing, no YAML,
    or states a key twice."""
    try:
        loader = yaml.CSafeLoader(path.read_text("utf-8"))
        node = loader.get_single_node()
        twice = list(list_stated_twice(node))
        content = loader.construct_document(node) if node else None
    except FileNotFoundError:
        similar = difflib.get_close_matches(
            path.name, [p.name for p in path.parent.glob("*.y*ml")], 1
        )
        raise PlanFault(f"{path} does not exist.{suggest(similar)}") from None
    except UnicodeDecodeError:
        raise PlanFault(f"{path} is not text in UTF-8. Save it as such.") from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        problem = f"{error.problem}" + (f" ({error.context})" if error.context else "")
        raise PlanFault(
            f"{path}, line {mark.line + 1}, column {mark.column + 1}: this is no YAML: {problem}."
        ) from None
    except (yaml.YAMLError, ValueError) as error:
        raise PlanFault(f"{path} is no YAML: {error}") from None
    if twice:
        raise PlanFault(
            "\n".join(f"{path}, line {line}: {key} is stated a second time." for key, line in twice)
        )
    return PlanFile(path, node, content)


def list_stated_twice(node: yaml.Node | None) -> Iterator[tuple[str, int]]:
    """The keys that a mapping states again, each with the line where it does;
    YAML itself would take the last one without a word."""
    if isinstance(node, yaml.MappingNode):
        seen = set()
        for key, value in node.value:
            if key.value in seen and isinstance(key, yaml.ScalarNode):
                yield key.value, key.start_mark.line + 1
            seen |= {key.value} if isinstance(key, yaml.ScalarNode) else set()
            yield from list_stated_twice(value)
    elif isinstance(node, yaml.SequenceNode):
        for member in node.value:
            yield from list_stated_twice(member)


def find_line(node: yaml.Node | None, location: tuple) -> int:
    """The line, from 1, of the key that a location leads to;
    words of a location that are no keys of the file are passed over."""
    line = 1 if node is None else node.start_mark.line + 1
    for step in location:
        if isinstance(node, yaml.MappingNode):
            place = next(
                ((key, value) for key, value in reversed(node.value) if key.value == str(step)),
                None,
            )
            if place:
                line, node = place[0].start_mark.line + 1, place[1]
        elif (
            isinstance(node, yaml.SequenceNode) and isinstance(step, int) and step < len(node.value)
        ):
            node = node.value[step]
            line = node.start_mark.line + 1
    return line


def describe_faults(error: ValidationError, files: dict[str, PlanFile], model: Any) -> PlanFault:
    """What pydantic found, a sentence for each fault.

    A location in `model` begins with the name of a file.
    """
    faults = error.errors(include_url=False)
    misspelt = {
        similar
        for fault in faults
        if fault["type"] == "extra_forbidden"
        for similar in find_near(fault, model)
    }
    lines = []
    for fault in faults:
        name, *path = fault["loc"] or ("",)
        if fault["type"] == "missing" and fault["loc"] in misspelt:
            continue  # told where it is misspelt
        sentence = phrase(fault, tuple(path), model)
        lines.append(files[name].say(tuple(path), sentence) if name in files else sentence)
    more = [f"... and {len(lines) - MOST} more"] if len(lines) > MOST else []
    return PlanFault("\n".join([*lines[:MOST], *more]))


def phrase(fault: Mapping[str, Any], location: tuple, model: Any) -> str:
    """One fault in a sentence, with what may have been meant."""
    key = ".".join(str(step) for step in location if step != "[key]") or "this file"
    if fault["type"] == "extra_forbidden":
        similar = [location[-1] for location in find_near(fault, model)]
        known = "" if similar else f" Known are {', '.join(list_keys(model, fault['loc'][:-1]))}."
        return f"{key} is not known.{suggest(similar)}{known}"
    if fault["type"] == "missing":
        return f"{key} is missing."
    if fault["type"] == "value_error":
        return f"{fault['ctx']['error']}."
    if fault["type"] == "literal_error":
        allowed = re.findall(r"'([^']*)'", fault["ctx"]["expected"])
        similar = difflib.get_close_matches(str(fault["input"]), allowed, 1)
        return (
            f"{key} cannot be {fault['input']!r}.{suggest(similar)} It can be {', '.join(allowed)}."
        )
    message = (
        fault["msg"]
        .split(", ")[0]
        .replace("Input should be", "must be")
        .replace("Input should have", "must have")
    )
    for theirs, ours in PLAINLY.items():
        message = re.sub(theirs, ours, message)
    given = fault["input"]
    is_told = isinstance(given, str | int | float | None)
    return f"{key} {message[0].lower()}{message[1:]}" + (f", and is {given!r}." if is_told else ".")


def suggest(similar: list[str]) -> str:
    """What may have been meant."""
    return f" Did you mean {similar[0]}?" if similar else ""


def find_near(fault: Mapping[str, Any], model: Any) -> list[tuple]:
    """The location of the known key that an unknown one is nearest to, if any is near."""
    *parent, key = fault["loc"]
    return [
        (*parent, name)
        for name in difflib.get_close_matches(str(key), list_keys(model, tuple(parent)), 1)
    ]


def list_keys(model: Any, location: tuple) -> list[str]:
    """The keys that are known at a location."""
    kinds = [model]
    for step in location:
        kinds = [inner for kind in kinds for inner in enter(kind, step)]
    return [name for kind in kinds if is_model(kind) for name in kind.model_fields]


def enter(kind: Any, step: str | int) -> list[Any]:
    """The types that may stand under a key or number of a type."""
    if is_model(kind):
        return unfold(kind.model_fields[step].annotation) if step in kind.model_fields else []
    arguments = get_args(kind)
    if get_origin(kind) is dict:
        return unfold(arguments[1])
    return [inner for argument in arguments if argument is not ... for inner in unfold(argument)]


def unfold(kind: Any) -> list[Any]:
    """The types that an annotation allows."""
    if get_origin(kind) in (Union, types.UnionType):
        return [inner for argument in get_args(kind) for inner in unfold(argument)]
    return unfold(get_args(kind)[0]) if get_origin(kind) is Annotated else [kind]


def is_model(kind: Any) -> bool:
    """Whether a type is a part of the plan with keys of its own."""
    return isinstance(kind, type) and issubclass(kind, BaseModel)
