"""What a trace says, in lines."""

import ast
import importlib
import inspect
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill, shorten

import pandas as pd

from pipeline.disclosure.people import PUBLISHED, Described, describe_row
from pipeline.releases.package import Package
from pipeline.sources import ROOT, find_imports, fingerprint_code, fingerprint_plan, locate
from pipeline.trace.released import COLUMNS, Printed
from pipeline.trace.rerun import HAS_EVENT, Members, Rerun
from schemas.declared import PLAN
from schemas.quantities import KINDS, OF_SESSIONS
from schemas.warehouse import SINGULAR, model_of

WIDTH, INDENT, LONGEST = 100, "  ", 300
# kinds of numbers that are those who are counted, or a part of them: nothing is fitted
COUNTED = ("count", "number", "share", "part", OF_SESSIONS)
ROOMS = ("analyses", "statistics", "adjudication", "derivation")


def say_printed(printed: Printed, package: Package) -> Iterator[str]:
    """What is released, whom it counts and how it was found."""
    row = printed.row
    narrowed = [f"{name} {row[name]}" for name in COLUMNS if row[name]]
    yield f"{row['term']} of {row['stratum']} ({', '.join(narrowed)})"
    yield f"{INDENT}release {package.number}, {printed.path}, line {printed.line}"
    limits = f" ({row['lower']} to {row['upper']})" if row["lower"] or row["upper"] else ""
    yield f"{INDENT}printed: {row['estimate'] or 'no number'}{limits}, status {row['status']}"
    if row["note"]:
        yield _wrap(f"note: {row['note']}")
    if row["rounded"]:
        yield f"{INDENT}rounded: {row['rounded']}"
    yield _wrap(f"method: {row['method']}")
    if row["population"] == PUBLISHED:
        yield _wrap("It is a result printed in a paper: config/published.yaml has its source.")
        return
    described = describe_row(
        row["analysis"], row["population"], row["endpoint"], row["stratum"], row["term"], {}
    )
    kind = KINDS[described.quantity.kind]
    yield _wrap(f"is: {described.quantity.words.format_map(dict(described.parameters))}")
    yield _wrap(f"kind: {described.quantity.kind}, {kind.means}")
    yield from _say_base(row, described)


def _say_base(row: dict[str, str], described: Described) -> Iterator[str]:
    """Whom the counts of a row count, and whether its number is a count or an answer."""
    for column, people in (("n_episodes", described.episodes), ("n_events", described.events)):
        of = f" of “{people.say()}”" if people else ""
        if row[column]:
            yield _wrap(f"{column}: {row[column]}{of}")
        elif of:
            yield _wrap(f"{column}: not released{of}")
    if row["n_sites"]:
        yield f"{INDENT}n_sites: {row['n_sites']}"
    text = PLAN[row["analysis"]].text
    if described.quantity.kind in COUNTED:
        yield _wrap("It is counted: nothing is fitted.")
    else:
        yield _wrap(f"It is an answer of an estimator ({text.estimator})")
    yield _wrap(f"rows that enter this analysis: {text.population}")


def say_code(analysis: str) -> Iterator[str]:
    """Where an analysis stands, what it is given, and what of ours it calls."""
    module, function = PLAN[analysis].function.split(":")
    path = locate(module)
    assert path is not None
    yield "Code"
    yield f"{INDENT}{_relative(path)}:{find_line(path, function)} {function}"
    for name in _list_parameters(module, function):
        meaning = model_of(name).row_meaning() if name in SINGULAR else ""
        yield _wrap(f"reads {name}{f': {meaning}' if meaning else ''}")
    near = (locate(name) for name in sorted(find_imports(path)))
    called = [
        _relative(other)
        for other in near
        if other is not None
        and other.stem != "__init__"
        and other.parent.parts[-1:] != ("schemas",)
        if any(f"/{room}/" in f"/{_relative(other)}" for room in ROOMS)
    ]
    if called:
        yield _wrap(f"calls {', '.join(called)}")


def find_line(path: Path, function: str) -> int:
    """The line on which a function of a file is defined."""
    return next(
        node.lineno
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name == function
    )


def _list_parameters(module: str, function: str) -> list[str]:
    return list(inspect.signature(getattr(importlib.import_module(module), function)).parameters)


def say_sources(package: Package, plan: Path) -> Iterator[str]:
    """Whether plan and program here are those of the release."""
    here = {"plan": fingerprint_plan(plan), "program": fingerprint_code()}
    there = {"plan": package.made_from.get("plan"), "program": package.made_from.get("code")}
    for name, value in here.items():
        if value == there[name]:
            yield f"{INDENT}the {name} here is that of the release"
        else:
            yield f"{INDENT}the {name} here is NOT that of the release"


def say_plan(rerun: Rerun) -> Iterator[str]:
    """The values of the plan that an analysis read."""
    yield "Plan: what the analysis read of it"
    for place, values in rerun.plan.items():
        if len(values) > 1:
            yield _wrap(f"{place}: of {len(values)} entries")
        else:
            yield _wrap(f"{place}: {shorten(str(values[0]), LONGEST, placeholder=' ...')}")
    if not rerun.plan:
        yield f"{INDENT}nothing"


def say_rerun(rerun: Rerun, place: int, stated: str) -> Iterator[str]:
    """What the same row is when it is computed again from the store, and of how many of each
    site."""
    row = rerun.estimates.iloc[place]
    again = row["estimate"]
    same = stated == "" if pd.isna(again) else stated != "" and float(stated) == float(again)
    yield "Store"
    if pd.isna(again):
        yield f"{INDENT}computed again: no number, status {row['status']}"
    else:
        yield f"{INDENT}computed again, before protection: {again:.6g}"
    yield f"{INDENT}{'the same as' if same else 'NOT the same as'} before the release"
    read = ", ".join(f"{name} {number:,}" for name, number in rerun.rows_read.items())
    yield _wrap(f"rows read: {read}")
    for column in ("n_episodes", "n_events"):
        if pd.notna(row[column]):
            yield f"{INDENT}{column}: {row[column]:,}"


def say_sites(members: Members) -> Iterator[str]:
    """How many episodes of each site a row counts."""
    if members.by_site:
        what = "episodes, and after a slash those with the event" if "/" in members.by_site else ""
        yield _wrap(f"by site{f' ({what})' if what else ''}: {members.by_site}")
    else:
        yield f"{INDENT}by site: not told by this analysis"
    if members.episodes is None:
        yield _wrap("Which episodes these are is not told by this analysis.")
    elif HAS_EVENT in members.episodes:
        yield f"{INDENT}which they are, and which had the event, is known: --episodes FILE"
    else:
        yield f"{INDENT}which they are is known: --episodes FILE"


def _relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def _wrap(text: str) -> str:
    return fill(
        text,
        WIDTH,
        initial_indent=INDENT,
        subsequent_indent=INDENT * 3,
        break_long_words=False,
        break_on_hyphens=False,
    )
