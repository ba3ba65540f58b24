"""What outweighs what in a verdict, from which day it is known, and what overturns it later."""

import pandas as pd
import pytest

from tests.positional_tests import rolled
from tests.unit.adjudication.asked import Asked
from tests.unit.adjudication.test_adjudicate import RIGHT_POSTERIOR

YES, APART, OPEN = "yes", "probable_non_positional", "undetermined"
SILENT = {"day": 2}
TREATED = ({"day": 5},)
ASKED = Asked()


def diagnose(what: str, day: int | None) -> dict:
    return {"other_diagnosis": what, "other_diagnosis_day": pd.NA if day is None else day}


def end(*days: int) -> list[dict]:
    return [{"day": day, "end_of_followup": "reclassified"} for day in days]


FIRM = RIGHT_POSTERIOR | {"day": 2}
MIGRAINE = "vestibular_migraine"
# what was asked: verdict, certainty, the day from which it is known, that of reclassification
EXPECTED: dict[str, tuple] = {}


def ask(name: str, expected: tuple, tests: list[dict], *, treatments=TREATED, **more) -> None:
    ASKED.ask(name, tests=tests, treatments=treatments, **more)
    EXPECTED[name] = expected


# firm criteria; none is definite beside another diagnosis that was made by then (this project's
# proposal: "not attributable to another disorder" is part of each definite form of ICVD 2015)
ask("firm", (YES, "definite", 2, None), [FIRM])
ask("firm, migraine before", (YES, "probable", 2, None), [FIRM], **diagnose(MIGRAINE, 4))
ask("firm, migraine after", (YES, "definite", 2, None), [FIRM], **diagnose(MIGRAINE, 9))
ask("firm, central before", (APART, "probable", 4, None), [FIRM], **diagnose("central", 4))
ask("firm, central that day", (APART, "probable", 5, None), [FIRM], **diagnose("central", 5))
ask("firm, central after", (YES, "definite", 2, 6), [FIRM], **diagnose("central", 6))
ask("firm, no canal", (YES, "definite", 2, None), [FIRM], recorded_canal="none")
ask("firm, ended", (YES, "definite", 2, 8), [FIRM], followups=end(12, 8))
ask("firm, ended that day", (YES, "definite", 2, None), [FIRM], followups=end(5))
ask(
    "firm, ended and central",
    (YES, "definite", 2, 8),
    [FIRM],
    followups=end(12),
    **diagnose("central", 8),
)
ask("firm, untreated, ended", (YES, "definite", 2, None), [FIRM], treatments=(), followups=end(8))
# nothing is met
ask("silent", (YES, "resolved_before", 2, None), [SILENT])
ask("silent, canal not known", (OPEN, "none", None, None), [SILENT], recorded_canal="unknown")
ask("silent, no canal", (APART, "none", 2, None), [SILENT], recorded_canal="none")
ask("silent, migraine before", (APART, "none", 4, None), [SILENT], **diagnose(MIGRAINE, 4))
ask("silent, migraine at the test", (APART, "none", 2, None), [SILENT], **diagnose(MIGRAINE, 1))
ask("silent, migraine after", (YES, "resolved_before", 2, 9), [SILENT], **diagnose(MIGRAINE, 9))
ask("silent, not told", (YES, "resolved_before", 2, None), [SILENT], **diagnose("unknown", None))
ask("silent, ended", (YES, "resolved_before", 2, 8), [SILENT], followups=end(8))
ask("untested", (OPEN, "none", None, None), [])
ask("untested, ended", (OPEN, "none", None, None), [], followups=end(8))
ask("tested after", (OPEN, "none", None, None), [SILENT | {"day": 6}])
ask(
    "untreated, central",
    (APART, "probable", 30, None),
    [FIRM],
    treatments=(),
    **diagnose("central", 30),
)
ODD = FIRM | {"torsion": "left"}  # toward the upper ear: nystagmus that meets no criterion
ask("odd", (OPEN, "possible", None, None), [ODD])
ask("odd, migraine before", (APART, "possible", 4, None), [ODD], **diagnose(MIGRAINE, 4))
ask("odd, ended", (OPEN, "possible", None, None), [ODD], followups=end(8))
# what fits a lateral canal and migraine alike (Lechner C et al. 2014, see test_look_alikes.py)
ask(
    "two causes alike",
    (OPEN, "possible", None, None),
    [test | {"day": 2} for test in rolled("apogeotropic", 9, 8, 180)],
    attacks_over_2min="yes",
    migraine_features_with_attacks="yes",
)
# what tests find outweighs what the site says, and gives the day
ask("flag", (APART, "definite", 2, None), [FIRM], cannot_stand="yes")
FLAG_AND_MIGRAINE = {"cannot_stand": "yes"} | diagnose(MIGRAINE, 4)
ask("flag, migraine before", (APART, "probable", 2, None), [FIRM], **FLAG_AND_MIGRAINE)
ask("flag, untested", (APART, "none", None, None), [], cannot_stand="yes")


@pytest.fixture(scope="module")
def verdicts(judge_all):
    """The verdict on each case of this file by its key."""
    return ASKED.judge(judge_all)


@pytest.mark.parametrize("name", EXPECTED)
def test_what_outweighs_what_and_from_which_day(verdicts, name):
    verdict = verdicts[name,]
    days = [
        None if pd.isna(verdict[day]) else verdict[day] for day in ("known_day", "reclassified_day")
    ]
    assert (verdict["positional"], verdict["certainty"], *days) == EXPECTED[name]


REASONS = {
    "firm": ("", None),
    "firm, migraine before": ("other_diagnosis=vestibular_migraine", 4),
    "firm, migraine after": ("", 9),
    "firm, no canal": ("no_canal_recorded", 2),
    "firm, ended": ("", 8),
    "firm, ended and central": ("", 8),
    "silent, not told": ("", None),
    "silent, migraine at the test": ("other_diagnosis=vestibular_migraine", 1),
    "flag": ("cannot_stand", None),
    "flag, migraine before": ("cannot_stand other_diagnosis=vestibular_migraine", 4),
}


@pytest.mark.parametrize("name", REASONS)
def test_reasons_are_those_known_by_then_and_the_site_recognises_on_its_own_day(verdicts, name):
    verdict = verdicts[name,]
    day = verdict["recognised_day"]
    assert (verdict["reasons_against"], None if pd.isna(day) else day) == REASONS[name]


def test_where_nothing_is_met_nothing_is_named(verdicts):
    for name in ("silent", "untested", "odd"):
        verdict = verdicts[name,]
        assert [verdict[part] for part in ("variants", "criteria", "side_signs")] == ["", "", ""]
        assert {verdict[part] for part in ("canal", "side", "arm", "mechanism")} == {"unknown"}


@pytest.mark.parametrize("canal", ["posterior", "lateral", "anterior", "multiple"])
def test_any_canal_that_the_site_recorded_makes_a_silent_case_resolved_before(judge, canal):
    assert judge([SILENT], {"recorded_canal": canal}, TREATED)["certainty"] == "resolved_before"
