"""What is read of the plan is noted, and the plan stays the same."""

import pytest

from pipeline.sources import ROOT
from pipeline.trace.plan_read import watch_plan
from schemas.study import read_config


@pytest.fixture
def watched():
    """A plan of its own, since it is changed for good."""
    return watch_plan(read_config(ROOT / "config"))


def test_what_is_read_is_told_with_its_place_and_value(watched, plan):
    assert watched.group() == {}
    assert watched.config.study.curves.days == plan.study.curves.days
    assert watched.group() == {"study.yaml curves.days": [plan.study.curves.days]}


def test_entries_by_name_are_told_together(watched):
    two = list(watched.config.maneuvers.values())[:2]
    families = [maneuver.family for maneuver in two]
    assert watched.group() == {"maneuvers.yaml *.family": families}


def test_a_copy_with_other_values_is_told_at_the_place_of_the_plan(watched, plan):
    curves = watched.config.study.curves.model_copy(update={"horizon_day": 9})
    assert curves.horizon_day == 9
    assert watched.group()["study.yaml curves.horizon_day"] == [plan.study.curves.horizon_day]


def test_the_plan_stays_what_it_is(watched, plan):
    assert watched.config.model_dump() == plan.model_dump()
    assert isinstance(watched.config.study, type(plan.study))
