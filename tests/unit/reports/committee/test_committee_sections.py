"""The report's further sections: each says its estimates with their ranges,
claims no order that they do not have, and says why one is missing."""

import pandas as pd
import pytest

from pipeline.reports.committee.afterwards import describe_handicap, describe_recurrence
from pipeline.reports.committee.attempts import POPULATION as ATTEMPTS
from pipeline.reports.committee.attempts import describe_attempts
from pipeline.reports.committee.failures import FAILED, describe_failures
from pipeline.reports.committee.paths import describe_paths
from pipeline.reports.committee.published import describe_published
from pipeline.reports.committee.second_line import POPULATION as SECOND
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.committee.sites import describe_sites
from pipeline.reports.wording import HIDDEN
from pipeline.statistics.tidy import state, tidy_estimates, withhold

MANY = {"n_episodes": 200, "n_events": 90, "n_sites": 8}


def number(term: str, estimate: float, stratum: str = "all", **more) -> dict:
    return state(term, estimate, **{"stratum": stratum, **MANY, **more})


def table(
    analysis: str,
    rows: list[dict],
    population: str = "positional",
    endpoint: str | None = "objective",
) -> dict:
    return {
        analysis: tidy_estimates(
            rows, analysis=analysis, population=population, endpoint=endpoint, method="m"
        )
    }


def words(section: dict) -> str:
    told = [section["finding"], *section["sentences"], *section["notes"], section["caption"]]
    return " ".join(told).replace("\u00a0", " ")


ALL = {
    "attempts": lambda estimates, plan: describe_attempts(estimates),
    "failures": lambda estimates, plan: describe_failures(estimates),
    "second_line": describe_second_line,
    "paths": describe_paths,
    "handicap": describe_handicap,
    "recurrence": describe_recurrence,
    "sites": lambda estimates, plan: describe_sites(),
    "published": describe_published,
}


@pytest.mark.parametrize("describe", ALL.values(), ids=ALL)
def test_without_estimates_a_section_is_a_sentence(describe, plan):
    section = describe({}, plan)
    assert section["figure"] is None
    assert not section["panels"]
    assert section["sentences"]


def compare(low: float, high: float, plan, **limit) -> dict:
    rows = [
        number("failed_first_session", 200, n_events=None),
        number("choice_repeat", 110),
        number("choice_change", 90),
    ]
    rows += [
        number(f"risk_{arm}_day_30", share, lower=share - 0.1, upper=share + 0.1)
        for arm, share in (("repeat", 0.5), ("change", 0.6))
    ]
    rows += [
        number(
            "risk_difference_day_30", (low + high) / 2, lower=low, upper=high, comparison="repeat"
        )
    ]
    rows += [
        number("e_value_day_30", 1.9, comparison="repeat"),
        number("e_value_limit_day_30", limit.get("e", 1.0), comparison="repeat"),
    ]
    rows += [
        withhold("risk_change_day_30", "too_few", "few", stratum="variant=adherent_debris", **MANY)
    ]
    return describe_second_line(table("second_line", rows, SECOND), plan)


def test_a_range_over_no_difference_is_said_to_tell_nothing(plan):
    said = words(compare(-0.12, 0.32, plan))
    assert "no clear difference" in said
    assert (
        "12 percentage points more after repeating to 32 percentage points more after changing"
        in said
    )
    assert "E-value" not in said


def test_a_difference_is_an_association_with_its_range_and_e_value(plan):
    section = compare(0.04, 0.16, plan, e=1.3)
    said = words(section)
    assert (
        "resolved within 30 days, 10 percentage points more after another maneuver (4 to 16)"
        in said
    )
    assert "association" in said
    assert "1.9 times as often" in said
    assert "adherent debris" in said
    assert section["figure"]["svg"].count('class="dot ') == 2


