"""From one test to its finding: what it showed, toward which ear, for how long, and whether before
treatment."""

import numpy as np
import pandas as pd
import pytest

from pipeline.adjudication.findings import classify_durations, describe_tests, join_texts


@pytest.fixture
def describe(table, plan):
    """A function from tests and treatments of one episode to its findings."""

    def describe_one(*tests, treatments=({},)):
        return describe_tests(
            table("examinations", list(tests)),
            table("treatments", list(treatments)),
            plan.criteria,
        )

    return describe_one


@pytest.mark.parametrize(
    ("test", "nystagmus", "positive"),
    [
        ({}, False, False),
        ({"vertigo": "moderate"}, False, True),
        ({"vertical": "up"}, True, True),
        ({"torsion": "left"}, True, True),
        ({"horizontal": "geotropic"}, True, True),
    ],
)
def test_nystagmus_is_a_beat_in_any_plane_and_vertigo_alone_is_positive(
    describe, test, nystagmus, positive
):
    finding = describe(test).iloc[0]
    assert (finding["nystagmus"], finding["positive"]) == (nystagmus, positive)


@pytest.mark.parametrize(
    ("side", "torsion", "toward"),
    [
        ("right", "right", "lower_ear"),
        ("right", "left", "upper_ear"),
        ("left", "left", "lower_ear"),
        ("none", "left", "midline"),
        ("right", "none", "none"),
    ],
)
def test_torsion_is_told_from_the_ear_that_is_down(describe, side, torsion, toward):
    assert describe({"side": side, "torsion": torsion})["torsion_toward"].item() == toward


def test_a_duration_at_either_end_of_the_band_is_borderline(plan):
    band = plan.criteria.duration
    low, high = band.borderline_from_s, band.borderline_to_s
    seconds = pd.Series([low - 0.1, low, high, high + 0.1, np.nan])
    assert classify_durations(seconds, band).tolist() == [
        "short",
        "borderline",
        "borderline",
        "long",
        "unknown",
    ]


FOUND = [
    # 95th centiles of healthy people: 5.06 degrees per second horizontally, 6.48 vertically
    # (Martens C et al. Otolaryngol Head Neck Surg 2016;154:861-867)
    ({"horizontal": "right", "peak_spv": 5.05}, "slow"),
    ({"horizontal": "right", "peak_spv": 5.06}, "fast"),
    ({"vertical": "down", "peak_spv": 6.47}, "slow"),
    ({"vertical": "down", "peak_spv": 6.48}, "fast"),
    ({"vertical": "up", "horizontal": "right", "peak_spv": 6}, "slow"),
    ({"horizontal": "right"}, "unknown"),
    ({"horizontal": "right", "fixation_removed": "yes"}, "unknown"),
    ({"horizontal": "right", "fixation_removed": "no"}, "fast"),
    ({"horizontal": "right", "fixation_removed": "no", "peak_spv": 3}, "fast"),
    ({"fixation_removed": "no"}, "unknown"),
]


@pytest.mark.parametrize(("test", "velocity"), FOUND)
def test_a_velocity_is_compared_with_healthy_people_by_direction(describe, test, velocity):
    assert describe(test)["velocity_class"].item() == velocity


@pytest.mark.parametrize(
    ("test", "before"),
    [
        ({"day": 2}, True),
        ({"day": 3, "after_attempt": 0, "examination": 2}, True),
        ({"day": 3, "after_attempt": 1, "examination": 2}, False),
        ({"day": 3, "after_attempt": pd.NA, "examination": 1}, True),
        ({"day": 4, "after_attempt": pd.NA}, False),
    ],
    ids=["day before", "said before", "said after", "first of the day", "day after"],
)
def test_before_treatment_is_before_the_first_attempt(describe, test, before):
    treated = ({"day": 3}, {"day": 9, "attempt": 2})
    assert describe(test, treatments=treated)["before_treatment"].tolist() == [before]


@pytest.mark.parametrize(
    ("second", "third", "before"),
    [
        ({"side": "left"}, {"test": "supine_roll"}, [True, True, True]),
        ({}, {"test": "supine_roll"}, [True, False, False]),
        ({"side": "left"}, {}, [True, True, False]),
        ({"after_attempt": 1}, {"test": "supine_roll"}, [True, False, False]),
        ({"after_attempt": 0}, {"test": "supine_roll"}, [True, True, False]),
    ],
    ids=["each once", "repeated at once", "repeated later", "said after", "repeated but said"],
)
def test_tests_of_that_day_without_order_are_before_until_one_is_repeated(
    describe, second, third, before
):
    untold = {"day": 3, "after_attempt": pd.NA, "test": "dix_hallpike", "side": "right"}
    rows = [untold | more | {"examination": n} for n, more in enumerate(({}, second, third), 1)]
    findings = describe(*rows, treatments=({"day": 3},))
    assert findings.sort_values("examination")["before_treatment"].tolist() == before


def test_another_day_says_nothing_of_the_order(describe):
    tests = [{"day": day, "after_attempt": pd.NA} for day in (1, 3)]
    assert describe(*tests, treatments=({"day": 3},))["before_treatment"].all()


def test_without_treatment_all_tests_are_before_it(describe):
    assert describe({"day": 0}, {"day": 50}, treatments=())["before_treatment"].all()


def test_texts_are_joined_without_a_trace_of_empty_ones():
    parts = [pd.Series(["a", None, ""]), pd.Series(["b", "b", None])]
    assert join_texts(parts).tolist() == ["a b", "b", ""]
