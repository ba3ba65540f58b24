"""Published trials and pools that cannot be so are refused with a sentence."""

import copy

import pytest
from pydantic import ValidationError

from schemas.published import Published, Trial, TrialArm


@pytest.mark.parametrize(("events", "fits"), [(0, True), (18, True), (19, False)])
def test_no_arm_has_more_events_than_people(events, fits):
    fields = {"family": "epley", "events": events, "total": 18}
    if fits:
        assert TrialArm.model_validate(fields).events == events
    else:
        with pytest.raises(ValidationError, match="must not be above total"):
            TrialArm.model_validate(fields)


def test_arms_of_a_trial_differ(plan):
    trial = next(t for t in plan.published.trials.values() if len(t.arms) == 2).model_dump()
    assert Trial.model_validate(trial)
    with pytest.raises(ValidationError, match="two arms have the same family"):
        Trial.model_validate(trial | {"arms": (trial["arms"][0],) * 2})


@pytest.mark.parametrize("fault", ["unknown trial", "arm that it has not"])
def test_a_pool_is_of_trials_with_both_arms(plan, fault):
    content = copy.deepcopy(plan.published.model_dump())
    assert Published.model_validate(content) == plan.published
    pool = next(iter(content["pools"].values()))
    if fault == "unknown trial":
        pool["trials"] = (*pool["trials"], "no_such")
    else:
        pool["comparator"] = "no_such"
    with pytest.raises(ValidationError, match="is no trial with both arms"):
        Published.model_validate(content)
