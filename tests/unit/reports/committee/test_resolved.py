"""What is said of the share resolved by a day: a share, or bounds; never the days of tests
instead."""

import re
from pathlib import Path

import pandas as pd
import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.resolved import (
    WHAT_WOULD_END_IT,
    WHATEVER,
    Half,
    read_bounds,
    read_half,
    say_parts,
    say_resolved,
    say_untold,
    show_half,
    show_resolved,
)
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.render import render_page
from pipeline.reports.wording import say_percent
from schemas.analysis import TESTS_AS_GIVEN
from schemas.estimate import Estimates
from tests.pool_of_estimates import build_estimates
from tests.pool_of_sections import build_sections

LOOKS = Path(__file__).parents[3] / "recovery" / "days_of_tests.csv"
NOTHING = dict.fromkeys(["estimate", "std_error", "lower", "upper", "n_events"], pd.NA)


@pytest.fixture(scope="module")
def estimates(plan):
    return build_estimates(plan) | build_sections(plan)


def withhold(estimates, status, *, strata=None, days=None):
    """The same estimates without shares resolved, of some strata and days."""
    table = estimates["joint_resolution"].copy()
    gone = table["term"].str.startswith("resolved_by_day_")
    if strata:
        gone &= table["stratum"].isin(strata)
    if days:
        gone &= table["term"].isin([f"resolved_by_day_{day}" for day in days])
    table.loc[gone, list(NOTHING)] = list(NOTHING.values())
    table.loc[gone, ["status", "note"]] = [status, "the form of the model alone would tell it"]
    return estimates | {"joint_resolution": Estimates.cast(table)}


def number_of(estimates, analysis, term, stratum="all"):
    rows = estimates[analysis]
    rows = rows[rows["stratum"].eq(stratum) & rows["term"].eq(term)]
    return float(rows[rows["endpoint"].eq("objective")]["estimate"].iloc[0])


def model_of(shares: dict[int, Reading], **known: Reading) -> Readings:
    rows = {("all", f"resolved_by_day_{day}"): share for day, share in shares.items()}
    rows |= {("all", f"known_{part}_by_day_7"): share for part, share in known.items()}
    return Readings("joint_resolution", rows)


def text_of(report) -> str:
    page = render_page("committee.html.j2", report).split("<main>")[1].split("<footer")[0]
    return " ".join(re.sub(r"<[^>]+>", " ", page).replace("\u00a0", " ").split())


def test_a_withheld_day_shows_its_bounds_and_what_would_end_it(estimates, plan):
    report = compose_report(withhold(estimates, "not_identified", days=[7]), plan, {})
    least = number_of(estimates, "joint_resolution", "known_resolved_by_day_7")
    greatest = 1 - number_of(estimates, "joint_resolution", "known_unresolved_by_day_7")
    ends = f"between {100 * least:.0f} and {100 * greatest:.0f} of 100"
    for part in (" ".join(report["answer"]), report["whole"]["untold"]):
        assert ends in part
        assert WHATEVER in part
        assert WHAT_WOULD_END_IT in part
    fact = next(fact for fact in report["whole"]["facts"] if fact["label"] == "by day 7")
    assert fact["value"].replace("\u00a0", " ").endswith(f"to {100 * greatest:.0f} of 100")
    share = number_of(estimates, "joint_resolution", "resolved_by_day_7")
    assert say_percent(share) not in report["answer"][0]
    assert say_percent(share) not in report["whole"]["sentence"]


def test_without_any_share_the_answer_is_bounds_and_never_the_days_of_tests(estimates, plan):
    report = compose_report(withhold(estimates, "not_identified", strata=["all"]), plan, {})
    assert report["answer"][0].startswith("Of 1,205\u00a0episodes of positional vertigo")
    assert "no single share can be given" in report["answer"][0]
    assert not any("Half were resolved" in sentence for sentence in report["answer"])
    for day in (7, 30):
        tested = say_percent(number_of(estimates, "resolution_curves", f"resolved_by_day_{day}"))
        assert tested not in " ".join(report["answer"][:2]) + report["whole"]["sentence"]
        assert tested not in report["whole"]["figure"]["title"]


def test_days_of_tests_are_never_called_resolution(estimates, plan):
    """With shares of tests that nothing else has, each place that prints one says what it is."""
    table = estimates["resolution_curves"].copy()
    share = table["term"].str.startswith("resolved_by_day_") & table["status"].eq("ok")
    table.loc[share, ["estimate", "lower", "upper"]] = [0.1234, 0.1134, 0.1334]
    report = compose_report(
        estimates | {"resolution_curves": Estimates.cast(table)}, plan, {"deliveries": "3f1c"}
    )
    assert "12 %" in report["whole"]["tests"].replace("\u00a0", " ")
    assert report["whole"]["tests"].startswith("Tests had turned negative")
    assert report["whole"]["tests"].endswith("these are days of tests, not of resolution.")
    assert {cell for row in report["endpoints"] for cell in row["cells"][2:6]} == {
        "12\u00a0% (11\u00a0to\u00a013)"
    }
    rest = report | {"endpoints": [], "whole": report["whole"] | {"tests": ""}}
    assert "12 % (11 to 13)" not in text_of(rest)
    assert "12 % (between 11 and 13 %)" not in text_of(rest)


