"""The program of a release comes out of the project's history by its fingerprint."""

import subprocess

import pytest

from pipeline.releases.programs import NoProgram, find_commit, find_program, has_other_lock
from pipeline.sources import ROOT, fingerprint_code, fingerprint_files, is_own_file


def git(folder, *words):
    person = ["-c", "user.name=Nobody", "-c", "user.email=nobody@example.org"]
    done = subprocess.run(
        ["git", *person, *words], cwd=folder, check=True, capture_output=True, text=True
    )
    return done.stdout.strip()


def fingerprint(folder):
    """As the program would say it of itself there."""
    files = [
        path
        for path in folder.rglob("*")
        if path.is_file() and is_own_file(path.relative_to(folder))
    ]
    return fingerprint_files(files, folder)


@pytest.fixture
def project(tmp_path):
    """A project of three commits, with the fingerprint of its program at each."""
    root, seen = tmp_path / "project", []
    (root / "pipeline" / "deep").mkdir(parents=True)
    (root / "docs").mkdir()
    git(root, "init", "-q")
    versions = [
        {"Snakefile": "rule all:\n", "pipeline/deep/a.py": "A = 1\n", "docs/a.md": "one\n"},
        {"docs/a.md": "two\n"},
        {"pipeline/deep/a.py": "A = 2\n", "pipeline/deep.py": "", "pipeline/notes.txt": "none"},
    ]
    for files in versions:
        for name, text in files.items():
            (root / name).write_text(text, "utf-8")
        git(root, "add", "-A")
        git(root, "commit", "-q", "-m", "Something")
        seen.append((git(root, "rev-parse", "HEAD"), fingerprint(root)))
    return root, seen


def test_a_program_is_found_and_unpacked_as_it_was(project, tmp_path):
    root, seen = project
    assert seen[0][1] == seen[1][1] != seen[2][1]  # documents are no program
    assert find_commit(seen[2][1], root) == seen[2][0]
    place = find_program(seen[0][1], tmp_path / "unpacked", root)
    assert fingerprint(place) == seen[0][1]
    assert (place / "docs" / "a.md").exists()


def test_a_program_that_was_never_committed_is_refused_with_a_sentence(project, tmp_path):
    root, _ = project
    (root / "Snakefile").write_text("changed", "utf-8")
    with pytest.raises(NoProgram, match="in no commit of the project's history"):
        find_program(fingerprint(root), tmp_path / "unpacked", root)
    with pytest.raises(NoProgram):
        find_program("0" * 64, tmp_path / "unpacked", tmp_path)  # no history at all
    assert not (tmp_path / "unpacked").exists()


def test_the_program_that_runs_needs_no_history(tmp_path):
    assert find_program(fingerprint_code(), tmp_path / "unpacked") == ROOT
    assert not (tmp_path / "unpacked").exists()


def test_other_libraries_are_noticed(tmp_path):
    (tmp_path / "requirements.lock").write_bytes((ROOT / "requirements.lock").read_bytes())
    assert not has_other_lock(tmp_path)
    (tmp_path / "requirements.lock").write_text("pandas==1\n")
    assert has_other_lock(tmp_path)
