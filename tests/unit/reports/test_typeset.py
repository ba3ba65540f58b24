"""The report on paper: the same bytes from the same content, tagged,
with bookmarks and its own fonts, whatever the pool holds."""

import re
import shutil
import subprocess

import pandas as pd
import pytest

from pipeline.reports.committee.orders import MOST
from pipeline.reports.committee.questions import QUESTIONS
from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.standing import HEADINGS
from pipeline.reports.typeset import typeset_report
from schemas.estimate import Estimates
from tests.pool_of_estimates import build_estimates
from tests.pool_of_sections import build_everything

PDF_TO_TEXT = shutil.which("pdftotext")
USED = {"deliveries": "3f1c", "plan": "77ab"}


def empty(estimates: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    return {name: Estimates.cast(rows.iloc[:0]) for name, rows in estimates.items()}


def hidden(estimates: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    numbers = dict.fromkeys(
        ["estimate", "std_error", "lower", "upper", "n_episodes", "n_events"], pd.NA
    )
    return {
        name: Estimates.cast(rows.assign(**numbers, status="suppressed", note="hidden"))
        for name, rows in estimates.items()
    }


def typeset(content: dict, path) -> bytes:
    typeset_report("committee.typ", content, path)
    return path.read_bytes()


def test_the_same_content_gives_the_same_bytes_with_tags_bookmarks_and_fonts(plan, tmp_path):
    content = compose_report(build_everything(plan), plan, USED)
    first = typeset(content, tmp_path / "one.pdf")
    assert first == typeset(content, tmp_path / "two.pdf")
    for part in (b"/StructTreeRoot", b"/Outlines", b"/FontFile2", b"/Lang", b"pdfuaid"):
        assert part in first
    assert set(re.findall(rb"/FontName ?/\w+\+([\w-]+)", first)) <= {
        b"DejaVuSans",
        b"DejaVuSans-Bold",
        b"DejaVuSansMono",
    }
    assert 0 < len(re.findall(rb"/Type ?/Page\b", first)) <= 8


@pytest.mark.parametrize("change", [empty, hidden])
def test_a_pool_without_numbers_gets_its_report(plan, tmp_path, change):
    content = compose_report(change(build_estimates(plan)), plan, USED)
    assert typeset(content, tmp_path / "report.pdf").startswith(b"%PDF")


def test_texts_from_outside_stay_texts(plan, tmp_path):
    content = compose_report(
        build_estimates(plan), plan, {"deliveries": "#panic() $x$ *a* @b <c> \\ [d]"}
    )
    content["title"] = '#read("/etc/hostname") = heading'
    assert typeset(content, tmp_path / "report.pdf").startswith(b"%PDF")


@pytest.mark.skipif(PDF_TO_TEXT is None, reason="needs poppler to read the print")
def test_the_first_page_holds_all_questions_however_full_its_tables_are(plan, tmp_path):
    content = compose_report(build_everything(plan), plan, USED, invented=True)
    asked = content["questions"][0]
    full = {"number": "62 %† (57 to 66)", "of": "≈510 episodes", "told": True}
    names = ["Anterior or posterior canal, down-beating", *(f"Variant {k}" for k in range(10))]
    rows = [{"key": "", "name": name, "cells": [full] * 9, "without": ""} for name in names]
    families = [f"Deep head hanging {k}" for k in range(8)]
    asked["matrix"] |= {"columns": [*families, "Others"], "rows": rows}
    cells = ["18 fewer (24 fewer to 11 fewer)"] * 2 + ["clear: more days, fewer resolved"]
    order = {"name": "Epley twice, then Brandt-Daroff", "cells": cells}
    asked["orders"]["groups"] = [{"heading": "Posterior canal, long arm", "rows": [order] * MOST}]
    typeset(content, tmp_path / "full.pdf")
    command = [PDF_TO_TEXT, "-l", "1", str(tmp_path / "full.pdf"), "-"]
    first = subprocess.run(command, capture_output=True, check=True).stdout.decode("utf-8")
    assert all(title in " ".join(first.split()) for title in QUESTIONS.values())
    last = content["questions"][-1]["answers"][-1].replace("\u00a0", " ")
    assert last in " ".join(first.replace("\u00a0", " ").split())
    assert HEADINGS["time"] + "\n" not in first
