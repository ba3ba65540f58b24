"""What all tests share: the plan of the project, and how they are spread over processes."""

from pathlib import Path

import pytest

from schemas.study import Config, read_config

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def plan() -> Config:
    """The plan in `config/`."""
    return read_config(ROOT / "config")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests of one file in one process, and all that look at one run of the whole pool; the long ones begin."""
    for item in items:
        item.add_marker(pytest.mark.xdist_group("pool" if runs_pool(item) else str(item.path)))
    items.sort(key=lambda item: not runs_pool(item))


def runs_pool(item: pytest.Item) -> bool:
    """Whether a test looks at the run of the demonstration pool, which is made once a process."""
    return "pool_run" in getattr(item, "fixturenames", ())
