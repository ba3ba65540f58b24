"""`tests/unit` mirrors `pipeline` and `schemas`: who looks for the tests of a module finds them
under its name, and what has none there is named here, with where it is tested and why there."""

import ast
from functools import cache
from pathlib import Path

import pytest

from pipeline.sources import find_imports, find_sources
from tests.contract.test_floors import ROOT

UNIT, PUBLISHED = ROOT / "tests" / "unit", ROOT / "tests" / "published"
# by the file that tests them, and why it does: parts that nobody calls but what is tested there
ELSEWHERE: dict[tuple[str, str], tuple[str, ...]] = {
    (
        "unit/adjudication/test_adjudicate.py",
        "steps on the way from tests to one verdict; what each means is seen in verdicts only",
    ): tuple(
        f"pipeline/adjudication/{part}.py"
        for part in ("lateral_side", "patterns", "readings", "rolls", "variants")
    ),
    (
        "unit/adjudication/test_failure.py",
        "signs of failed maneuvers, told by the reasons that they are evidence for",
    ): ("pipeline/adjudication/later_tests.py",),
    ("unit/derivation/test_first_events.py", "a switch is a first event"): (
        "pipeline/adjudication/switches.py",
    ),
    ("unit/explain/test_episode.py", "says why criteria are not met, in lines, to no other"): (
        "pipeline/adjudication/misfits.py",
        "pipeline/explain/lines.py",
    ),
    ("unit/analyses/attempts/test_success.py", "the fits of that analysis"): (
        "pipeline/analyses/attempts/fits.py",
    ),
    ("unit/statistics/test_crossed.py", "limits of the deviations that it fits"): (
        "pipeline/statistics/crossed_limits.py",
    ),
    ("unit/reports/committee/test_orders.py", "what that section reads and draws"): (
        "pipeline/reports/committee/order_pictures.py",
        "pipeline/reports/committee/order_readings.py",
    ),
    ("unit/analyses/order/test_first_choice.py", "the models of that analysis"): (
        "pipeline/analyses/order/first_pooled.py",
        "pipeline/analyses/order/first_standardised.py",
    ),
    ("unit/analyses/order/test_first_courses.py", "the groups of that analysis"): (
        "pipeline/analyses/order/first_groups.py",
    ),
    ("unit/analyses/order/test_strategies.py", "the courses and limits that it tells"): (
        "pipeline/analyses/order/strategy_samples.py",
    ),
    ("unit/analyses/attempts/test_technique.py", "the rows of that analysis"): (
        "pipeline/analyses/attempts/technique_rows.py",
    ),
    ("unit/analyses/order/test_second_line.py", "its balance before and after weighting"): (
        "pipeline/analyses/order/balance.py",
    ),
    ("unit/analyses/resolution/test_regression.py", "the fit and the shares that it predicts"): (
        "pipeline/analyses/resolution/regression_fit.py",
        "pipeline/analyses/resolution/shares.py",
    ),
    (
        "contract/test_table_types.py",
        "finds and types every analysis of the plan, and the tables that all are derived to",
    ): ("pipeline/analyses/plan.py", "pipeline/derivation/tables.py"),
    ("unit/test_main.py", "every tool at a terminal; tests/whole runs each as documents show it"): (
        *(
            f"pipeline/commands/{tool}.py"
            for tool in (
                "arguments",
                "catalogue",
                "check",
                "desk",
                "dictionary",
                "explain",
                "guide",
                "template",
            )
        ),
    ),
    ("unit/coordinator/test_template.py", "parts of the template, seen in the workbook"): (
        "pipeline/coordinator/entry_rules.py",
        "pipeline/coordinator/example.py",
        "pipeline/coordinator/own_pages.py",
    ),
    ("unit/coordinator/test_marked.py", "parts of the marked copy, seen in the workbook"): (
        "pipeline/coordinator/opened.py",
        "pipeline/coordinator/problem_list.py",
    ),
    ("unit/commands/test_pseudonymise.py", "what the tool writes"): (
        "pipeline/coordinator/pseudonyms.py",
    ),
    (
        "unit/disclosure/test_audit.py",
        "parts of one audit, compared with trying all whole numbers and with whole releases",
    ): tuple(f"pipeline/disclosure/{part}.py" for part in ("cells", "cover", "known", "release")),
    ("unit/disclosure/test_issue.py", "what two releases tell together"): (
        "pipeline/disclosure/between.py",
    ),
    ("unit/intake/test_plausible.py", "signs that a delivery slipped, all by the same slips"): (
        *(
            f"pipeline/intake/plausible_{part}.py"
            for part in ("columns", "patients", "sides", "tables", "times")
        ),
    ),
    ("unit/intake/test_read_workbook.py", "what a workbook holds beside and within its cells"): (
        "pipeline/intake/beside_cells.py",
        "pipeline/intake/book_cells.py",
        "pipeline/intake/handed.py",
        "pipeline/intake/parts.py",
        "pipeline/intake/recognise.py",
    ),
    (
        "unit/intake/test_receive.py",
        "what becomes of a whole delivery; tests/unit/intake/test_rules.py breaks every rule",
    ): tuple(
        f"pipeline/intake/{part}.py"
        for part in ("across", "keep", "problem", "progress", "submission")
    ),
    ("unit/intake/test_parse.py", "cells as values"): ("pipeline/intake/cell_values.py",),
    ("unit/intake/test_pseudonyms.py", "shapes of pseudonyms"): ("pipeline/intake/shapes.py",),
    ("unit/desk/test_job.py", "what the process of a check does"): ("pipeline/desk/examine.py",),
    ("unit/intake/test_recognised.py", "what a terminal says of a delivery"): (
        "pipeline/intake/terminal.py",
    ),
    (
        "unit/reports/committee/test_report.py",
        "sections that are one sentence with the others: judged in the whole report",
    ): tuple(
        f"pipeline/reports/committee/{part}.py"
        for part in (
            "contents",
            "curves",
            "known",
            "ledger",
            "pool",
            "second_line_words",
            "shares",
            "standing",
            "whole",
        )
    ),
    ("unit/reports/site/test_report.py", "the sections of a site's page"): tuple(
        f"pipeline/reports/site/{part}.py" for part in ("beside", "missing", "records")
    ),
    ("unit/reports/technical/test_report.py", "tables of the technical report"): tuple(
        f"pipeline/reports/technical/{part}.py"
        for part in ("checklist", "grids", "second_fits", "tables", "views")
    ),
    ("whole/test_trace.py", "from a release and its store to lines and a file: a pool is run"): (
        "pipeline/commands/trace.py",
        "pipeline/trace/trace.py",
    ),
    ("unit/commands/test_verify.py", "both tools of one folder of releases"): (
        "pipeline/commands/compare.py",
    ),
    ("published/test_competing_risks.py", "both estimators, where they have to agree"): (
        "pipeline/statistics/interval_incidence.py",
    ),
    ("unit/statistics/test_npmle.py", "the search of that fit"): (
        "pipeline/statistics/npmle_search.py",
    ),
    ("unit/statistics/test_mixed.py", "the integral of that fit"): (
        "pipeline/statistics/quadrature.py",
    ),
    ("unit/statistics/test_linear_mixed.py", "the likelihood of that fit"): (
        "pipeline/statistics/restricted_likelihood.py",
    ),
    ("unit/analyses/sensitivity/test_model_agreement.py", "the other programs' fits"): (
        "pipeline/statistics/second_fits.py",
    ),
    ("whole/test_pool.py", "arguments, one call and a file: the workflow runs each"): tuple(
        f"pipeline/steps/{step}.py"
        for step in (
            "analyse",
            "arguments",
            "disclose",
            "keep",
            "planted",
            "report",
            "site_pages",
            "store",
            "summary",
            "technical",
        )
    ),
    ("contract/test_schemas.py", "what tables and the plan promise, over all of them at once"): (
        *(f"schemas/{part}.py" for part in ("columns", "delivery", "derived", "store")),
        "schemas/warehouse.py",
    ),
    ("unit/schemas/test_quantities.py", "what may be stated, over all declarations at once"): (
        "schemas/analysis.py",
        *(f"schemas/declared/{part}.py" for part in ("description", "order", "resolution")),
        "schemas/declared/__init__.py",
        "schemas/declared/sites.py",
        "schemas/identities.py",
    ),
    ("unit/disclosure/test_rounding.py", "how notes leave"): ("schemas/notes.py",),
    ("unit/statistics/test_tidy.py", "the only way in which such a row is made"): (
        "schemas/estimate.py",
    ),
    ("unit/analyses/description/test_denominators.py", "each base is counted as it says"): (
        "schemas/denominators.py",
    ),
    ("unit/coordinator/test_dictionary.py", "what the dictionary says of every column"): (
        "schemas/dictionary.py",
        "schemas/reasons.py",
    ),
    ("unit/intake/test_meant.py", "what a word may mean"): ("schemas/synonyms.py",),
}
# tests of a room as a whole, under the name of what holds for it
OF_A_ROOM = {
    "adjudication/test_history.py": "what patients say of their attacks",
    "adjudication/test_look_alikes.py": "what looks like positional vertigo and is not",
    "adjudication/test_repeated_tests.py": "what repeating a test may and may not change",
    "adjudication/test_repeated_tests_always.py": "the same as properties",
    "intake/test_conservation.py": "no row is lost or doubled, whatever is handed in",
    "intake/test_refusals.py": "each rule that refuses, by a case of its own",
    "intake/test_rules.py": "each rule, by a case of its own",
    "intake/test_site_map.py": "deliveries in a site's own names",
    "reports/test_printed_counts.py": "each printed count has its noun and its base",
    "reports/test_printed_differences.py": "printed differences add up",
    "test_plain_logger.py": "the package snakemake_logger_plugin_plain, which is one file",
    "test_unusable_numbers.py": "no page calls on a number whose status is not ok",
}
RUNS_APART = "whole"  # these tests start the workflow, so that they import nothing of it


