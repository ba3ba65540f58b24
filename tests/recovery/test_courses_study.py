"""The table of courses after first maneuvers is what the README says."""

from pathlib import Path

import pandas as pd

from tests.recovery.courses_study import CHOSEN, show_courses
from tests.recovery.strategies import SCENARIOS

HERE = Path(__file__).parent


def test_the_readme_shows_the_table():
    found = pd.read_csv(HERE / "first_courses.csv", comment="#")
    assert set(found["scenario"]) == {*SCENARIOS, CHOSEN}
    assert show_courses(found) in (HERE / "README.md").read_text("utf-8")