def test_whoever_takes_the_days_of_tests_as_given_says_so(estimates, plan):
    report = compose_report(estimates, plan, {})
    noted = {section["key"] for section in report["sections"] if TESTS_AS_GIVEN in section["notes"]}
    assert noted == {"attempts", "second-line", "recurrence", "published"}
    assert report["tests_as_given"] == TESTS_AS_GIVEN
    assert TESTS_AS_GIVEN in text_of(report | {"sections": []})


def test_the_note_tells_the_worst_that_the_recovery_study_found():
    rows = pd.read_csv(LOOKS, comment="#")
    biases = re.findall(r"(\d+)(?: percentage points too low)? by day (\d+)", TESTS_AS_GIVEN)
    assert [day for _, day in biases] == ["1", "7", "30"]
    for points, day in biases:
        worst = rows.loc[rows["term"].eq(f"resolved_by_day_{day}"), "bias"].min()
        assert int(points) == round(-100 * worst)


def test_hidden_parts_leave_bounds_that_hold():
    few, most = (Reading(upper=0.08, status="bounded"), Reading(lower=0.94, status="bounded"))
    shown = Reading(0.3, status="ok")
    assert read_bounds(model_of({}, resolved=shown, unresolved=few), "all", 7) == (0.3, 1.0)
    assert read_bounds(model_of({}, resolved=few, unresolved=shown), "all", 7) == (0.0, 0.7)
    assert read_bounds(model_of({}, resolved=most, unresolved=few), "all", 7) == (0.94, 1.0)
    assert read_bounds(model_of({}, resolved=few, unresolved=few), "all", 7) is None
    hidden = Reading(status="suppressed")
    assert read_bounds(model_of({}, resolved=hidden, unresolved=hidden), "all", 7) is None
    assert read_bounds(model_of({}), "canal=posterior,arm=long", 7) is None


def test_a_share_is_told_before_its_bounds_and_a_limit_of_it_too():
    known = {"resolved": Reading(0.2, status="ok"), "unresolved": Reading(0.3, status="ok")}
    share = model_of({7: Reading(0.5, 0.4, 0.6, status="ok")}, **known)
    assert show_resolved(share, "all", 7).startswith("50\u00a0%")
    assert say_untold(share, "all", [7]) == ""
    limit = model_of({7: Reading(lower=0.63, status="bounded")}, **known)
    assert show_resolved(limit, "all", 7) == "over 63\u00a0%"
    untold = model_of({7: Reading(status="too_wide")}, **known)
    assert show_resolved(untold, "all", 7).replace("\u00a0", " ") == "20 to 70 of 100"
    assert say_resolved(untold, "all", 7) == "between 20 and 70 of 100"
    assert WHATEVER in say_parts(untold, {"all": "some"}, 7)
    assert WHATEVER not in say_parts(share, {"all": "some"}, 7)


def test_what_is_hidden_to_protect_is_not_blamed_on_when_clinics_test():
    known = {"resolved": Reading(0.2, status="ok"), "unresolved": Reading(0.3, status="ok")}
    hidden = say_untold(model_of({7: Reading(status="suppressed")}, **known), "all", [7])
    assert "between 20 and 70 of 100" in hidden
    assert WHAT_WOULD_END_IT not in hidden


def course_of(*shares: float | None, width: float = 0.1) -> Readings:
    return model_of(
        {
            day: Reading(status="not_identified")
            if share is None
            else Reading(share, share - width, share + width, status="ok")
            for day, share in enumerate(shares, 1)
        }
    )


@pytest.mark.parametrize(
    ("shares", "half", "shown"),
    [
        ((0.3, 0.45, 0.55, 0.65), Half(3, 2, 4), "3 (2 to 4)"),
        ((0.3, 0.45, 0.55, 0.56), Half(3, 2, None), "3 (2 or later)"),
        ((0.55, 0.6, 0.7, 0.8), Half(1, 1, 2), "1 (1 to 2)"),
        ((0.3, 0.4, 0.45, 0.48), Half(below=True, why="not by day 4"), "not by day 4"),
        ((None, 0.45, 0.55, 0.65), Half(3, None, 4), "3 (up to 4)"),
        ((None, 0.45, 0.55, None), Half(3, None, None), "3"),
        ((None, 0.55, 0.6, 0.7), Half(why="cannot tell"), "cannot tell"),
        ((0.3, 0.4, 0.45, None), Half(why="cannot tell"), "cannot tell"),
    ],
)
def test_half_is_read_off_the_shares_and_never_across_a_day_without_one(shares, half, shown):
    read = read_half(course_of(*shares), "all", len(shares))
    assert read == half
    assert show_half(read).replace("\u00a0", " ") == shown


def test_a_hidden_limit_is_no_confidence_limit_of_half():
    shares = {
        day: Reading(share, share - 0.1, share + 0.1, status="ok")
        for day, share in enumerate((0.3, 0.45, 0.55), 1)
    }
    model = model_of(shares | {4: Reading(lower=0.63, status="bounded")})
    assert read_half(model, "all", 4) == Half(3, 2, None)
