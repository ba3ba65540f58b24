"""With the checks of the models switched off nothing may be received."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from pandera.config import config_context

from pipeline.intake.check import ChecksOff

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
