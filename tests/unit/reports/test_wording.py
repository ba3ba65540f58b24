"""Words that all pages share."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.wording import join_words, name_stratum, say_percent
from schemas import codes


def test_codes_are_said_in_words(plan):
    listed = {
        "canal": codes.CANAL,
        "arm": codes.ARM,
        "arm_basis": codes.ARM_BASIS,
        "basis": codes.ARM_BASIS,
        "mechanism": codes.MECHANISM,
        "certainty": codes.CERTAINTY,
        "cause": codes.CAUSE,
        "sex": codes.SEX,
        "side": codes.SIDE,
        "reason": [
            *codes.OTHER_DIAGNOSIS,
            *plan.criteria.flags,
            *plan.criteria.other_causes,
            "no_canal_recorded",
        ],
        "first_maneuver": [maneuver.family for maneuver in plan.maneuvers.values()],
    }
    for variable, values in listed.items():
        for value in values:
            assert "_" not in name_stratum(f"{variable}={value}", plan)


@given(st.floats(0, 1, allow_nan=False))
def test_only_none_is_said_to_be_none_and_only_all_to_be_all(share):
    printed = say_percent(share)
    assert (printed == "0\u00a0%") == (share == 0)
    assert (printed == "100\u00a0%") == (share == 1)


def test_words_are_joined_so_that_parts_stay_apart():
    assert join_words(["a"]) == "a"
    assert join_words(["a", "b", "c"]) == "a, b and c"
    assert join_words(["a, x", "b"]) == "a, x; and b"
