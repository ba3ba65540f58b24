"""What all tests share: the plan of the project, and how they are spread over processes."""

import gc
import os

# As in the workflow: processes share the cores. numpy looks at it once, when it is first imported,
# which the schemas do.
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

from pathlib import Path

import pytest
from hypothesis import settings

from schemas.study import Config, read_config

# The same examples at every run, so that a verdict on the code does not change with the day,
# nor with what else the machine does; `--hypothesis-profile=search` draws new ones.
settings.register_profile("steady", derandomize=True, deadline=None)
settings.register_profile("search", derandomize=False, deadline=None, print_blob=True)
settings.load_profile("steady")

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="session")
def plan() -> Config:
    """The plan in `config/`."""
    return read_config(ROOT / "config")


@pytest.fixture(scope="session")
def any_width(plan: Config) -> Config:
    """The same plan, but that ranges of any width are told: for tests of the limits themselves."""
    guards = plan.study.guards.model_copy(
        update={"widest_range_points": 100.0, "widest_ratio": 1e9}
    )
    return plan.model_copy(update={"study": plan.study.model_copy(update={"guards": guards})})


def pytest_collection_finish() -> None:
    """What was collected stays to the end: the collector of garbage need not walk through thousands
    of tests again and again, which took a sixth of their time."""
    gc.collect()
    gc.freeze()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The file that runs the whole pool begins; others that look at that run come last,
    when it is there."""
    items.sort(
        key=lambda item: (
            item.path.name != "test_pool.py",
            "pool_run" in getattr(item, "fixturenames", ()),
        )
    )