def has_code(path: Path) -> bool:
    return any(
        isinstance(node, ast.FunctionDef | ast.ClassDef)
        for node in ast.parse(path.read_text("utf-8")).body
    )


MODULES = [
    path.relative_to(ROOT).as_posix()
    for room in ("pipeline", "schemas")
    for path in sorted((ROOT / room).rglob("*.py"))
    if has_code(path)
]
TESTS = sorted(path.relative_to(UNIT).as_posix() for path in UNIT.rglob("test_*.py"))
TOLD = [module for modules in ELSEWHERE.values() for module in modules]


def find_own_tests(module: str) -> list[Path]:
    """The files that test a module under its name: `test_<name>.py`, or `test_<name>_*.py` for one
    aspect, in the folder that mirrors its own; or of numbers from outside."""
    path = Path(module.removeprefix("pipeline/"))
    name = path.stem.strip("_")
    folder = UNIT / path.parent
    beside = [p.stem for p in (ROOT / module).parent.glob("*.py") if p.stem.startswith(f"{name}_")]
    aspects = [
        test
        for test in folder.glob(f"test_{name}_*.py")
        if not any(test.stem.startswith(f"test_{longer}") for longer in beside)
    ]
    return [
        test
        for test in (folder / f"test_{name}.py", *aspects, PUBLISHED / f"test_{name}.py")
        if test.exists()
    ]


