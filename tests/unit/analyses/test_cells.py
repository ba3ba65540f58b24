"""Who is of which variant, and with which family the treatment began: nothing later decides."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analyses.cells import NO_FAMILY, find_members, list_cells
from schemas.derived import Attempts
from schemas.order_plan import Variant
from tests.unit.analyses.first_pool import make_pool

LONG = {"canal": "posterior", "arm": "long"}
SHORT = {"canal": "posterior", "arm": "short_or_cupula", "arm_basis": "sitting_up"}


def list_of(plan, *episodes: dict) -> pd.DataFrame:
    tables = make_pool(list(episodes))
    return list_cells(
        tables["adjudications"], tables["attempts"], plan.study.variants, plan.maneuvers
    )


@pytest.mark.parametrize(
    ("verdict", "expected"),
    [
        (LONG, {"posterior_long_arm"}),
        (SHORT, {"short_arm_by_sitting_up", "short_arm_by_nystagmus_on_sitting_up"}),
        (SHORT | {"certainty": "suspected"}, {"short_arm_by_sitting_up"}),
        (
            LONG | {"arm": "short", "arm_basis": "half_dix_hallpike"},
            {"short_arm_by_half_dix_hallpike"},
        ),
        ({"canal": "posterior", "arm": "unknown"}, set()),
        ({"canal": "lateral", "arm": "long"}, {"lateral_geotropic"}),
        ({"canal": "lateral", "arm": "short"}, {"lateral_apogeotropic_free"}),
        (
            {"canal": "lateral", "arm": "cupula", "mechanism": "cupulolithiasis"},
            {"lateral_apogeotropic_on_cupula", "adherent_debris"},
        ),
        (LONG | {"positional": "no"}, set()),
        (LONG | {"at_risk": False}, set()),
        (LONG | {"spell": 2}, set()),
        (LONG | {"family": "observe"}, set()),
    ],
)
def test_an_episode_is_listed_with_each_variant_that_the_tests_say(plan, verdict, expected):
    assert set(list_of(plan, verdict)["variant"]) == expected


@pytest.mark.parametrize(
    ("family", "expected"),
    [("semont", "semont"), ("epley semont", NO_FAMILY), ("other", NO_FAMILY)],
)
def test_only_a_session_of_one_listed_family_is_of_a_cell(plan, family, expected):
    assert list(list_of(plan, LONG | {"family": family})["family"]) == [expected]


@pytest.mark.parametrize(
    ("outcome", "tested", "negative"),
    [("negative", True, True), ("positive", True, False), ("not_tested_again", False, False)],
)
def test_the_next_test_is_the_outcome(plan, outcome, tested, negative):
    row = list_of(plan, LONG | {"outcome": outcome, "days": 5}).iloc[0]
    assert (row["tested"], row["negative"]) == (tested, negative)
    assert row["days"] == 5 if tested else np.isnan(row["days"])


def test_what_comes_after_the_next_test_changes_nothing(plan):
    tables = make_pool([LONG, LONG | {"family": "semont", "outcome": "positive"}])
    later = tables["attempts"].assign(session=2, day=30, family="gufoni", outcome="negative")
    more = Attempts.cast(pd.concat([tables["attempts"], later], ignore_index=True))
    listed = [
        list_cells(tables["adjudications"], attempts, plan.study.variants, plan.maneuvers)
        for attempts in (tables["attempts"], more)
    ]
    pd.testing.assert_frame_equal(*listed)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["posterior", "lateral", "multiple"]),
            st.sampled_from(["long", "short", "cupula", "unknown"]),
            st.sampled_from(["sitting_up", "half_dix_hallpike"]),
            st.sampled_from(["definite", "suspected"]),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_variants_of_the_first_choice_that_exclude_each_other_share_nobody(plan, verdicts):
    columns = ["canal", "arm", "arm_basis", "certainty"]
    rows = pd.DataFrame(verdicts, columns=columns).assign(mechanism="unknown").astype("string")
    members = {
        name: find_members(rows, plan.study.variants[name])
        for name in plan.study.first_choice.variants
    }
    for one in members:
        for other in members:
            variants = plan.study.variants[one], plan.study.variants[other]
            if variants[0].values != variants[1].values:
                assert not (members[one] & members[other]).any()
            elif variants[0].suspected:
                assert (members[one] | ~members[other]).all()


def test_a_variant_without_a_definition_holds_everybody():
    rows = pd.DataFrame({"certainty": ["definite", "suspected"]}, dtype="string")
    assert find_members(rows, Variant()).all()
    assert list(find_members(rows, Variant(suspected=False))) == [True, False]
