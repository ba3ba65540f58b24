"""Verdicts that set apart: flags and other causes at, inside and outside their bounds,
and diagnoses by their day."""

import pandas as pd
import pytest

from tests.unit.adjudication.asked import Asked
from tests.unit.adjudication.test_adjudicate import DOWNBEAT, GEOTROPIC, RIGHT_POSTERIOR

APART = "probable_non_positional"
ASKED = Asked()
ask = ASKED.ask


@pytest.fixture(scope="module")
def verdicts(judge_all):
    """The verdict on each case of this file by its key."""
    return ASKED.judge(judge_all)


ask("lasting geotropic", tests=[test | {"duration_s": 120} for test in GEOTROPIC])
after = DOWNBEAT | {"examination": 2, "after_attempt": 1, "latency_s": 1, "fatigues": "no"}
ask("down-beat after the maneuver", tests=[RIGHT_POSTERIOR, after])


def test_persistent_geotropic_nystagmus_is_no_debris(verdicts):
    # Kim et al. Laryngoscope 2014;124:E15-19
    verdict = verdicts["lasting geotropic",]
    assert (verdict["positional"], verdict["reasons_against"]) == (APART, "light_cupula")


def test_a_transient_downbeat_after_the_maneuver_raises_no_flag(verdicts):
    # 22 of 57 after a successful maneuver: Oh et al. J Clin Neurol 2019;15:143-148
    assert verdicts["down-beat after the maneuver",]["reasons_against"] == ""


PLACES = [("dix_hallpike", "right"), ("dix_hallpike", "left"), ("straight_head_hang", "none")]
IN_PLACES = [("none", 3, "yes", APART), ("none", 2, "yes", "yes"), ("right", 3, "yes", "yes")]
IN_PLACES += [("none", 3, "no", "yes")]
for torsion, positions, continuous, _ in IN_PLACES:
    seen = [
        DOWNBEAT | {"test": test, "side": side, "examination": n, "torsion": torsion}
        for n, (test, side) in enumerate(PLACES[:positions], start=1)
    ]
    ask("positions", torsion, positions, continuous, tests=seen, continuous_24h=continuous)


@pytest.mark.parametrize(("torsion", "positions", "continuous", "positional"), IN_PLACES)
def test_two_moderate_flags_outweigh_emerging_criteria(
    verdicts, torsion, positions, continuous, positional
):
    # that two flags are needed, and three positions, is this project's proposal
    assert verdicts["positions", torsion, positions, continuous]["positional"] == positional


for latency in (0, 5):
    for fatigues in ("yes", "no"):
        seen = DOWNBEAT | {"latency_s": latency, "fatigues": fatigues}
        tests = [seen | {"test": t, "side": s} for t, s in PLACES]
        ask("timing", latency, fatigues, tests=tests)


def test_latency_and_fatigue_exclude_nothing(verdicts):
    # they do not part central from peripheral nystagmus, and its direction does: Buettner U et al.
    # Acta Otolaryngol 1999;119:1-5
    told = [verdict for key, verdict in verdicts.items() if key[0] == "timing"]
    assert len(told) == 4
    assert {verdict["positional"] for verdict in told} == {"yes"}
    assert len({verdict["reasons_against"] for verdict in told}) == 1


# Lechner et al. J Neurol 2014;261:1009-1017: at 40 s 1.8 % is left in canals with free debris, 28.6
# % and more in others and in adherent debris; a quarter is this project's proposal
KEPT = [
    (7.4, "geotropic", 20, "definite"),
    (7.5, "geotropic", 20, "probable"),
    (None, "geotropic", 20, "definite"),
    (7.4, "apogeotropic", 20, "probable"),
    (7.5, "apogeotropic", 20, "emerging"),
    (7.5, "apogeotropic", 90, "definite"),
    (29, "apogeotropic", 90, "definite"),
]
for speed, direction, seconds, _ in KEPT:
    late = {"spv_at_40s": pd.NA if speed is None else speed, "duration_s": seconds}
    late |= {"peak_spv": 30, "horizontal": direction}
    ask("kept", speed, direction, seconds, tests=[test | late for test in GEOTROPIC])


@pytest.mark.parametrize(("speed", "direction", "seconds", "certainty"), KEPT)
def test_velocity_kept_lowers_the_certainty_of_free_debris_only(
    verdicts, speed, direction, seconds, certainty
):
    verdict = verdicts["kept", speed, direction, seconds]
    assert (verdict["positional"], verdict["certainty"]) == ("yes", certainty)
    assert verdict["reasons_against"] == ""


DECISIVE = [
    "focal_neurological_sign",
    "cannot_stand",
    "spontaneous_vertical_nystagmus",
    "gaze_evoked_nystagmus",
]
for flag in DECISIVE:
    for answer in ("yes", "unknown"):
        ask("decisive", flag, answer, tests=[RIGHT_POSTERIOR], **{flag: answer})


@pytest.mark.parametrize("flag", DECISIVE)
def test_a_decisive_flag_outweighs_a_met_criterion(verdicts, flag):
    verdict = verdicts["decisive", flag, "yes"]
    assert (verdict["positional"], verdict["criteria"], verdict["reasons_against"]) == (
        APART,
        "posterior_free",
        flag,
    )
    assert verdicts["decisive", flag, "unknown"]["positional"] == "yes"


MIGRAINE = {"other_diagnosis": "vestibular_migraine", "other_diagnosis_day": 0}
CENTRAL_LATER = {"other_diagnosis": "central", "other_diagnosis_day": 30}
ended = {"day": 21, "end_of_followup": "reclassified"}
ask("migraine, typical", tests=[RIGHT_POSTERIOR], **MIGRAINE)
ask("migraine, silent", tests=[{}], **MIGRAINE)
ask("migraine later, typical", tests=[RIGHT_POSTERIOR], **MIGRAINE | {"other_diagnosis_day": 30})
ask("central later", tests=[RIGHT_POSTERIOR], **CENTRAL_LATER)
ask("central later, ended before", tests=[RIGHT_POSTERIOR], followups=[ended], **CENTRAL_LATER)
ask("central later, untreated", tests=[RIGHT_POSTERIOR], treatments=(), **CENTRAL_LATER)


def test_another_diagnosis_known_by_then_sets_apart_only_where_no_firm_criteria_are_met(verdicts):
    assert verdicts["migraine, typical",]["positional"] == "yes"
    apart = verdicts["migraine, silent",]
    assert (apart["positional"], apart["known_day"], apart["recognised_day"]) == (APART, 0, 0)


def test_a_diagnosis_made_later_never_changes_the_verdict_but_gives_the_day_of_reclassification(
    verdicts,
):
    assert verdicts["central later",]["positional"] == "yes"
    assert verdicts["central later",]["reclassified_day"] == 30
    assert pd.isna(verdicts["migraine later, typical",]["reclassified_day"])
    assert verdicts["central later, ended before",]["reclassified_day"] == 21
    untreated = verdicts["central later, untreated",]
    assert (untreated["positional"], untreated["known_day"]) == (APART, 30)
