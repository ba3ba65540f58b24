"""Which files a step is made of, and fingerprints of files."""

from pathlib import Path

import pytest

from pipeline.sources import (
    ROOT,
    find_imports,
    find_libraries,
    find_sources,
    fingerprint_files,
    fingerprint_plan,
    list_own_files,
)


def names(paths: list[str]) -> set[str]:
    return {Path(path).relative_to(ROOT).as_posix() for path in paths}


def test_a_module_is_made_of_what_it_imports_near_and_far():
    sources = names(find_sources("pipeline.derivation.states"))
    assert {"pipeline/derivation/states.py", "pipeline/adjudication/rolls.py"} <= sources
    assert "pipeline/derivation/spells.py" not in sources
    assert find_sources("pipeline.no_such_module") == []


def test_imports_name_the_packages_that_hold_them_and_nobody_elses(tmp_path):
    path = tmp_path / "one.py"
    path.write_text("import pandas\nfrom schemas.keys import EPISODE\nimport pipeline.sources\n")
    assert find_imports(path) == {
        "schemas",
        "schemas.keys",
        "schemas.keys.EPISODE",
        "pipeline",
        "pipeline.sources",
    }


def test_the_workflow_templates_and_code_are_our_files():
    files = {path.relative_to(ROOT).as_posix() for path in list_own_files()}
    assert {"Snakefile", "pipeline/rules/rows.smk", "reports/style.css", "schemas/keys.py"} <= files
    assert not any(name.startswith("tests/") for name in files)


def test_libraries_are_named_as_they_are_installed():
    libraries = find_libraries()
    assert {"pandas", "PyYAML", "scipy"} <= set(libraries)
    assert not {"yaml", "os", "schemas", "pytest"} & set(libraries)


@pytest.mark.parametrize("change", ["bytes", "name", "more"])
def test_a_fingerprint_tells_names_and_bytes_and_no_order(tmp_path, change):
    for name, text in (("a", "1"), ("b", "2")):
        (tmp_path / name).write_text(text)
    paths = [tmp_path / "a", tmp_path / "b"]
    before = fingerprint_files(paths, tmp_path)
    assert fingerprint_files(paths[::-1], tmp_path) == before
    if change == "bytes":
        paths[0].write_text("3")
    elif change == "name":
        paths[0] = paths[0].rename(tmp_path / "c")
    else:
        (tmp_path / "d").write_text("")
        paths.append(tmp_path / "d")
    assert fingerprint_files(paths, tmp_path) != before


def test_own_names_of_a_site_are_of_the_plan(tmp_path):
    """They decide what is read of its deliveries."""
    (tmp_path / "sites").mkdir()
    (tmp_path / "study.yaml").write_text("title: one\n")
    before = fingerprint_plan(tmp_path)
    (tmp_path / "sites" / "S03.yaml").write_text("columns: {}\n")
    assert fingerprint_plan(tmp_path) != before
