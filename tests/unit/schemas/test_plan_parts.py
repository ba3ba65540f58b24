"""What a step is given of the plan, and what changes when that does."""

import pytest

from schemas.plan_parts import READS, fingerprint_parts, take_parts


@pytest.mark.parametrize("step", READS)
def test_a_step_has_its_parts_as_they_are_and_no_others(plan, step):
    taken = take_parts(plan, step)
    assert taken.maneuvers == plan.maneuvers
    assert taken.sites == plan.sites
    for read in (lambda: taken.published, lambda: taken.study.second_line):
        with pytest.raises(AttributeError):
            read()


def change(plan, part, values):
    study = plan.study.model_copy(
        update={part: getattr(plan.study, part).model_copy(update=values)}
    )
    return plan.model_copy(update={"study": study})


def test_the_fingerprint_changes_with_the_parts_of_the_step_alone(plan):
    later = change(plan, "resolution", {"recurrence_gap": 99})
    wider = change(plan, "curves", {"horizon_day": 99})
    assert fingerprint_parts(later, "store") != fingerprint_parts(plan, "store")
    assert fingerprint_parts(later, "intake") == fingerprint_parts(plan, "intake")
    for step in READS:
        assert fingerprint_parts(wider, step) == fingerprint_parts(plan, step)
        fewer = plan.model_copy(update={"maneuvers": dict(list(plan.maneuvers.items())[1:])})
        assert fingerprint_parts(fewer, step) != fingerprint_parts(plan, step)
        assert fingerprint_parts(plan.model_copy(update={"sites": {}}), step) == fingerprint_parts(
            plan, step
        )
