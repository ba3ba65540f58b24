"""What the guideline asks: each share with its interval and whom it is of, and no word where there
is no number."""

from pipeline.analyses.description.quality_measures import MEASURES as ASKED
from pipeline.reports.committee.guideline import MEASURES, describe_guideline
from tests.unit.reports.committee.sections import number, table, words

BOTH = number("dix_hallpike_both_sides", 0.8, lower=0.75, upper=0.85, n_episodes=200)
SEEN = number("reassessed_by_day_30", 0.6, lower=0.5, upper=0.7, n_episodes=180)


def describe(*rows: dict) -> dict:
    return describe_guideline(table("quality_measures", list(rows), "positional", None))


def test_every_measure_of_the_analysis_is_shown():
    assert set(MEASURES) == set(ASKED)


def test_without_numbers_nothing_can_be_told():
    section = describe_guideline({})
    assert (section["finding"], section["table"]) == ("", None)
    assert "cannot tell yet" in section["sentences"][0]


def test_each_share_has_its_interval_and_says_of_whom_it_is():
    section = describe(BOTH, SEEN)
    rows = {row["name"]: row["cells"] for row in section["table"]["groups"][0]["rows"]}
    assert len(rows) == len(MEASURES)
    share, whom = rows[MEASURES["dix_hallpike_both_sides"]]
    assert "75" in share
    assert "85" in share
    assert whom.endswith("200")
    assert "between 50 and 70" in section["finding"].replace("\u00a0", " ")
    missing, whom = rows[MEASURES["roll_both_sides"]]
    assert not any(sign.isdigit() for sign in missing + whom)


def test_what_nobody_recorded_is_not_called_undone_and_the_wait_is_told():
    parts = {"lower_quartile": 3, "median": 9, "upper_quartile": 20}
    wait = [number(f"onset_to_maneuver_{part}", days) for part, days in parts.items()]
    section = describe(BOTH, *wait)
    assert "may have been done" in words(section)
    assert section["table"]["groups"][0]["rows"][-1]["cells"][0] == "9 (3 to 20)"
