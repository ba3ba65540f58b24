"""What all tests share: the plan of the project, and how they are spread over processes."""

from pathlib import Path

import pytest

from schemas.study import Config, read_config

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def plan() -> Config:
    """The plan in `config/`."""
    return read_config(ROOT / "config")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The file that runs the whole pool begins; others that look at that run come last, when it is there."""
    items.sort(key=lambda item: (item.path.name != "test_pool.py", "pool_run" in getattr(item, "fixturenames", ())))
