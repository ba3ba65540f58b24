"""How each variant presents itself, drawn at random: durations within its bounds, measured or not,
repeated or not."""

import pandas as pd
from hypothesis import strategies as st

from tests.positional_tests import POSITIONS, dizzy, downbeat, quiet, rising, roll_to, sign, upbeat

BRIEF = (5, 49.9, 50, 60, 70)  # free debris, up to the end of the band around one minute
LASTING = (50, 60, 70, 70.1, 120)  # adherent debris, from the beginning of the band on
DAYS = (-9, -1, 0)

posterior_tests = st.sampled_from(["dix_hallpike", "side_lying", "half_dix_hallpike"])
weak, strong = st.sampled_from([10, 20]), st.sampled_from([40, 60])


def _timed(durations: tuple) -> st.SearchStrategy:
    return st.sampled_from([*durations, None])


def _upbeats(durations: tuple) -> st.SearchStrategy:
    test = st.builds(
        lambda test, seconds: upbeat(seconds=seconds, test=test), posterior_tests, _timed(durations)
    )
    return st.lists(test, min_size=1, max_size=3)


def _rolls(direction: str, durations: tuple) -> st.SearchStrategy:
    """Both sides once or twice, the right one always stronger; signs that agree with that,
    or do not beat."""
    right = st.builds(
        lambda speed, s: roll_to("right", direction, speed, s), strong, _timed(durations)
    )
    left = st.builds(lambda speed, s: roll_to("left", direction, speed, s), weak, _timed(durations))
    bow = st.sampled_from([[], [sign("bow", "right")], [sign("bow", "none"), sign("lean", "left")]])
    sides = [st.lists(side, min_size=1, max_size=2) for side in (right, left)]
    return st.builds(lambda one, other, signs: one + other + signs, *sides, bow)


def _downbeats(durations: tuple, torsions: tuple) -> st.SearchStrategy:
    places = st.sampled_from(
        [("straight_head_hang", "none"), ("dix_hallpike", "right"), ("side_lying", "right")]
    )
    test = st.builds(
        lambda place, torsion, s: downbeat(*place, torsion=torsion, seconds=s),
        places,
        st.sampled_from(torsions),
        _timed(durations),
    )
    return st.lists(test, min_size=1, max_size=3)


def _with(tests: st.SearchStrategy, *more: dict) -> st.SearchStrategy:
    return tests.map(lambda rows: [*rows, *more])


HALF_TEST = st.sampled_from(LASTING).map(lambda s: [upbeat(seconds=s, test="half_dix_hallpike")])
PRESENTATIONS = {
    "posterior_free": _upbeats(BRIEF),
    "posterior_adherent": _upbeats(LASTING),
    "posterior_short_arm": st.just([rising(), quiet()]),
    "posterior_short_arm_half_test": _with(HALF_TEST, quiet("nose_down", "none")),
    "posterior_heavy_cupula": _with(HALF_TEST, downbeat("nose_down")),
    "lateral_geotropic": _rolls("geotropic", BRIEF),
    "lateral_apogeotropic_free": _rolls("apogeotropic", BRIEF),
    "lateral_apogeotropic_adherent": _rolls("apogeotropic", LASTING),
    "lateral_transitional": st.just([roll_to("right", "right"), roll_to("left", "right")]),
    "downbeat": _downbeats(BRIEF, ("right", "none")),
    "downbeat_posterior_cupula": _with(_downbeats(LASTING, ("left",)), quiet("sitting_up", "none")),
    "both_ears": _with(_upbeats(BRIEF), upbeat("left")),
    "two_canals": st.builds(
        lambda up, rolls: up + rolls, _upbeats(BRIEF), _rolls("geotropic", BRIEF)
    ),
    "posterior_short_arm_suspected": st.just([dizzy("sitting_up", "none"), quiet()]),
    "subjective": st.just([dizzy()]),
}


def number(tests: list[dict]) -> list[dict]:
    """The same tests, each with a number of its own within its day."""
    return [test | {"examination": n} for n, test in enumerate(tests, start=1)]


def on_days(tests: list[dict], days: list[int]) -> list[dict]:
    """The tests spread over days before treatment, one day each, in turn.

    Tests whose directions belong together keep their day.
    """
    together = {test["horizontal"] for test in tests if test.get("test") == "supine_roll"} == {
        "right"
    }
    return number(
        [test | {"day": days[0 if together else n % len(days)]} for n, test in enumerate(tests)]
    )


presented = st.tuples(
    st.tuples(*PRESENTATIONS.values()),
    st.lists(st.sampled_from(DAYS), min_size=1, max_size=3, unique=True),
).map(lambda drawn: [on_days(tests, drawn[1]) for tests in drawn[0]])
uninformative = st.builds(
    lambda place, vertigo, day: (dizzy if vertigo else quiet)(*place, day=day, examination=77),
    st.sampled_from(POSITIONS),
    st.booleans(),
    st.sampled_from([-30, *DAYS]),
)
any_test = st.fixed_dictionaries(
    {
        "place": st.sampled_from(POSITIONS),
        "day": st.sampled_from(DAYS),
        "vertical": st.sampled_from(["up", "down", "none"]),
        "torsion": st.sampled_from(["right", "left", "none"]),
        "horizontal": st.sampled_from(["geotropic", "apogeotropic", "right", "left", "none"]),
        "vertigo": st.sampled_from(["none", "mild", "severe"]),
        "duration_s": st.sampled_from([5, 50, 60, 70, 90, pd.NA]),
        "peak_spv": st.sampled_from([4, 20, 50, pd.NA]),
        "latency_s": st.sampled_from([0, 0.5, 4]),
        "reverses_on_sitting": st.sampled_from(["yes", "no", "not_tested"]),
    }
).map(lambda drawn: dict(zip(("test", "side"), drawn.pop("place"), strict=True)) | drawn)
