"""What a release says it was made with is what the code imports."""

import re

import pandas as pd
import pytest

from pipeline.sources import ROOT
from pipeline.steps.fingerprint import list_fingerprints

DELIVERIES = pd.DataFrame({"site": ["S01"], "is_current": [True], "fingerprint": ["0"]})
CODE = "\n".join(path.read_text("utf-8") for path in sorted((ROOT / "pipeline").rglob("*.py")))


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
def test_a_library_is_named_as_used_if_and_only_if_code_imports_it(library):
    imported = re.search(rf"^\s*(import|from) {library}\b", CODE, re.MULTILINE) is not None
    assert (library in set(list_fingerprints(DELIVERIES, ROOT / "config")["name"])) == imported


def test_what_runs_the_steps_is_named():
    assert "snakemake" in set(list_fingerprints(DELIVERIES, ROOT / "config")["name"])
