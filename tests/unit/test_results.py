"""What a folder of results knows of itself: whether what lies in it is as it was made,
who may read it, and whose run has it."""

import json
import os
import stat
from pathlib import Path
from types import SimpleNamespace

import pytest

from pipeline import results
from pipeline.results import (
    Unusable,
    describe_rules,
    find_unsound,
    prepare_folders,
    remove,
    sealing,
    write_rules,
)


@pytest.fixture
def umask():
    """The usual one, and afterwards that of the process again."""
    before = os.umask(0o022)
    yield
    os.umask(before)


@pytest.fixture
def made(tmp_path, umask):
    """A folder in which two rules have made a table, and a page with a folder of pictures."""
    folder, source = tmp_path / "results", tmp_path / "plan.yaml"
    source.write_text("a")
    lock = prepare_folders(folder)
    write_rules(folder, rules_of(folder))
    with sealing(folder / "seals" / "count.json"):
        (folder / "unreleased" / "counts.csv").write_text("1")
    with sealing(folder / "seals" / "draw.json"):
        (folder / "reports" / "page.html").write_text("2")
        (folder / "reports" / "figures").mkdir()
        (folder / "reports" / "figures" / "one.svg").write_text("3")
    yield folder
    lock.close()


def rules_of(folder: Path, state: str = "x") -> dict[str, results.Made]:
    counts = str(folder / "unreleased" / "counts.csv")
    page, figures = (str(folder / "reports" / name) for name in ("page.html", "figures"))
    rules = [
        SimpleNamespace(name="all", output=[], input=[page], params=SimpleNamespace()),
        SimpleNamespace(
            name="count",
            output=[counts],
            input=[str(folder.parent / "plan.yaml")],
            params=SimpleNamespace(state=state),
        ),
        SimpleNamespace(
            name="draw", output=[page, figures], input=[counts], params=SimpleNamespace()
        ),
    ]
    return describe_rules(folder, rules)


def find(folder: Path, state: str = "x") -> dict[str, bool]:
    results._fingerprint_once.cache_clear()  # as in the next process
    unsound = find_unsound(folder, rules_of(folder, state))
    return {Path(path).name: changed for path, changed in unsound.items()}


def test_what_is_as_it_was_made_is_left_alone(made):
    assert find(made) == {}
    os.utime(made / "reports" / "page.html", (1, 1))
    assert find(made) == {}


@pytest.mark.parametrize(
    ("name", "output"),
    [
        ("unreleased/counts.csv", "counts.csv"),
        ("reports/page.html", "page.html"),
        ("reports/figures/one.svg", "figures"),
    ],
)
def test_what_was_changed_is_made_anew_whatever_its_time(made, name, output):
    path, when = made / name, (made / name).stat().st_mtime_ns
    path.write_text("9")
    os.utime(path, ns=(when, when))
    assert find(made) == {output: True}


def test_of_a_folder_that_lacks_a_file_everything_is_made_anew(made):
    (made / "reports" / "figures" / "one.svg").unlink()
    assert find(made) == {"figures": False}
    remove(made / "reports" / "figures")
    assert not (made / "reports" / "figures").exists()


def test_what_it_is_made_of_counts_by_its_content(made):
    source = made.parent / "plan.yaml"
    os.utime(source, (1, 1))
    assert find(made) == {}
    assert find(made, state="y") == {"counts.csv": False}
    source.write_text("b")
    os.utime(source, (1, 1))
    assert find(made) == {"counts.csv": False}


def test_what_has_no_seal_was_not_finished(made):
    (made / "seals" / "count.json").write_text("{")
    assert find(made) == {"counts.csv": False}
    with pytest.raises(ZeroDivisionError), sealing(made / "seals" / "draw.json"):
        raise ZeroDivisionError
    assert find(made) == {"counts.csv": False, "page.html": False}


@pytest.mark.skipif(os.name == "nt", reason="there are no such rights there")
def test_what_may_leave_has_the_rights_of_its_folder_and_all_else_is_the_owners(made):
    def mode(name: str) -> int:
        return stat.S_IMODE((made / name).stat().st_mode)

    assert [mode(name) for name in ("reports", "reports/figures")] == [0o755] * 2
    assert [mode(name) for name in ("reports/page.html", "reports/figures/one.svg")] == [0o644] * 2
    assert [mode(name) for name in ("rows", "unreleased", "seals")] == [0o700] * 3
    assert [mode(name) for name in ("unreleased/counts.csv", "seals/draw.json")] == [0o600] * 2


@pytest.mark.skipif(os.name == "nt", reason="there are no such rights there")
def test_rights_that_were_given_before_are_taken_away(tmp_path, umask):
    (tmp_path / "rows").mkdir()
    (tmp_path / "warehouse.duckdb").touch()
    prepare_folders(tmp_path).close()
    assert stat.S_IMODE((tmp_path / "rows").stat().st_mode) == 0o700
    assert stat.S_IMODE((tmp_path / "warehouse.duckdb").stat().st_mode) == 0o600


def test_a_folder_belongs_to_one_run_and_to_the_next_when_that_has_ended(tmp_path, umask):
    first = prepare_folders(tmp_path)
    with pytest.raises(Unusable, match=rf"process {os.getpid()} on .+, since 20"):
        prepare_folders(tmp_path)
    first.close()
    prepare_folders(tmp_path).close()


def test_a_folder_that_takes_no_files_is_a_sentence(tmp_path, umask):
    (tmp_path / "file").touch()
    with pytest.raises(Unusable, match="Nothing can be written to results="):
        prepare_folders(tmp_path / "file" / "results")


def test_a_seal_names_files_within_the_results_only(made):
    seal = json.loads((made / "seals" / "draw.json").read_text("utf-8"))
    assert sorted(seal["files"]) == ["reports/figures/one.svg", "reports/page.html"]
