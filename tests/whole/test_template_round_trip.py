"""The template and the dictionary as people meet them: at a terminal,
in another spreadsheet program, in a browser, on paper."""

import csv
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from pipeline.coordinator.own_pages import LISTS
from pipeline.intake.receive import receive_delivery
from tests.whole.conftest import ROOT
from tests.whole.test_accessibility import GRAVE
from tests.whole.test_accessibility import check as check_page
from tests.whole.test_page_in_browser import BROWSER, lay_out, run_browser

OFFICE = shutil.which("soffice")
needs_office = pytest.mark.skipif(
    OFFICE is None, reason="needs LibreOffice to save the workbook again"
)
needs_browser = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")


def run_tool(*arguments: object, folder: Path) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "pipeline", *map(str, arguments)]
    home = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=folder, env=home
    )


def convert(source: Path, form: str, folder: Path) -> Path:
    """The file as LibreOffice saves it; `form` is the ending of its name."""
    folder.mkdir(parents=True, exist_ok=True)
    profile = f"-env:UserInstallation=file://{folder / 'profile'}"
    command = [
        OFFICE,
        profile,
        "--headless",
        "--convert-to",
        form,
        "--outdir",
        str(folder),
        str(source),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    shutil.rmtree(folder / "profile")
    return folder / f"{source.stem}.{form}"


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("filled")
    done = run_tool("template", "--filled", "--out", "example.xlsx", folder=folder)
    assert (done.returncode, done.stderr) == (0, "")
    return folder / "example.xlsx"


@pytest.fixture(scope="module")
def saved_again(filled, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("again")
    return convert(
        convert(filled, "ods", folder / "ods"), "xlsx", folder / "S99" / "001"
    )  # through a format of its own


@pytest.fixture(scope="module")
def dictionary(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("dictionary")
    done = run_tool("dictionary", "--out", "words", folder=folder)
    assert (done.returncode, done.stderr) == (0, "")
    return folder / "words"


def test_the_command_never_writes_over_a_file_unasked(tmp_path):
    assert run_tool("template", folder=tmp_path).returncode == 0
    made = (tmp_path / "template.xlsx").read_bytes()
    (tmp_path / "template.xlsx").write_bytes(b"filled in by somebody")
    refused = run_tool("template", folder=tmp_path)
    assert refused.returncode == 1
    assert "--force" in refused.stderr
    assert (tmp_path / "template.xlsx").read_bytes() == b"filled in by somebody"
    assert run_tool("template", "--force", folder=tmp_path).returncode == 0
    assert (tmp_path / "template.xlsx").read_bytes() == made


@pytest.mark.parametrize(
    ("out", "sentence"),
    [("template.csv", ".xlsx"), ("nowhere/t.xlsx", "does not exist"), ("d.xlsx", "is a folder")],
)
def test_what_cannot_be_written_is_a_sentence(tmp_path, out, sentence):
    (tmp_path / "d.xlsx").mkdir()
    refused = run_tool("template", "--out", out, folder=tmp_path)
    assert refused.returncode == 1
    assert sentence in refused.stderr
    assert "Traceback" not in refused.stderr


def test_the_filled_one_is_found_fine_by_the_check(filled):
    done = run_tool("check", filled, folder=filled.parent)
    assert done.returncode == 0
    assert "Site S99, delivery 001" in done.stdout


@needs_office
def test_it_passes_when_another_program_has_saved_it(saved_again, plan):
    received = receive_delivery(saved_again.parent, plan)
    assert received.accepted
    assert received.tables["problems"].empty


@needs_office
def test_the_other_program_keeps_lists_hints_and_formats(saved_again, filled):
    before, after = load_workbook(filled), load_workbook(saved_again)
    for name in ("episodes", "examinations", "treatments", "followups"):
        rules = [
            {
                rule.promptTitle: (rule.type, rule.prompt)
                for rule in book[name].data_validations.dataValidation
            }
            for book in (before, after)
        ]
        assert rules[0] == rules[1]
        assert [cell.number_format for cell in after[name][2] if cell.value is not None] == [
            cell.number_format for cell in before[name][2] if cell.value is not None
        ]
    assert after["episodes"]["A2"].number_format == "@"
    (maneuver,) = [
        r
        for r in after["treatments"].data_validations.dataValidation
        if r.promptTitle == "maneuver"
    ]
    assert maneuver.formula1.startswith(f"{LISTS}!")


@needs_office
def test_the_rule_for_ages_takes_what_intake_takes(filled, tmp_path):
    rules = load_workbook(filled)["episodes"].data_validations.dataValidation
    (rule,) = [rule for rule in rules if rule.promptTitle == "age_years"]
    fine, wrong = (
        (0, 57, 89, "57", "89", "90+"),
        (90, -1, 57.5, "90", "ninety", "1-2", "57.5", "+90"),
    )
    cases = dict.fromkeys(fine, True) | dict.fromkeys(wrong, False)
    book = Workbook()
    for number, value in enumerate(cases, 1):
        book.active.cell(number, 3, value)
        book.active.cell(number, 1, "=" + rule.formula1.replace("C2", f"C{number}"))
    book.save(tmp_path / "ages.xlsx")
    rows = list(csv.reader(convert(tmp_path / "ages.xlsx", "csv", tmp_path / "csv").open()))
    assert [row[0] for row in rows] == [str(fine).upper() for fine in cases.values()]


@needs_browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_the_page_never_scrolls_sideways(dictionary, width, tmp_path):
    assert (
        lay_out((dictionary / "dictionary.html").read_text("utf-8"), width, tmp_path)["needed"]
        == width
    )


@needs_browser
def test_the_page_is_accessible(dictionary, tmp_path):
    result = check_page((dictionary / "dictionary.html").read_text("utf-8"), tmp_path)
    assert result["passed"] > 10
    assert [violation for violation in result["told"] if violation[0] in GRAVE] == []


@needs_browser
def test_it_prints_on_a_dozen_leaves(dictionary, tmp_path):
    printed = tmp_path / "page.pdf"
    run_browser(
        "--no-pdf-header-footer",
        f"--print-to-pdf={printed}",
        (dictionary / "dictionary.html").as_uri(),
    )
    # wider typefaces need a few more
    assert 10 <= len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) <= 18


def test_spreadsheet_programs_are_told_the_encoding(dictionary):
    assert (dictionary / "dictionary.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    assert "Ménière" in (dictionary / "dictionary.csv").read_text("utf-8-sig")
    assert sorted(path.name for path in dictionary.iterdir()) == [
        "datapackage.json",
        *(f"dictionary.{form}" for form in ("csv", "html", "md")),
    ]
