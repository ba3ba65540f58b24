"""The check before sending: the workflow's own verdict, from a folder or a lone workbook,
in words that quote no cell."""

import shutil
import subprocess
import sys

import pandas as pd
import pytest
from openpyxl import load_workbook

from pipeline.intake.report import name_ranges
from schemas.rules import RULES
from tests.whole.conftest import POOL, ROOT


def check(*arguments: object) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "pipeline", "check", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)


@pytest.fixture(scope="module")
def checked() -> str:
    done = check(POOL)
    assert done.returncode == 2  # one delivery of the pool is to be refused
    return done.stdout


def test_it_says_what_the_workflow_says(checked, pool_run):
    parts = {
        tuple(part.split("\n", 1)[0].replace("Site ", "").split(", delivery ")): part
        for part in checked.split("\n" + "-" * 80 + "\n")
    }
    rows = pool_run[0] / "results" / "rows"
    folders = sorted(path for site in rows.iterdir() for path in site.iterdir() if path.is_dir())
    assert set(parts) == {(folder.parent.name, folder.name) for folder in folders}
    for folder in folders:
        verdict = " ".join(parts[folder.parent.name, folder.name].split())
        counts, problems = (
            pd.read_parquet(folder / "row_counts.parquet"),
            pd.read_parquet(folder / "problems.parquet"),
        )
        refused = pd.read_parquet(folder / "deliveries.parquet")["status"].eq("refused").all()
        assert ("was refused" in verdict) == refused
        if not refused and counts["rows_set_aside"].sum():
            assert (
                f"{counts['rows_stored'].sum():,} of {counts['rows_in'].sum():,} rows are stored"
                in verdict
            )
        messages = (
            problems["message"].str.removeprefix(RULES["read_with_help"].message).drop_duplicates()
        )
        for message in messages:
            assert " ".join(message.split()) in verdict


def test_a_lone_workbook_is_checked_as_its_submission_table_calls_it(tmp_path):
    book = tmp_path / "S02_001.xlsx"
    shutil.copy(POOL / "S02" / "001" / "S02_001.xlsx", book)
    done = check(book)
    assert done.stdout.startswith("Site S02, delivery 001\n")
    assert done.returncode == 0
    assert "can be pooled" in done.stdout


def test_the_marked_copy_stands_beside_the_file_and_never_takes_its_place(tmp_path):
    book = tmp_path / "S09_001.xlsx"
    shutil.copy(POOL / "S09" / "001" / "S09_001.xlsx", book)
    before = book.read_bytes()
    done = check("--mark", book)
    assert done.returncode == 1
    # only how far it has come
    assert all(line.endswith(" ...") for line in done.stderr.splitlines())
    assert "S09_001_marked.xlsx" in done.stdout
    again = check("--mark", tmp_path / "S09_001_marked.xlsx")
    assert "S09_001_marked2.xlsx" in again.stdout
    assert again.stdout.split("\n\n")[1] == done.stdout.split("\n\n")[1]
    assert {path.name for path in tmp_path.iterdir()} == {
        "S09_001.xlsx",
        "S09_001_marked.xlsx",
        "S09_001_marked2.xlsx",
    }
    assert book.read_bytes() == before
    assert (tmp_path / "S09_001_marked2.xlsx").read_bytes() == (
        tmp_path / "S09_001_marked.xlsx"
    ).read_bytes()


def test_a_folder_of_files_under_another_name(tmp_path):
    shutil.copytree(POOL / "S03" / "001", tmp_path / "to send")
    done = check(tmp_path / "to send")
    assert (done.returncode, done.stdout.split("\n")[0]) == (0, "Site S03, delivery 001")


@pytest.mark.parametrize("asked", ["", "S03", "S03/1", "S03/1/FILE"])
def test_what_the_workflow_would_skip_is_told(tmp_path, asked):
    shutil.copytree(POOL / "S02" / "001", tmp_path / "S02" / "001")
    shutil.copytree(POOL / "S03" / "001", tmp_path / "S03" / "1")
    file = min(path.name for path in (tmp_path / "S03" / "1").iterdir())
    done = check(tmp_path / asked.replace("FILE", file))
    assert done.returncode == 2
    assert "S03/1 would be skipped" in " ".join(done.stdout.split())


def test_a_delivery_under_another_site_s_name_is_told(tmp_path):
    shutil.copytree(POOL / "S03" / "001", tmp_path / "S3" / "001")
    done = check(tmp_path / "S3" / "001")
    assert (done.returncode, "S3/001 would be skipped" in done.stdout) == (2, True)


def test_a_file_of_a_delivery_is_judged_with_the_whole_delivery(tmp_path):
    shutil.copytree(POOL / "S02" / "001", tmp_path / "S02" / "001")
    assert check(tmp_path / "S02" / "001" / "S02_001.xlsx").returncode == 0
    (tmp_path / "S02" / "001" / "notes.docx").write_bytes(b"letter")
    whole, file = check(tmp_path / "S02" / "001"), check(tmp_path / "S02" / "001" / "S02_001.xlsx")
    assert (file.returncode, file.stdout) == (whole.returncode, whole.stdout)
    assert whole.returncode == 2


def test_exit_codes_tell_scripts(tmp_path):
    assert check(POOL / "S06" / "001").returncode == 1
    assert check(POOL / "S06").returncode == 1
    nothing = check(tmp_path / "nowhere.xlsx")
    assert nothing.returncode == 3
    assert "does not exist" in nothing.stderr
    assert check(tmp_path).returncode == 3


def test_help_says_what_the_exit_codes_mean():
    help_text = check("--help").stdout
    assert "Exit code" in help_text
    assert "sends nothing" in " ".join(help_text.split())


@pytest.mark.parametrize(
    ("rows", "words"),
    [([], ""), ([4], "4"), ([4, 5], "4, 5"), ([4, 5, 6, 9, 11, 12, 13, 14], "4 to 6, 9, 11 to 14")],
)
def test_neighbouring_rows_are_ranges(rows, words):
    assert name_ranges(rows) == words


def test_a_value_that_could_identify_somebody_is_named_by_its_place_only(tmp_path):
    path = shutil.copy(POOL / "S02" / "001" / "S02_001.xlsx", tmp_path / "S02_001.xlsx")
    book = load_workbook(path)
    book["episodes"]["B7"] = "Invented Person 12.03.1961"
    book.save(path)
    done = check(path)
    assert done.returncode == 2
    assert "row (7)" in done.stdout
    assert not any(part in done.stdout + done.stderr for part in ("Invented", "Person", "1961"))
