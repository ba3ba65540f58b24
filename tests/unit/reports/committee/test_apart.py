"""What is apart from the curves: much of it is counted, and not all drawn."""

import pytest

from pipeline.reports.committee import apart, published
from pipeline.reports.committee.apart import describe_apart
from pipeline.reports.committee.published import describe_published
from pipeline.statistics.tidy import state, tidy_estimates, withhold


def test_many_reasons_and_many_trials_are_counted_and_not_all_drawn(plan):
    flow = [
        state(
            "probable_non_positional", 900, stratum="all", n_episodes=900, n_events=900, n_sites=9
        )
    ]
    reasons = [
        state(
            "share",
            0.5 - n / 50,
            stratum=f"reason={name}",
            n_episodes=900,
            n_events=400 - n,
            n_sites=9,
        )
        for n, name in enumerate(list(plan.criteria.flags)[:14])
    ]
    estimates = {
        "episode_flow": tidy_estimates(
            flow, analysis="episode_flow", population="pool", endpoint=None, method="count"
        ),
        "non_positional": tidy_estimates(
            reasons,
            analysis="non_positional",
            population="probable_non_positional",
            endpoint=None,
            method="m",
        ),
    }
    described = describe_apart(estimates, plan)
    assert described["figure"]["svg"].count('class="bar ') == apart.MOST
    assert f"{len(reasons) - apart.MOST}\u00a0rarer reason" in described["figure"]["caption"]
    rows = [
        state(
            f"resolved_by_day_{trial.day}",
            0.5,
            stratum=f"trial={name},first_maneuver={arm.family}",
            population=population,
            lower=0.4,
            upper=0.6,
            n_episodes=100,
            n_events=50,
            n_sites=9,
        )
        for name, trial in plan.published.trials.items()
        for arm in trial.arms
        for population in ("published", "positional")
    ]
    table = tidy_estimates(rows, analysis="published_comparison", endpoint="objective", method="m")
    section = describe_published({"published_comparison": table}, plan)
    assert (
        sum(panel["figure"]["svg"].count('class="dot ') for panel in section["panels"])
        == 2 * published.MOST
    )
    assert f"{len(rows) // 2 - published.MOST}\u00a0further comparisons" in " ".join(
        section["notes"]
    )


def tell(plan, counts: dict[str, int | None], **numbers: float) -> dict:
    """The section of 100 episodes kept apart: how many are in each part, none where that is
    hidden, and numbers that are no shares."""
    flow = [state("probable_non_positional", 100, stratum="all", n_episodes=100, n_sites=9)]
    told = {"stratum": "all", "n_episodes": 100, "n_sites": 9}
    rows = [
        withhold(term, "suppressed", "hidden", stratum="all")
        if count is None
        else state(term, count / 100, n_events=count, **told)
        for term, count in counts.items()
    ]
    rows += [state(term, number, **told) for term, number in numbers.items()]
    shared = {"endpoint": None, "method": "m"}
    return describe_apart(
        {
            "episode_flow": tidy_estimates(
                flow, analysis="episode_flow", population="pool", **shared
            ),
            "non_positional": tidy_estimates(
                rows, analysis="non_positional", population="probable_non_positional", **shared
            ),
        },
        plan,
    )


NEVER = dict(zip(apart.NEVER, (40, 15), strict=True))
DAYS = {"recognised_by_day_0": 25, "recognised_after_day_0": 20}
WHOLE = {"recognised_by_site": 45, "treated_before_recognition": 60}


def test_the_first_sentence_answers_and_the_bar_has_a_row_for_each_part(plan):
    told = tell(
        plan,
        NEVER | DAYS | WHOLE | {"recognised_by_day_30": 33},
        recognised_day_median=4,
        sessions_before_recognition_mean=2.4,
        sessions_before_recognition_median=2,
    )
    text = " ".join(told["sentences"]).replace("\u00a0", " ")
    assert "recognised 45 of 100 episodes (45 %)" in told["sentences"][0].replace("\u00a0", " ")
    for words in ("25 % by day 0", "33 % by day 30", "by day 4", "60 of 100", "2.4 sessions"):
        assert words in text
    assert told["recognition"]["svg"].count('class="bar ') == 5
    assert "55" in told["recognition"]["title"]


@pytest.mark.parametrize(
    ("shown", "rows"), [(NEVER, 4), (DAYS, 4), ({}, 3), (NEVER | {"recognised_by_day_0": 25}, 4)]
)
def test_parts_that_cannot_all_be_shown_are_one(plan, shown, rows):
    picture = tell(plan, WHOLE | shown)["recognition"]
    assert picture["svg"].count('class="bar ') == rows


def test_a_share_that_rises_no_more_is_not_said_to_rise(plan):
    told = tell(plan, {"recognised_by_day_0": 25, "recognised_by_day_30": 25})
    assert "and no more by day 30" in " ".join(told["sentences"])


def test_what_is_hidden_is_said_to_be(plan):
    told = tell(plan, dict.fromkeys([*NEVER, *DAYS, *WHOLE]))
    assert told["recognition"] is None
    assert sum("cannot be shown" in sentence for sentence in told["sentences"]) == 3
    half = tell(plan, WHOLE, recognised_day_median=0)["sentences"][1]
    assert "cannot be shown" in half
    assert "by day 0" in half
