"""Verdicts on constructed cases: each criterion at, inside and outside its bounds,
and the sets they leave. All are judged as one pool."""

import pandas as pd
import pytest

from pipeline.adjudication.findings import describe_tests
from pipeline.adjudication.reasons import join_findings
from pipeline.adjudication.rolls import pair_rolls
from tests.unit.adjudication.asked import Asked

ASKED = Asked()
ask = ASKED.ask
RIGHT_POSTERIOR = {
    "vertical": "up",
    "torsion": "right",
    "side": "right",
    "vertigo": "moderate",
    "duration_s": 20,
}
GEOTROPIC = [
    {
        "test": "supine_roll",
        "side": "right",
        "horizontal": "geotropic",
        "duration_s": 25,
        "peak_spv": 60,
    },
    {
        "test": "supine_roll",
        "side": "left",
        "horizontal": "geotropic",
        "duration_s": 20,
        "peak_spv": 20,
        "examination": 2,
    },
]
DOWNBEAT = RIGHT_POSTERIOR | {"vertical": "down", "torsion": "none"}
HALF_TEST = RIGHT_POSTERIOR | {"test": "half_dix_hallpike", "duration_s": 120}
NOSE_DOWN = {"test": "nose_down", "side": "none", "examination": 2}
RISING = {
    "test": "sitting_up",
    "side": "none",
    "vertical": "up",
    "torsion": "right",
    "examination": 2,
}


@pytest.fixture(scope="module")
def verdicts(judge_all):
    """The verdict on each case of this file by its key."""
    return ASKED.judge(judge_all)


# one-minute limit: von Brevern et al. J Vestib Res 2015;25:105-117; the band from 50 to 70 s is
# this project's proposal, and so is that what leaves both kinds of debris open is no surer than the
# less established of them
TIMES = [
    (20, "long", "canalolithiasis", "definite"),
    (49.9, "long", "canalolithiasis", "definite"),
    (50, "unknown", "unknown", "emerging"),
    (70, "unknown", "unknown", "emerging"),
    (70.1, "cupula", "cupulolithiasis", "emerging"),
    (None, "unknown", "unknown", "emerging"),
]
for seconds, *_ in TIMES:
    ask(
        "time",
        seconds,
        tests=[RIGHT_POSTERIOR | {"duration_s": pd.NA if seconds is None else seconds}],
    )


@pytest.mark.parametrize(("seconds", "arm", "mechanism", "certainty"), TIMES)
def test_duration_decides_between_free_and_adherent_debris(
    verdicts, seconds, arm, mechanism, certainty
):
    verdict = verdicts["time", seconds]
    assert (verdict["positional"], verdict["canal"], verdict["side"]) == (
        "yes",
        "posterior",
        "right",
    )
    assert (verdict["arm"], verdict["mechanism"], verdict["certainty"]) == (
        arm,
        mechanism,
        certainty,
    )


AGAINST = {"continuous_24h": "yes", "severe_headache_or_neck_pain": "yes"}
for seconds in (20, 60, None, 120):
    timed = [RIGHT_POSTERIOR | {"duration_s": pd.NA if seconds is None else seconds}]
    ask("two flags", seconds, tests=timed, **AGAINST)
timed_twice = [
    RIGHT_POSTERIOR | {"duration_s": s, "examination": n} for n, s in enumerate((70, 75), start=1)
]
ask("two flags", "70 and 75", tests=timed_twice, **AGAINST)


def test_two_flags_outweigh_only_what_cannot_be_an_established_variant(verdicts):
    # what was not timed could be: positional status does not hang on a stopwatch
    kept = {
        key[1]: verdict["positional"] for key, verdict in verdicts.items() if key[0] == "two flags"
    }
    apart = "probable_non_positional"
    assert kept == {20: "yes", 60: "yes", None: "yes", 120: apart, "70 and 75": apart}
    assert verdicts["two flags", 20]["certainty"] == "definite"
    assert set(verdicts["two flags", 20]["reasons_against"].split()) == set(AGAINST)


# latency of one or a few seconds: von Brevern et al. J Vestib Res 2015;25:105-117 (as restated
# elsewhere); half a second, which rounds to one, is this project's proposal; turns round on sitting
# up: the same criteria, from memory
EXPECTED = [
    ("latency_s", 0.4, "probable"),
    ("latency_s", 0.5, "definite"),
    ("latency_s", 5, "definite"),
    ("latency_s", None, "definite"),
    ("reverses_on_sitting", "no", "probable"),
    ("reverses_on_sitting", "yes", "definite"),
    ("reverses_on_sitting", "not_tested", "definite"),
    ("reverses_on_sitting", None, "definite"),
]
for field, value, _ in EXPECTED:
    test = RIGHT_POSTERIOR | {field: pd.NA if value is None else value}
    ask("expected", field, value, tests=[test])
    ask("expected", field, value, "again", tests=[test, RIGHT_POSTERIOR | {"examination": 2}])


