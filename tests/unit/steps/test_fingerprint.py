"""What a release says it was made with is what the code imports."""

import re

import pandas as pd
import pytest

from pipeline.sources import ROOT
from pipeline.steps.fingerprint import list_fingerprints
from schemas.notes import FIRST_YEAR, LAST_YEAR

DELIVERIES = pd.DataFrame(
    {
        "site": ["S01", "S02", "S03"],
        "is_current": [True, True, True],
        "fingerprint": ["0", "1", "2"],
        "first_year": [2019, 2022, 2023],
        "last_year": [2023, 2024, None],
    }
)
AT_A_TERMINAL = ("desk", "commands")  # they make no number
CODE = "\n".join(
    path.read_text("utf-8")
    for path in sorted((ROOT / "pipeline").rglob("*.py"))
    if path.relative_to(ROOT / "pipeline").parts[0] not in AT_A_TERMINAL
)


@pytest.fixture(scope="module")
def named() -> set[str]:
    """What a release says that it was made with."""
    return set(list_fingerprints(DELIVERIES, ROOT / "config")["name"])


@pytest.mark.parametrize(
    "library",
    [
        "duckdb",
        "hypothesis",
        "lifelines",
        "matplotlib",
        "numpy",
        "pandas",
        "pytest",
        "scipy",
        "starlette",
        "statsmodels",
        "typst",
        "uvicorn",
    ],
)
def test_a_library_is_named_if_and_only_if_code_that_makes_numbers_imports_it(library, named):
    imported = re.search(rf"^\s*(import|from) {library}\b", CODE, re.MULTILINE) is not None
    assert (library in named) == imported


def test_what_runs_the_steps_is_named(named):
    assert "snakemake" in named


def test_the_years_are_those_that_more_than_one_site_has():
    """2019 to 2021 would tell of the first site, and 2024 of the second."""
    values = list_fingerprints(DELIVERIES, ROOT / "config").set_index("name")["value"]
    assert (values[FIRST_YEAR], values[LAST_YEAR]) == ("2022", "2023")
    alone = list_fingerprints(DELIVERIES[:1], ROOT / "config")
    assert not alone["name"].isin([FIRST_YEAR, LAST_YEAR]).any()


def test_what_a_site_no_longer_hands_in_has_no_year():
    former = DELIVERIES.assign(is_current=[True, False, True])
    assert FIRST_YEAR not in set(list_fingerprints(former, ROOT / "config")["name"])


def test_a_list_of_those_who_withdrew_is_of_the_records(tmp_path):
    """No delivery changes when somebody withdraws, but numbers do."""
    lists = [tmp_path / "withdrawn.csv"]

    def read(withdrawn):
        made_from = list_fingerprints(DELIVERIES, ROOT / "config", withdrawn)
        return made_from.set_index("name")["value"]["deliveries"]

    lists[0].write_text("patient_id\nPT-1\n")
    one = read(lists)
    lists[0].write_text("patient_id\nPT-2\n")
    assert len({read([]), one, read(lists)}) == 3