@cache
def reach(test: Path) -> frozenset[str]:
    """The files of ours that a test imports, near or far, also by the helpers beside it."""
    sources: set[str] = set()
    waiting, seen = [test, *test.parent.glob("conftest.py")], set()
    while waiting:
        path = waiting.pop()
        seen.add(path)
        tree = ast.parse(path.read_text("utf-8"))
        helpers = {
            ROOT / Path(*node.module.split(".")).with_suffix(".py")
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests.")
        }
        waiting += [helper for helper in helpers if helper.exists() and helper not in seen]
        for name in find_imports(path):
            sources.update(find_sources(name))
    return frozenset(Path(name).relative_to(ROOT).as_posix() for name in sources)


@pytest.mark.parametrize("module", MODULES)
def test_every_module_has_its_tests_under_its_name_or_is_named_here(module):
    assert bool(find_own_tests(module)) != (module in TOLD)


def test_nothing_is_named_twice_or_is_gone():
    assert sorted(TOLD) == sorted(set(TOLD) & set(MODULES))
    assert set(OF_A_ROOM) <= set(TESTS)


@pytest.mark.parametrize(("test", "why"), ELSEWHERE, ids=lambda words: words)
def test_what_is_said_to_test_a_module_reaches_it(test, why):
    path = ROOT / "tests" / test
    assert path.exists()
    assert why
    if not test.startswith(RUNS_APART):
        assert set(ELSEWHERE[test, why]) <= reach(path)


@pytest.mark.parametrize("test", [test for test in TESTS if not test.startswith("synthetic_data/")])
def test_every_file_of_tests_has_the_name_of_what_it_tests(test):
    named = any(UNIT / test in find_own_tests(module) for module in MODULES)
    assert named != (test in OF_A_ROOM)


def test_each_folder_has_its_counterpart():
    folders = {path.relative_to(UNIT) for path in UNIT.rglob("*") if list(path.glob("test_*.py"))}
    for folder in folders:
        assert (ROOT / "pipeline" / folder).is_dir() or (ROOT / folder).is_dir(), folder
