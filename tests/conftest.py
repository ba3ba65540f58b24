"""What all tests share: the plan of the project."""

from pathlib import Path

import pytest

from schemas.study import Config, read_config

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def plan() -> Config:
    """The plan in `config/`."""
    return read_config(ROOT / "config")