@pytest.mark.parametrize(("field", "value", "certainty"), EXPECTED)
def test_what_the_description_adds_lowers_the_certainty_and_excludes_nothing(
    verdicts, field, value, certainty
):
    verdict = verdicts["expected", field, value]
    assert (verdict["certainty"], verdict["criteria"], verdict["arm"]) == (
        certainty,
        "posterior_free",
        "long",
    )
    # one test as described is enough
    assert verdicts["expected", field, value, "again"]["certainty"] == "definite"


# lateral-canal side table of Bhattacharyya et al. Otolaryngol Head Neck Surg 2017;156(3
# Suppl):S1-S47, complete for signs
SIGNS = [
    ("geotropic", "lying_down", "left", "right"),
    ("geotropic", "bow", "right", "right"),
    ("geotropic", "lean", "left", "right"),
    ("apogeotropic", "lying_down", "right", "right"),
    ("apogeotropic", "bow", "left", "right"),
    ("apogeotropic", "lean", "right", "right"),
]
for direction, sign, beats, _ in SIGNS:
    equal = [test | {"peak_spv": 30, "horizontal": direction} for test in GEOTROPIC]
    ask(
        "sign",
        direction,
        sign,
        tests=[*equal, {"test": sign, "side": "none", "horizontal": beats, "examination": 3}],
    )
ask(
    "against intensity",
    tests=[*GEOTROPIC, {"test": "bow", "side": "none", "horizontal": "left", "examination": 3}],
)
INTENSITY = [
    ("geotropic", "right", "right"),
    ("geotropic", "left", "left"),
    ("apogeotropic", "right", "left"),
    ("apogeotropic", "left", "right"),
]
for direction, stronger, _ in INTENSITY:
    tests = [
        test | {"horizontal": direction, "peak_spv": 60 if test["side"] == stronger else 20}
        for test in GEOTROPIC
    ]
    ask("intensity", direction, stronger, tests=tests)
ask("equal intensity", tests=[test | {"peak_spv": 30} for test in GEOTROPIC])
ask("one side", tests=GEOTROPIC[:1])


@pytest.mark.parametrize(("direction", "sign", "beats", "side"), SIGNS)
def test_tie_breaking_signs_tell_the_side_where_intensity_does_not(
    verdicts, direction, sign, beats, side
):
    verdict = verdicts["sign", direction, sign]
    assert (verdict["side"], verdict["side_by"], verdict["side_signs"]) == (
        side,
        "signs",
        f"{sign}={side}",
    )


def test_intensity_outweighs_a_sign_and_the_disagreement_stays_visible(verdicts):
    verdict = verdicts["against intensity",]
    assert (verdict["side"], verdict["side_by"]) == ("right", "intensity")
    assert verdict["side_signs"] == "intensity=right bow=left"


@pytest.mark.parametrize(("direction", "stronger", "side"), INTENSITY)
def test_intensity_decides_the_lateral_side(verdicts, direction, stronger, side):
    verdict = verdicts["intensity", direction, stronger]
    assert (verdict["canal"], verdict["side"]) == ("lateral", side)


def test_equal_intensity_leaves_the_lateral_side_unknown_and_one_side_is_no_pattern(verdicts):
    assert verdicts["equal intensity",]["side"] == "unknown"
    assert verdicts["one side",]["positional"] == "undetermined"


# the longer of two sides is known only if both were timed, or one is long (this project's proposal)
SIDES = [
    ("apogeotropic", 20, 25, "short", "probable"),
    ("apogeotropic", 20, None, "unknown", "probable"),
    ("apogeotropic", None, 120, "cupula", "definite"),
    ("apogeotropic", 20, 120, "cupula", "definite"),
    ("apogeotropic", 45, 65, "unknown", "probable"),
    ("geotropic", 20, 25, "long", "definite"),
    ("geotropic", 20, None, "long", "probable"),
]
for direction, *seconds, _, _ in SIDES:
    timed = [pd.NA if s is None else s for s in seconds]
    tests = [
        test | {"horizontal": direction, "duration_s": s}
        for test, s in zip(GEOTROPIC, timed, strict=True)
    ]
    ask("sides", direction, *seconds, tests=tests)


@pytest.mark.parametrize(("direction", "right", "left", "arm", "certainty"), SIDES)
def test_a_roll_test_lasts_as_long_as_its_longer_side(
    verdicts, direction, right, left, arm, certainty
):
    verdict = verdicts["sides", direction, right, left]
    assert (verdict["canal"], verdict["arm"], verdict["certainty"]) == ("lateral", arm, certainty)


ask("turned", tests=[HALF_TEST, NOSE_DOWN | {"vertical": "down", "torsion": "left"}])
ask("silent", tests=[HALF_TEST, NOSE_DOWN])
ask("half test", tests=[HALF_TEST])
ask("silent Dix-Hallpike", tests=[{"side": "right"}, RISING])
ask("positive Dix-Hallpike", tests=[RIGHT_POSTERIOR, RISING])


