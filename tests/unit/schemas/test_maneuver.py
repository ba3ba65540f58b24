"""Maneuvers that contradict themselves or each other are refused with a sentence."""

import pytest
from pydantic import TypeAdapter, ValidationError

from schemas.maneuver import Maneuver, Maneuvers, Technique, make_maneuver_vocabulary


@pytest.fixture
def epley(plan) -> dict:
    """The plan's own entry, without alternatives."""
    return plan.maneuvers["epley"].model_dump() | {"alternatives": ()}


@pytest.mark.parametrize(
    ("more", "fault"),
    [
        ({"treats": None}, "treats must be one_ear"),
        ({"treats": "both_ears_at_once"}, ""),  # as a bow toward the ground and back
        ({"sided": False}, "treats must be one_ear"),
        ({"sided": False, "treats": "both_ears_at_once"}, ""),
        ({"technique": None}, "technique is missing"),
        ({"kind": "observation"}, "only maneuvers and exercises"),
    ],
)
def test_whom_a_maneuver_treats_agrees_with_how_it_is_done(epley, more, fault):
    if fault:
        with pytest.raises(ValidationError, match=fault):
            Maneuver.model_validate(epley | more)
    else:
        Maneuver.model_validate(epley | more)


@pytest.mark.parametrize("part", ["treats", "technique", "cautions", "alternatives"])
def test_observation_has_nothing_of_a_maneuver(plan, part):
    full = plan.maneuvers["epley"].model_dump()
    plain = plan.maneuvers["observe"].model_dump()
    assert Maneuver.model_validate(plain).kind == "observation"
    cautions = {"codes": ("neck_limitation",), "source": "s", "standing": "established"}
    value = cautions if part == "cautions" else full[part] or ("semont",)
    with pytest.raises(ValidationError):
        Maneuver.model_validate(plain | {part: value})


@pytest.mark.parametrize(
    ("least", "most", "fits"), [(30, 60, True), (60, 60, True), (61, 60, False)]
)
def test_holds_are_in_order(plan, least, most, fits):
    fields = plan.maneuvers["epley"].technique.model_dump()
    fields |= {"hold_least_s": least, "hold_most_s": most}
    if fits:
        Technique.model_validate(fields)
    else:
        with pytest.raises(ValidationError, match="must not be above"):
            Technique.model_validate(fields)


@pytest.mark.parametrize(
    ("alternatives", "fault"),
    [
        (("epley",), "is not another maneuver"),
        (("no_such",), "is not another maneuver"),
        (("other_canal",), "is for no canal of it"),
        (("semont",), ""),
    ],
)
def test_alternatives_are_other_maneuvers_for_the_same_canal(plan, epley, alternatives, fault):
    other = epley | {"canals": ("lateral",), "also_called": ()}
    maneuvers = {
        "epley": epley | {"alternatives": alternatives},
        "semont": plan.maneuvers["semont"].model_dump() | {"alternatives": ()},
        "other_canal": other,
    }
    if fault:
        with pytest.raises(ValidationError, match=fault):
            TypeAdapter(Maneuvers).validate_python(maneuvers)
    else:
        TypeAdapter(Maneuvers).validate_python(maneuvers)


def test_another_name_means_one_maneuver(epley):
    twin = epley | {"also_called": ("the turn",)}
    with pytest.raises(ValidationError, match="two maneuvers are called the turn"):
        TypeAdapter(Maneuvers).validate_python({"one": twin, "two": twin})


def test_other_names_lead_to_their_code(plan):
    vocabulary = make_maneuver_vocabulary(plan.maneuvers)
    assert vocabulary.codes == tuple(plan.maneuvers)
    assert vocabulary.words["observation"] == "observe"
