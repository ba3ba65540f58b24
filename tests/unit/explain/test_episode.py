"""One episode in words: what each test meets, what replaces it, what it nearly meets,
and what came later."""

import re

import pandas as pd
import pytest

from pipeline.adjudication.failure import explain_failures
from pipeline.adjudication.later_flags import raise_later_flags
from pipeline.explain.episode import NoSuchEpisode, explain_episode
from tests.failure_cases import FAILED, LATER, RIGHT, SILENT, case, derive, gather, roll

HALF_TEST = RIGHT | {"test": "half_dix_hallpike", "duration_s": 120}
NOSE_DOWN = {"test": "nose_down", "side": "none", "examination": 2}


class Shelf:
    """A warehouse in memory."""

    def __init__(self, tables: dict[str, pd.DataFrame]):
        self.tables = tables

    def read(self, name: str, current: bool = False) -> pd.DataFrame:
        """A whole table."""
        return self.tables[name]


@pytest.fixture
def explain_cases(plan):
    """A function from cases, which are derived as one pool, to their explanations, with blanks and
    line breaks as one blank."""

    def tell_cases(*delivered: dict, named: tuple[str, ...] = ()) -> list[str]:
        record = derive(gather([*delivered, case(FAILED)]), plan)
        flags = raise_later_flags(
            record.examinations, record.findings, record.attempts, record.spells, plan.criteria
        )
        reasons = explain_failures(record, plan.criteria, plan.maneuvers, plan.failure)
        shelf = Shelf(vars(record) | {"later_flags": flags, "failure_reasons": reasons})
        asked = named or [f"EP-{n}" for n in range(len(delivered))]
        return [" ".join(explain_episode(shelf, "S01", name, plan).split()) for name in asked]

    return tell_cases


@pytest.fixture
def explain_case(explain_cases):
    """A function from one case to its explanation."""
    return lambda delivered: explain_cases(delivered)[0]


@pytest.mark.parametrize(
    ("nose_down", "finer"),
    [
        # Scocco DH et al. J Otol 2022;17:101-106
        ({"vertical": "down", "torsion": "left"}, "posterior_heavy_cupula"),
        ({}, "posterior_short_arm_half_test"),
    ],
)
def test_a_criterion_that_is_replaced_says_by_which(explain_cases, nose_down, finer):
    text, alone = explain_cases(case([HALF_TEST, NOSE_DOWN | nose_down]), case([HALF_TEST]))
    assert f"met posterior_adherent, but the more particular {finer} replaces it" in text
    assert f"meets {finer}" in text
    assert "meets posterior_adherent" not in text
    assert "meets posterior_adherent" in alone
    assert "replaces it" not in alone


@pytest.mark.parametrize(
    ("measured", "doubt"),
    [
        ({"latency_s": 0.4}, "latency 0.4 s, not at least 0.5 s"),
        ({"reverses_on_sitting": "no"}, "reverses on sitting no, not yes"),
        ({"duration_s": pd.NA}, "the duration was not measured"),
    ],
)
def test_what_lowers_the_certainty_is_said(explain_cases, measured, doubt):
    text, plain = explain_cases(case([RIGHT | measured]), case([RIGHT]))
    assert f"meets posterior_free, with less certainty: {doubt}" in text
    assert "with less certainty" not in plain


def test_near_misses_say_what_was_seen_and_asked_for(explain_cases):
    rising = {
        "test": "sitting_up",
        "side": "none",
        "vertical": "up",
        "torsion": "right",
        "examination": 2,
    }
    text, shown, not_done = explain_cases(
        case([RIGHT | {"torsion": "left"}]), case([RIGHT, rising]), case([rising])
    )
    assert "not posterior_free: torsion toward upper ear, not lower ear" in text
    assert (
        "not posterior_adherent: torsion toward upper ear, not lower ear; duration short, not "
        "borderline or long"
    ) in text
    assert "not posterior_short_arm: Dix-Hallpike test or side-lying test shows nystagmus" in shown
    assert "not posterior_short_arm: Dix-Hallpike test or side-lying test was not done" in not_done


def test_tests_come_in_order_with_the_roll_test_as_a_pair_at_the_end_of_its_day(explain_case):
    early = [
        test | {"day": -3, "examination": n}
        for n, test in enumerate(roll("geotropic", "right"), start=1)
    ]
    text = explain_case(case([RIGHT, *early]))
    places = re.findall(r"day (-?\d+)(?:, examination (\d))?: ([\w-]+)", text)
    assert places[:4] == [
        ("-3", "1", "supine"),
        ("-3", "2", "supine"),
        ("-3", "", "supine"),
        ("0", "1", "Dix-Hallpike"),
    ]
    assert "geotropic; duration short; affected ear right meets lateral_geotropic" in text


def test_a_silent_test_is_told_without_a_list(explain_case):
    text = explain_case(case([SILENT, RIGHT | {"examination": 2}]))
    assert "no nystagmus; vertigo none day 0, examination 2" in text


def test_the_verdict_says_what_decided(explain_cases):
    migraine = {"other_diagnosis": "vestibular_migraine", "other_diagnosis_day": 0}
    decided = {
        "criteria that are firm": case([RIGHT]),
        "a decisive reason against": case([RIGHT], cannot_stand="yes"),
        "nothing": case([RIGHT | {"torsion": "left"}]),
        "the reasons against": case([SILENT], **migraine),
        "the site": case([SILENT]),
        "criteria that are not firm": case([SILENT | {"vertigo": "mild"}]),
    }
    for words, text in zip(decided, explain_cases(*decided.values()), strict=True):
        assert f"Decided by {words}" in text


def test_later_flags_reasons_and_fit_are_told_apart_from_the_verdict(explain_cases, plan):
    down = RIGHT | {"vertical": "down"}
    text, wrong = explain_cases(
        case([down, down | LATER | {"day": 30}]), case(FAILED, [{"side": "left"}])
    )
    flag = plan.criteria.later_flags["downbeat_after_four_weeks"]
    assert "downbeat_after_four_weeks: known on day 30, shown since day 0" in text
    assert f"{flag.says} [{flag.standing}: {flag.source}]" in text
    assert "suits no variant that the tests allow" in text  # a right Epley maneuver
    assert (
        "the wrong ear was treated: tests after the maneuver point to the ear that was not treated"
        in wrong
    )


def test_an_episode_that_is_not_there(explain_cases):
    with pytest.raises(NoSuchEpisode, match="no current delivery of S01"):
        explain_cases(case([RIGHT]), named=("EP-9",))
