"""What a release says it was made with is what the code imports."""

import re

import pandas as pd
import pytest

from pipeline.sources import ROOT
from pipeline.steps.fingerprint import list_fingerprints

DELIVERIES = pd.DataFrame({"site": ["S01"], "is_current": [True], "fingerprint": ["0"]})
CODE = "\n".join(path.read_text("utf-8") for path in sorted((ROOT / "pipeline").rglob("*.py")))


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
        "statsmodels",
    ],
)
def test_a_library_is_named_as_used_if_and_only_if_code_imports_it(library, named):
    imported = re.search(rf"^\s*(import|from) {library}\b", CODE, re.MULTILINE) is not None
    assert (library in named) == imported


def test_what_runs_the_steps_is_named(named):
    assert "snakemake" in named