def test_attempts_carry_their_shares_and_how_many_it_takes(plan):
    rows = [
        number("success_raw", share, f"attempt_number={n}", lower=share - 0.1, upper=share + 0.1)
        for n, share in (("1", 0.55), ("2", 0.4))
    ]
    rows += [number("attempts_to_resolve_80", 3, "model=mixed", lower=3, upper=4)]
    rows += [withhold("success_raw", "too_few", "few", stratum="attempt_number=3", **MANY)]
    section = describe_attempts(table("attempt_success", rows, ATTEMPTS, None))
    assert "Of first sessions from 8 sites followed by a deciding test" in words(section)
    counted = [
        number("first_sessions", 240, n_episodes=240),
        number("first_sessions_tested", 200, n_episodes=200),
    ]
    ledger = table("denominators", counted, "pool", None)
    section = describe_attempts(table("attempt_success", rows, ATTEMPTS, None) | ledger)
    assert "Of 200 first sessions from 8 sites followed by a deciding test" in words(section)
    assert "200 of 240 first sessions" in section["figure"]["svg"]
    assert "55 % (between 45 and 65 %)" in words(section)
    assert "80 % after 3 (3 to 4)" in words(section)
    assert section["figure"]["svg"].count('class="dot ') == 2
    assert "too few" in section["figure"]["svg"]


def test_reasons_of_failure_are_evidence_by_frequency_and_hindsight_is_told_apart():
    def reason(view: str, name: str, events: int) -> dict:
        where = {"n_episodes": 200, "n_events": events, "n_sites": 8}
        return state(
            "share",
            events / 200,
            stratum=f"view={view},reason={name}",
            lower=0.0,
            upper=0.5,
            **where,
        )

    rows = [
        reason("at_the_time", name, n)
        for name, n in (("wrong_side", 20), ("technique", 50), ("undetermined", 90))
    ]
    few = {"status": "bounded", "note": "few", "upper": 0.08, "n_episodes": 200}
    rows += [{"term": "share", "stratum": "view=at_the_time,reason=wrong_arm"} | few]
    rows += [reason("in_hindsight", name, n) for name, n in (("wrong_side", 60), ("technique", 50))]
    section = describe_failures(table("failure_reasons", rows, FAILED, None))
    said, drawn = words(section), section["figure"]["svg"]
    assert drawn.index("not done as") < drawn.index("wrong ear") < drawn.index("holds evidence")
    assert "the wrong ear was treated (from 10 % to 30 %)" in said
    assert "not a verdict" in said
    assert "In none or few: debris was in another arm of the canal (under 8 %)." in said


def test_a_hidden_step_of_a_path_has_no_bar_and_no_number(plan):
    def count(stratum: str, term: str, n: int, whole: int) -> dict:
        return state(term, n, stratum=stratum, n_episodes=whole, n_events=n, n_sites=8)

    rows = [
        count("path=start", "reached", 300, 300),
        count("path=start", "next=epley", 200, 300),
        count("path=start", "next=rarer", 100, 300),
    ]
    rows += [
        count("path=epley", "resolved_at_next_look", 120, 200),
        count("path=epley", "next=epley", 40, 200),
    ]
    rows += [
        {"term": "never_looked", "stratum": "path=epley", "status": "suppressed", "note": "hidden"}
    ]
    section = describe_paths(table("sequence_paths", rows, endpoint=None), plan)
    (panel,) = section["panels"]
    assert panel["figure"]["svg"].count('class="bar ') == 3
    assert "not tested again" in panel["figure"]["svg"]
    assert HIDDEN in panel["figure"]["svg"]
    # the forty that are left over are nowhere else
    assert "40<" not in panel["figure"]["svg"].replace(">40<", "")
    assert "The others began otherwise." in words(section)


def test_handicap_shows_both_important_changes(plan):
    rows = [
        number(f"mean_day_{day}", mean, lower=mean - 3, upper=mean + 3)
        for day, mean in ((0, 44), (7, 30), (30, 22))
    ]
    rows += [
        number(
            f"change_by_day_{day}", change, lower=change - 3, upper=change + 3, comparison="day 0"
        )
        for day, change in ((7, -14), (30, -22))
    ]
    rows += [
        number(f"fell_by_{points}_by_day_30", share, lower=share - 0.1, upper=share + 0.1)
        for points, share in ((11, 0.7), (18, 0.55))
    ]
    section = describe_handicap(table("handicap_change", rows), plan)
    said = words(section)
    assert "by day 7 it was 14 points lower (11 to 17)" in said
    assert "by at least 11 points in about 70 %" in said
    assert "by at least 18 points in about 55 %" in said
    assert section["figure"]["svg"].count('class="dot ') == 3


