"""The pool on disk: the same bytes again, the committed copy up to date, and any size."""

import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from synthetic_data.__main__ import main
from synthetic_data.pool import write_pool
from synthetic_data.sites import make_sites, share_out
from tests.unit.synthetic_data.reading import read_cells

COMMITTED = Path(__file__).parents[3] / "synthetic_data"


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    """A pool of the default size, made anew: the folder that holds `pool` and `truth`."""
    folder = tmp_path_factory.mktemp("written")
    write_pool(folder)
    return folder


def list_files(folder: Path) -> dict[str, Path]:
    parts = [
        path for part in ("pool", "truth") for path in (folder / part).rglob("*") if path.is_file()
    ]
    return {path.relative_to(folder).as_posix(): path for path in parts}


def contents(path: Path) -> dict[str, bytes]:
    """The bytes of a file; of a workbook those of each member,
    so that another deflate library is no difference."""
    if path.suffix != ".xlsx":
        return {"": path.read_bytes()}
    with zipfile.ZipFile(path) as archive:
        return {member.filename: archive.read(member) for member in archive.infolist()}


def test_the_same_arguments_give_the_same_bytes(tmp_path):
    for name in ("once", "again"):
        write_pool(tmp_path / name, episodes=20, sites=10, seed=3)
    once, again = list_files(tmp_path / "once"), list_files(tmp_path / "again")
    assert once.keys() == again.keys()
    assert [name for name in once if once[name].read_bytes() != again[name].read_bytes()] == []


def test_another_seed_gives_other_patients(tmp_path):
    for seed in (3, 4):
        write_pool(tmp_path / str(seed), episodes=10, sites=1, seed=seed)
    first, second = (read_cells(tmp_path / str(seed) / "pool" / "S01" / "001") for seed in (3, 4))
    assert first["submission"] == second["submission"]
    assert first["episodes"] != second["episodes"]


def test_the_committed_pool_is_what_the_code_makes(written):
    made, kept = list_files(written), list_files(COMMITTED)
    assert made.keys() == kept.keys()
    assert [name for name in made if contents(made[name]) != contents(kept[name])] == []


def test_the_committed_pool_is_small():
    assert sum(path.stat().st_size for path in list_files(COMMITTED).values()) < 5_500_000


def test_workbooks_carry_no_date_and_no_author(written):
    books = list((written / "pool").rglob("*.xlsx"))
    assert books
    for book in books:
        with zipfile.ZipFile(book) as archive:
            assert {member.date_time for member in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            core = archive.read("docProps/core.xml").decode()
        assert "created" not in core
        assert "creator" not in core


def test_a_pool_that_is_there_is_never_written_over(tmp_path):
    (tmp_path / "truth").mkdir()
    with pytest.raises(FileExistsError):
        write_pool(tmp_path)
    assert not (tmp_path / "pool").exists()


def test_the_command_line_writes_once_and_says_why_it_does_not_again(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(
        "sys.argv",
        ["synthetic_data", "--out", str(tmp_path / "new"), "--episodes", "12", "--sites", "2"],
    )
    main()
    assert "12 episodes" in capsys.readouterr().out
    with pytest.raises(SystemExit, match=r"nothing written.*must not exist yet"):
        main()


@pytest.mark.parametrize(("episodes", "sites"), [(1, 1), (10, 10), (30, 12), (120, 3)])
def test_any_size_can_be_made(tmp_path, episodes, sites):
    counts = write_pool(tmp_path, episodes=episodes, sites=sites, seed=1)
    assert [site for site, _, _ in counts] == [site.code for site in make_sites(sites)]
    assert sum(size for _, size, _ in counts) == episodes
    for site, size, _ in counts:
        newest = max((tmp_path / "pool" / site).iterdir())
        assert len(read_cells(newest)["episodes"]) == size - (site == "S06")


def test_a_site_too_large_for_a_workbook_hands_in_text_files(tmp_path, monkeypatch):
    monkeypatch.setattr("synthetic_data.write.MOST_WORKBOOK_ROWS", 200)
    write_pool(tmp_path, episodes=40, sites=2, seed=1)
    assert {path.suffix for path in (tmp_path / "pool" / "S01").glob("*/*")} == {".csv"}


@given(st.integers(1, 999), st.integers(0, 100_000))
def test_shares_add_up_and_no_site_is_empty(sites, more):
    sizes = share_out(sites + more, make_sites(sites))
    assert sum(sizes) == sites + more
    assert min(sizes) >= 1


def test_fewer_episodes_than_sites_is_refused():
    with pytest.raises(ValueError, match="10 sites"):
        share_out(9, make_sites(10))
