"""The house stands: who may import whom, which library lives in which room,
and how long a file may be."""

import ast
from pathlib import Path

import pytest

from pipeline.sources import find_imports, find_sources

ROOT = Path(__file__).parent.parent.parent
FLOORS = [  # from the ground up: a part imports only from those before it
    "sources",
    "results",
    "intake",
    "coordinator",
    "warehouse",
    "adjudication",
    "explain",
    "derivation",
    "statistics",
    "analyses.covariates",
    "analyses.cells",
    "analyses.resolution",
    "analyses.attempts",
    "analyses.order",
    "analyses.sites",
    "analyses.afterwards",
    "analyses.description",
    "analyses.sensitivity",
    "analyses.plan",
    "disclosure",
    "releases",
    "trace",
    "reports.readings",
    "reports.cautions",
    "reports.wording",
    "reports.figures",
    "reports.committee",
    "reports.technical",
    "reports.site",
    "reports.render",
    "reports.typeset",
    "summary",
    "steps",
    "desk",
    "commands",
    "__main__",
]
PARTED = {"analyses", "reports"}  # their parts are floors of their own
AGGREGATES_ONLY = {
    "disclosure",
    "releases",
    *(
        f"reports.{part}"
        for part in (
            "readings",
            "cautions",
            "wording",
            "figures",
            "committee",
            "technical",
            "render",
            "typeset",
        )
    ),
}
PATIENT_LEVEL = set(FLOORS) - AGGREGATES_ONLY - {"sources", "results", "steps", "__main__"}
LIBRARY_PLACES = {
    "duckdb": {"pipeline/warehouse.py"},
    "matplotlib": {
        f"pipeline/reports/figures/{part}.py"
        for part in ("sheet", "curves", "compared", "evidence", "bars", "ranges", "sites")
    },
    "jinja2": {"pipeline/reports/render.py"},
    "typst": {"pipeline/reports/typeset.py"},
    "starlette": {f"pipeline/desk/{part}.py" for part in ("answers", "guard", "pages", "serve")},
    "uvicorn": {"pipeline/desk/serve.py"},
    "openpyxl": {
        "pipeline/intake/read_workbook.py",
        "pipeline/intake/book_cells.py",
        *(
            f"pipeline/coordinator/{part}.py"
            for part in (
                "append",
                "template",
                "entry_rules",
                "guide",
                "own_pages",
                "marked",
                "opened",
                "problem_list",
                "repeats",
                "steady",
                "pseudonyms",
            )
        ),
        "synthetic_data/write.py",
    },
}
OURS = sorted(
    p for room in ("schemas", "pipeline", "synthetic_data") for p in (ROOT / room).rglob("*.py")
)


def floor_of(module: str) -> str | None:
    """The part of `pipeline` that a module belongs to; None for what only holds parts."""
    parts = module.split(".")
    depth = 3 if parts[1:2] and parts[1] in PARTED else 2
    return ".".join(parts[1:depth]) if parts[0] == "pipeline" and len(parts) >= depth else None


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("path", OURS, ids=name_of)
def test_imports_go_down(path):
    here, room = name_of(path), name_of(path).split(".")[0]
    imported = {name for name in find_imports(path) if name != here}
    allowed = {
        "schemas": {"schemas"},
        "pipeline": {"pipeline", "schemas", "environment"},
        "synthetic_data": {"synthetic_data", "schemas"},
    }[room]
    assert {name.split(".")[0] for name in imported} <= allowed
    floor = floor_of(here)
    if floor:
        below = {floor_of(name) for name in imported} - {None, floor}
        known = {f for f in below if f in FLOORS}
        assert all(FLOORS.index(f) < FLOORS.index(floor) for f in known)
        if floor in AGGREGATES_ONLY:
            assert not known & PATIENT_LEVEL


@pytest.mark.parametrize("path", OURS, ids=name_of)
def test_each_library_has_its_place(path):
    tops = {
        n.split(".")[0]
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        for n in names_in(node)
    }
    here = path.relative_to(ROOT).as_posix()
    for library, rooms in LIBRARY_PLACES.items():
        assert library not in tops or here in rooms


def names_in(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    return [node.module] if isinstance(node, ast.ImportFrom) and node.module else []


def test_every_floor_exists():
    modules = {name_of(path) for path in OURS if name_of(path).startswith("pipeline.")}
    assert {floor_of(name) for name in modules} - {None} == set(FLOORS)


LISTS = (
    "schemas.delivery",
    "schemas.derived",
    "schemas.rules",
    *(f"schemas.declared.{part}" for part in ("description", "order", "resolution")),
)  # one entry a column, a rule, a released quantity


@pytest.mark.parametrize("path", [p for p in OURS if name_of(p) not in LISTS], ids=name_of)
def test_files_stay_short(path):
    assert len(path.read_text("utf-8").splitlines()) <= 325


WORKFLOW = [ROOT / "Snakefile", *sorted((ROOT / "pipeline" / "rules").glob("*.smk"))]


@pytest.mark.parametrize("path", WORKFLOW, ids=lambda path: path.name)
def test_the_workflow_is_short_and_every_rule_is_whole(path):
    text = path.read_text("utf-8")
    assert len(text.splitlines()) < 175
    rules = text.split("\nrule ")[1:] + text.split("    rule:")[1:]
    assert rules or path.name == "common.smk"
    for rule in rules:
        assert '"""' in rule
        if not rule.startswith("all:"):
            assert "log:" in rule
            assert "code=" in rule


def test_sources_follow_imports_near_and_far():
    sources = {Path(p).relative_to(ROOT).as_posix() for p in find_sources("pipeline.steps.store")}
    assert {
        "pipeline/steps/store.py",
        "pipeline/adjudication/variants.py",
        "schemas/codes.py",
    } <= sources
    assert "pipeline/analyses/resolution/curves.py" not in sources