def test_the_nose_down_test_parts_heavy_cupula_from_short_arm(verdicts):
    # Scocco et al. J Otol 2022;17:101-106
    turned, silent = verdicts["turned",], verdicts["silent",]
    assert (turned["arm"], turned["criteria"]) == ("cupula", "posterior_heavy_cupula")
    assert (silent["arm"], silent["arm_basis"]) == ("short", "half_dix_hallpike")
    assert silent["criteria"] == "posterior_short_arm_half_test"
    assert verdicts["half test",]["criteria"] == "posterior_adherent"


def test_short_arm_needs_a_silent_dix_hallpike(verdicts):
    silent = verdicts["silent Dix-Hallpike",]
    found = (silent["arm"], silent["arm_basis"], silent["side"])
    assert found == ("short_or_cupula", "sitting_up", "right")
    assert verdicts["positive Dix-Hallpike",]["arm"] == "long"


ask("felt", tests=[{"vertigo": "mild"}])
ask(
    "rising",
    tests=[
        {"side": "right"},
        {"test": "sitting_up", "side": "none", "vertigo": "mild", "examination": 2},
    ],
)
ask("nothing", tests=[{}])
ask("nothing, uncertain", tests=[{}], recorded_canal="uncertain")


def test_vertigo_without_nystagmus_has_its_place(verdicts):
    felt, rising = verdicts["felt",], verdicts["rising",]
    assert (felt["positional"], felt["certainty"], felt["canal"]) == (
        "yes",
        "subjective",
        "unknown",
    )
    assert (rising["certainty"], rising["arm"], rising["arm_basis"]) == (
        "suspected",
        "short_or_cupula",
        "sitting_up",
    )


def test_no_test_positive_any_more_is_resolved_before_only_if_the_site_holds_it_for_positional(
    verdicts,
):
    assert verdicts["nothing",]["certainty"] == "resolved_before"
    assert verdicts["nothing, uncertain",]["positional"] == "undetermined"


ask("same way", tests=[test | {"horizontal": "right"} for test in GEOTROPIC])
ask(
    "same way, not timed",
    tests=[test | {"horizontal": "right", "duration_s": pd.NA} for test in GEOTROPIC],
)
ask("by ear", tests=[test | {"horizontal": test["side"]} for test in GEOTROPIC])
ask("upper ear", tests=[RIGHT_POSTERIOR | {"torsion": "left"}])
ask("torsional down-beat", tests=[RIGHT_POSTERIOR | {"vertical": "down"}])
ask(
    "two canals",
    tests=[
        RIGHT_POSTERIOR,
        *[test | {"examination": test.get("examination", 1) + 1} for test in GEOTROPIC],
    ],
)
ask(
    "two ears",
    tests=[
        RIGHT_POSTERIOR,
        RIGHT_POSTERIOR | {"side": "left", "torsion": "left", "examination": 2},
    ],
)


def test_nystagmus_to_the_same_ear_on_both_sides_is_transitional_if_it_was_seen_to_pass(verdicts):
    assert verdicts["same way",]["criteria"] == "lateral_transitional"
    assert verdicts["same way, not timed",]["criteria"] == ""
    assert verdicts["by ear",]["criteria"] == "lateral_geotropic"


def test_torsion_toward_the_upper_ear_meets_no_criterion(verdicts):
    verdict = verdicts["upper ear",]
    assert (verdict["positional"], verdict["canal"], verdict["certainty"]) == (
        "undetermined",
        "unknown",
        "possible",
    )


def test_torsional_downbeat_keeps_both_places(verdicts):
    # Vannucchi et al. Int J Otolaryngol 2012:413603: same direction from the other ear's posterior
    # canal
    verdict = verdicts["torsional down-beat",]
    assert (verdict["canal"], verdict["side"]) == ("anterior_or_posterior", "unknown")
    assert (
        verdict["variants"]
        == "anterior/right/unknown/canalolithiasis posterior/left/long/canalolithiasis"
    )


def test_two_canals_in_one_examination_are_multiple_and_two_ears_are_both(verdicts):
    two_canals, two_ears = verdicts["two canals",], verdicts["two ears",]
    assert (two_canals["canal"], two_canals["positional"]) == ("multiple", "yes")
    assert (two_ears["canal"], two_ears["side"]) == ("posterior", "both")


def test_without_roll_tests_there_are_no_pairs_of_the_same_columns(table, plan):
    tests = table("examinations", [RIGHT_POSTERIOR, GEOTROPIC[0] | {"examination": 2}])
    findings = describe_tests(tests, table("treatments", [{}]), plan.criteria)
    examined = join_findings(tests, findings)
    one_side = pair_rolls(examined)
    nothing = pair_rolls(examined[examined["test"].ne("supine_roll")])
    assert one_side.empty
    pd.testing.assert_frame_equal(nothing, one_side, check_index_type=False)
