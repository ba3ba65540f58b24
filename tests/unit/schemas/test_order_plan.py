"""The plan of strategies: closed, and within the days of the curves."""

import pytest
from pydantic import ValidationError

from schemas.order_plan import Strategies
from schemas.study import Study


def test_a_misspelt_or_impossible_value_is_refused(plan):
    fields = plan.study.strategies.model_dump()
    assert Strategies.model_validate(fields) == plan.study.strategies
    for fault in ({"session": 3}, {"sessions": 1}, {"retest_days": 0}, {"days": [0, 7]}):
        with pytest.raises(ValidationError):
            Strategies.model_validate(fields | fault)


@pytest.mark.parametrize("late", [{"days": [7, 61]}, {"horizon_day": 61}, {"retest_days": 21}])
def test_strategies_end_within_the_curves(plan, late):
    fields = plan.study.model_dump()
    fields["strategies"] |= late
    with pytest.raises(ValidationError, match=r"strategies must end at or before"):
        Study.model_validate(fields)


@pytest.mark.parametrize(
    "variants",
    [
        ["adherent_debris"],  # of any canal
        ["short_arm_by_treatment_response"],
        ["short_arm_by_sitting_up", "short_arm_by_nystagmus_on_sitting_up"],
        ["no_such"],
    ],
)
def test_strategies_are_of_distinct_variants_of_one_canal(plan, variants):
    fields = plan.study.model_dump()
    fields["strategies"] |= {"variants": variants}
    with pytest.raises(ValidationError, match=r"strategies\.variants"):
        Study.model_validate(fields)
