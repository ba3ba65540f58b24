"""The table of orders of maneuvers is what the README says, and complete."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.strategy import Strategy
from tests.recovery.scenarios import VARIANTS
from tests.recovery.strategies import PLACES, SCENARIOS, follow_truly, show_strategies

HERE = Path(__file__).parent


def test_the_readme_shows_the_table():
    found = pd.read_csv(HERE / "strategies.csv", comment="#")
    assert list(found["scenario"].unique()) == sorted(SCENARIOS)
    assert show_strategies(found) in (HERE / "README.md").read_text("utf-8")


@pytest.mark.parametrize("variant", PLACES)
def test_the_truth_is_a_mixture_of_exponentials(variant):
    place = VARIANTS[PLACES[variant]]
    share = follow_truly("equal_sites", variant, Strategy(*place.families, 1))
    assert share[0] == 1
    assert (np.diff(share) < 0).all()
    falls = -np.diff(np.log(share))
    sessions = [0, 7, 14, 21]
    assert set(np.argsort(falls)[-4:]) == set(sessions)  # on the days after them
