"""Which sums hold between the people of a release: of divisions, of chains over days and points,
of paths, of diagnoses that agree, and of no two sets that may overlap."""

import numpy as np
import pytest

from pipeline.disclosure.cells import Cells
from pipeline.disclosure.equations import add_equations
from pipeline.disclosure.people import Group


def relate(*people: tuple[str, dict, float]) -> set[str]:
    """The sums of cells of these names, what narrows them, and numbers, as texts; each adds up."""
    cells = Cells(0)
    for name, narrowed, value in people:
        cells.add(Group(name, frozenset(narrowed.items())), value)
    add_equations(cells, 11)
    equations = set()
    for equation in cells.equations:
        sides: dict[int, list[str]] = {-1: [], 1: []}
        for n, sign in equation:
            sides[sign].append(cells.keys[n].say())
        equations.add(f"{sides[-1][0]} = {' + '.join(sorted(sides[1]))}")
        assert np.isclose(sum(sign * cells.values[n] for n, sign in equation), 0)
    return equations


def test_a_set_is_divided_by_what_narrows_it_and_what_is_left_is_people_too():
    assert relate(
        ("stored", {}, 50),
        ("stored", {"sex": "*"}, 45),
        ("stored", {"sex": "male"}, 20),
        ("stored", {"sex": "female"}, 25),
    ) == {
        "stored, sex=* = stored, sex=female + stored, sex=male",
        "stored = stored, sex=* + stored, without whose sex is told",
        "stored = stored, sex=female + stored, sex=male + stored, without by sex",
    }


def test_values_counted_together_are_no_further_part():
    assert relate(
        ("stored", {}, 50),
        ("stored", {"age": "0-39+40-59"}, 30),
        ("stored", {"age": "0-39"}, 10),
        ("stored", {"age": "40-59"}, 20),
        ("stored", {"age": "60+"}, 20),
    ) == {"stored = stored, age=0-39 + stored, age=40-59 + stored, age=60+"}


def test_small_parts_that_overlap_are_not_taken_for_what_the_others_leave():
    # 45 + 3 + 4 are more than 50: somebody is in two of them, so nothing adds up to the whole
    equations = relate(
        ("stored", {}, 50),
        ("stored", {"sex": "male"}, 45),
        ("stored", {"sex": "female"}, 3),
        ("stored", {"sex": "other"}, 4),
    )
    assert not any(equation.startswith("stored =") for equation in equations)
    assert len(equations) == 1  # the small ones together


def test_sets_that_may_overlap_or_are_apart_by_their_day_divide_nothing():
    assert relate(("stored", {}, 50), ("stored", {"reason": "a"}, 45)) == set()
    assert relate(("stored", {}, 50), ("stored", {"day": "7"}, 45)) == set()


def test_those_still_free_of_a_return_are_fewer_by_the_day():
    equations = relate(
        ("resolved objective", {}, 50),
        ("free objective", {"day": "30"}, 20),
        ("free objective", {"day": "60"}, 20),
        ("free objective", {"day": "90"}, 5),
    )
    assert "free objective, day=30 = free objective, day=60" in equations  # the same people
    assert (
        "free objective, day=60 = free objective, day=60, without free objective, day=90 + "
        "free objective, day=90"
    ) in equations
    assert len(equations) == 5  # and each is among the resolved


def test_chains_fall_or_rise_as_declared():
    assert relate(
        ("fell", {"points": "11"}, 9),
        ("fell", {"points": "18"}, 4),
        ("total too low", {"points": "11"}, 3),
        ("total too low", {"points": "18"}, 7),
    ) == {
        "fell, points=11 = fell, points=11, without fell, points=18 + fell, points=18",
        "total too low, points=18 = total too low, points=11 + "
        "total too low, points=18, without total too low, points=11",
    }


@pytest.mark.parametrize(
    ("reason", "more", "fewer"),
    [
        ("wrong_side", "in_hindsight", "at_the_time"),
        ("undetermined", "at_the_time", "in_hindsight"),
    ],
)
def test_hindsight_finds_more_reasons_and_leaves_fewer_undetermined(reason, more, fewer):
    name = "first session a failure"
    equations = relate(
        (name, {"view": more, "reason": reason}, 9), (name, {"view": fewer, "reason": reason}, 4)
    )
    inner, outer = (f"{name}, reason={reason}, view={view}" for view in (fewer, more))
    parts = " + ".join(sorted([inner, f"{outer}, without {inner}"]))
    assert equations == {f"{outer} = {parts}"}
    turned = relate(
        (name, {"view": more, "reason": reason}, 4), (name, {"view": fewer, "reason": reason}, 9)
    )
    assert turned == set()  # not so in this pool: nothing is claimed


def test_what_is_known_on_a_day_divides_those_followed():
    known = {"negative": 20, "between": 10, "positive": 25, "untested": 5}
    rows = [(f"known {part} objective", {"day": "7"}, n) for part, n in known.items()]
    assert relate(("followed objective", {}, 60), *rows) == {
        "followed objective = "
        + " + ".join(sorted(f"known {part} objective, day=7" for part in known))
    }


def test_a_path_ends_or_goes_on():
    equations = relate(
        ("on path", {}, 100),
        ("on path", {"path": "epley"}, 60),
        ("on path", {"path": "semont"}, 30),
        ("on path", {"path": "epley > epley"}, 20),
        ("on path, no_further_session", {"path": "epley"}, 40),
    )
    assert equations == {
        "on path, path=epley = on path, no_further_session, path=epley + "
        "on path, path=epley > epley",
        "on path = on path, path=epley + on path, path=semont + on path, without how they went on",
    }


def test_paths_that_begin_with_a_maneuver_are_of_those_who_had_it_first():
    assert relate(
        ("treated", {"first_maneuver": "epley"}, 60),
        ("on path", {"path": "epley"}, 40),
        ("on path", {"path": "epley + semont"}, 12),
        ("on path", {"path": "semont"}, 30),
    ) == {
        "treated, first_maneuver=epley = on path, path=epley + on path, path=epley + semont + "
        "treated, first_maneuver=epley, without first maneuver and paths"
    }


def test_those_named_alike_are_the_pairs_of_equal_names():
    def pair(recorded, adjudicated):
        return {"recorded": recorded, "adjudicated": adjudicated}

    equations = relate(
        ("alike canal", {}, 50),
        ("named canal", pair("posterior", "posterior"), 40),
        ("named canal", pair("lateral", "lateral"), 10),
        ("named canal", pair("lateral", "posterior"), 6),
        ("positional", {"canal": "posterior"}, 50),
    )
    assert (
        "alike canal = named canal, adjudicated=lateral, recorded=lateral + "
        "named canal, adjudicated=posterior, recorded=posterior"
    ) in equations
    assert (
        "positional, canal=posterior = named canal, adjudicated=posterior, recorded=lateral + "
        "named canal, adjudicated=posterior, recorded=posterior + "
        "positional, canal=posterior, without canal named twice"
    ) in equations


def test_a_declared_sum_has_a_cell_for_the_part_without_a_row():
    equations = relate(("stored", {}, 30), ("positional", {}, 20), ("apart", {}, 4))
    assert "stored = apart + positional + undetermined" in equations


def test_two_totals_are_among_those_with_one_and_with_one_on_day_0():
    equations = relate(
        ("total", {"day": "7"}, 20), ("total", {"day": "0"}, 18), ("two totals", {"day": "7"}, 15)
    )
    assert equations == {
        f"total, day={day} = total, day={day}, without two totals, day=7 + two totals, day=7"
        for day in (0, 7)
    }
