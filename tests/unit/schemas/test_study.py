"""A plan whose parts contradict each other is refused, and counts round as they say."""

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from schemas.order_plan import FirstChoice, SecondLine
from schemas.site_map import SiteMap
from schemas.study import Config, Curves, Disclosure, Study, round_count


@pytest.mark.parametrize(
    ("days", "horizon", "fits"),
    [
        ((1, 7, 60), 60, True),
        ((1, 7, 61), 60, False),
        ((7, 1), 60, False),
        ((1, 7, 7), 60, False),
    ],
)
def test_days_of_curves_rise_to_the_horizon(plan, days, horizon, fits):
    fields = plan.study.curves.model_dump() | {"days": days, "horizon_day": horizon}
    if fits:
        assert Curves.model_validate(fields).days == days
    else:
        with pytest.raises(ValidationError, match="must rise and end at or before"):
            Curves.model_validate(fields)


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"days": (7, 30), "primary_day": 30, "horizon_day": 30}, ""),
        ({"days": (7, 30), "primary_day": 14, "horizon_day": 60}, "primary_day must be one of"),
        ({"days": (7, 30), "primary_day": 7, "horizon_day": 29}, "none may be after"),
        ({"truncate": (0.0, 1.0)}, ""),
        ({"truncate": (0.5, 0.5)}, "two rising quantiles"),
        ({"truncate": (-0.1, 0.9)}, "two rising quantiles"),
        ({"truncate": (0.1, 1.1)}, "two rising quantiles"),
    ],
)
def test_the_second_line_s_days_and_quantiles_fit(plan, more, fault):
    fields = plan.study.second_line.model_dump() | more
    if fault:
        with pytest.raises(ValidationError, match=fault):
            SecondLine.model_validate(fields)
    else:
        SecondLine.model_validate(fields)


@pytest.mark.parametrize("truncate", [(0.5, 0.5), (-0.1, 0.9), (0.1, 1.1)])
def test_weights_of_the_first_choice_are_cut_at_rising_quantiles(plan, truncate):
    fields = plan.study.first_choice.model_dump() | {"truncate": truncate}
    with pytest.raises(ValidationError, match="two rising quantiles"):
        FirstChoice.model_validate(fields)


@pytest.mark.parametrize(
    ("part", "variants", "fault"),
    [
        ("first_choice", ("posterior_long_arm", "no_such"), "no variants of this plan: no_such"),
        ("second_line", ("no_such",), "no variants of this plan: no_such"),
        (
            "first_choice",
            ("posterior_on_cupula", "adherent_debris"),
            "may be posterior_on_cupula and adherent_debris",
        ),
    ],
)
def test_variants_are_known_and_those_of_the_first_choice_exclude_each_other(
    plan, part, variants, fault
):
    content = copy.deepcopy(plan.study.model_dump())
    content[part]["variants"] = variants
    with pytest.raises(ValidationError, match=fault):
        Study.model_validate(content)


def test_own_names_of_maneuvers_lead_to_listed_ones(plan):
    def name_code(code: str) -> dict:
        content = copy.deepcopy(plan.model_dump())
        entries = {"treatments": {"maneuver": {"ours": code}}}
        return content | {"sites": {"S01": SiteMap.model_validate({"codes": entries}).model_dump()}}

    Config.model_validate(name_code("epley"))
    with pytest.raises(ValidationError, match=r"sites/S01.yaml: no maneuvers .*: no_such"):
        Config.model_validate(name_code("no_such"))


@given(st.integers(0, 10_000), st.sampled_from([1, 5, 10]))
def test_a_count_rounds_to_the_nearest_multiple_and_the_middle_goes_up(number, multiple):
    rounded = round_count(number, multiple)
    assert rounded % multiple == 0
    assert abs(number - rounded) <= multiple / 2
    assert number - rounded < multiple / 2


@pytest.mark.parametrize(("number", "rounded"), [(4, 0), (5, 10), (14, 10), (15, 20), (25, 30)])
def test_counts_round_by_ten(number, rounded):
    assert round_count(number, 10) == rounded


@given(st.integers(2, 40), st.sampled_from([2, 10, 20]))
def test_the_least_shown_is_the_first_from_the_least_group_that_rounds_upwards(least, multiple):
    rule = Disclosure(
        min_cell=least, round_counts=multiple, min_sites=2, max_share=0.8, min_renewed=0.8
    )
    shown = rule.least_shown
    alike = [n for n in range(200) if round_count(n, multiple) == round_count(shown, multiple)]
    assert shown >= least
    # the first of all that round to one number: none stands for fewer counts than another
    assert shown == alike[0]
    assert len(alike) == multiple
    assert shown - multiple < least