def test_recurrence_turns_the_share_free_of_it_round(plan):
    rows = [
        number("recurrence_free_day_90", 0.9, lower=0.8, upper=0.96),
        number("recurrence_free_day_30", 0.97, lower=0.9, upper=0.99),
    ]
    section = describe_recurrence(table("recurrence", rows, "resolved first spells"), plan)
    assert "Within 90 days of resolution it recurred in about 10 % (between 4 and 20 %)" in words(
        section
    )


def test_a_limit_of_the_share_free_of_recurrence_is_turned_round_too(plan):
    """Over 94 % free of it are under 6 % with a recurrence."""
    rows = [
        number("recurrence_free_day_180", 0.88, lower=0.44, upper=0.98),
        number("recurrence_free_day_30", 0.97),
    ]
    tables = table("recurrence", rows, "resolved first spells")
    hidden = tables["recurrence"]["term"].eq("recurrence_free_day_30")
    tables["recurrence"].loc[hidden, ["status", "estimate", "lower"]] = ["bounded", None, 0.94]
    drawn = describe_recurrence(tables, plan)["figure"]["svg"].replace("\u00a0", " ")
    assert "under 6 %" in drawn
    assert "over 94 %" not in drawn


def test_a_reason_in_nearly_all_is_not_told_among_those_in_few():
    terms = ("technique", "wrong_side", "wrong_canal")
    rows = [number("share", 0.3, f"view=at_the_time,reason={reason}") for reason in terms]
    tables = table("failure_reasons", rows, FAILED, None)
    for reason, end, limit in (("wrong_side", "upper", 0.06), ("wrong_canal", "lower", 0.94)):
        here = tables["failure_reasons"]["stratum"].str.endswith(reason)
        tables["failure_reasons"].loc[here, ["status", "estimate", end]] = ["bounded", None, limit]
    notes = [note.replace("\u00a0", " ") for note in describe_failures(tables)["notes"]]
    assert [note.partition(":")[0] for note in notes if "under 6 %" in note] == ["In none or few"]
    assert [note.partition(":")[0] for note in notes if "over 94 %" in note] == [
        "In all or nearly all"
    ]


def test_clinics_are_not_compared_and_the_reason_is_said():
    section = describe_sites()
    assert section["figure"] is None
    assert "test on different days" in words(section)


def test_a_trial_stands_beside_the_pool_only_where_both_have_a_number(plan):
    name, trial = next(
        (n, t)
        for n, t in plan.published.trials.items()
        if "epley" in [arm.family for arm in t.arms]
    )
    stratum, term = f"trial={name},first_maneuver=epley", f"resolved_by_day_{trial.day}"
    printed = number(term, 0.8, stratum, lower=0.6, upper=0.9) | {"population": "published"}
    ours = number(term, 0.6, stratum, lower=0.5, upper=0.7) | {"population": "positional"}
    both = {
        "published_comparison": tidy_estimates(
            [printed, ours], analysis="published_comparison", endpoint=trial.endpoint, method="m"
        )
    }
    section = describe_published(both, plan)
    assert section["panels"][0]["figure"]["svg"].count('class="dot ') == 2
    assert trial.citation in words(section)
    alone = {
        "published_comparison": tidy_estimates(
            [printed], analysis="published_comparison", endpoint=trial.endpoint, method="m"
        )
    }
    assert describe_published(alone, plan)["panels"] == []


def test_hidden_numbers_reach_no_section(plan):
    hidden = {
        "stratum": "attempt_number=1",
        "term": "success_raw",
        "status": "suppressed",
        "note": "hidden",
    }
    section = describe_attempts(table("attempt_success", [hidden], ATTEMPTS, None))
    assert section["figure"] is None
    assert "not shown, to protect people and sites" in words(section)
    assert pd.isna(
        table("attempt_success", [hidden], ATTEMPTS, None)["attempt_success"]["estimate"]
    ).all()
