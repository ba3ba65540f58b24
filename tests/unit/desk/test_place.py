"""Copies lie where only their owner sees them, and do not stay."""

import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.desk.place import HELD, PREFIX, make_place, name_safely, wipe_left
from tests.conftest import ROOT


@pytest.mark.skipif(os.name == "nt", reason="Windows tells rights in another way")
def test_only_its_owner_may_open_it(tmp_path):
    with make_place(tmp_path) as place:
        assert place.stat().st_mode & 0o777 == 0o700


def test_nothing_stays(tmp_path):
    with make_place(tmp_path) as place:
        (place / "check").mkdir()
        (place / "check" / "copy.xlsx").write_bytes(b"x")
    assert list(tmp_path.iterdir()) == []


def fail_in(folder):
    with make_place(folder) as place:
        (place / "copy.xlsx").write_bytes(b"x")
        raise KeyError


def test_nothing_stays_after_a_fault(tmp_path):
    with pytest.raises(KeyError):
        fail_in(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_what_a_killed_process_left_is_wiped_by_the_next_one(tmp_path):
    program = (
        "import os, sys; from pathlib import Path; from pipeline.desk.place import make_place\n"
        "with make_place(Path(sys.argv[1])) as place:\n"
        "    (place / 'copy.xlsx').write_bytes(b'x')\n"
        "    os._exit(9)"
    )
    command = [sys.executable, "-c", program, str(tmp_path)]
    assert subprocess.run(command, cwd=ROOT, check=False).returncode == 9
    (left,) = tmp_path.iterdir()
    assert (left / "copy.xlsx").exists()
    with make_place(tmp_path) as place:
        assert list(tmp_path.iterdir()) == [place]


def test_what_another_page_uses_and_what_is_not_ours_stays(tmp_path):
    (tmp_path / f"{PREFIX}of-another-program").mkdir()
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / HELD).touch()
    (tmp_path / f"{PREFIX}link").symlink_to(tmp_path / "mine")
    with make_place(tmp_path) as place:
        wipe_left(tmp_path)
        assert (place / HELD).exists()
        assert len(list(tmp_path.iterdir())) == 4
    assert (tmp_path / "mine" / HELD).exists()


@pytest.mark.parametrize(
    ("given_name", "kept"),
    [
        ("S03_001.xlsx", "S03_001.xlsx"),
        ("Mein Register (3).xlsx", "Mein Register (3).xlsx"),
        ("Übersicht.csv", "Übersicht.csv"),  # the check judges names: they stay
        ("../../etc/passwd.csv", "passwd.csv"),
        ("..\\..\\episodes.csv", "episodes.csv"),
        ("", "file"),
        (".", "file"),
        ("..", "file"),
        ("/", "file"),
        ("a\nb\x00c.csv", "a_b_c.csv"),
        ("<img src=x onerror=alert(1)>.xlsx", "_img src=x onerror=alert(1)_.xlsx"),
        ("\ud800.xlsx", "_.xlsx"),
        ("NUL.csv", "fileNUL.csv"),
        ("episodes.csv. ", "episodes.csv"),
    ],
)
def test_names_lead_nowhere_else(given_name, kept):
    assert name_safely(given_name, set()) == kept


def test_a_name_that_is_taken_is_numbered():
    assert name_safely("Episodes.csv", {"episodes.csv"}) == "Episodes 2.csv"


@given(st.text(max_size=400))
def test_any_name_is_one_that_a_folder_takes(tmp_path_factory, name):
    safe = name_safely(name, set())
    folder = tmp_path_factory.mktemp("names")
    (folder / safe).write_bytes(b"")
    assert [path.name for path in folder.iterdir()] == [safe]
