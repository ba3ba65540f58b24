"""With the checks of the models switched off nothing may be received, and cells fit their column
just where pandera finds no fault."""

import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from pandera.config import config_context

from pipeline.intake.check import ChecksOff, find_failures, fits, list_cell_checks
from schemas.delivery import Episodes

ROOT = Path(__file__).parent.parent.parent.parent
ASK = "from pipeline.intake.check import require_checks; require_checks()"


@pytest.mark.parametrize(
    "switch", [{"PANDERA_VALIDATION_ENABLED": "False"}, {"PANDERA_VALIDATION_DEPTH": "SCHEMA_ONLY"}]
)
def test_switched_off_checks_stop_the_program(switch):
    done = subprocess.run(
        [sys.executable, "-c", ASK],
        cwd=ROOT,
        env=os.environ | switch,
        capture_output=True,
        text=True,
    )
    assert done.returncode != 0
    assert "ChecksOff" in done.stderr
    assert next(iter(switch)) in done.stderr


def test_receiving_asks_first(receive, tables, monkeypatch):
    with config_context(validation_enabled=False), pytest.raises(ChecksOff):
        receive(tables)


@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("age_years", [57, 89]),
        ("age_years", [57, 90]),
        ("age_years", [pd.NA, 57]),
        ("age_years", [pd.NA, pd.NA]),
        ("episode_id", ["EP-1", "EP-2"]),
        ("episode_id", ["EP-1", pd.NA]),
        ("episode_id", [pd.NA, pd.NA]),
        ("episode_id", ["EP 1", "EP-2"]),
        ("sex", ["female", "male"]),
        ("sex", ["female", "femal"]),
        ("sex", []),
    ],
)
def test_cells_fit_just_where_no_fault_has_a_place(name, cells):
    column = list_cell_checks(Episodes)[name]
    given = pd.Series(cells, name=name, dtype=Episodes.describe()[name].dtype)
    assert fits(column, given) == find_failures(column, given.to_frame()).empty
