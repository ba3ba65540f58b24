"""Tolerances are bounds in order."""

import pytest
from pydantic import ValidationError

from schemas.failure import Tolerance


@pytest.mark.parametrize(
    ("bounds", "fault"),
    [
        ({}, "needs a least or a most"),
        ({"least": 3, "most": 2}, "must not be above"),
        ({"least": 2, "most": 2}, ""),
        ({"least": 2}, ""),
        ({"most": 2}, ""),
    ],
)
def test_a_tolerance_has_a_bound_and_bounds_are_in_order(plan, bounds, fault):
    known = next(iter(plan.failure.tolerances.values())).model_dump()
    fields = {
        name: value for name, value in known.items() if name not in ("least", "most")
    } | bounds
    if fault:
        with pytest.raises(ValidationError, match=fault):
            Tolerance.model_validate(fields)
    else:
        assert Tolerance.model_validate(fields).least == bounds.get("least")
