"""What is apart from the curves: much of it is counted, and not all drawn."""

from pipeline.reports.committee import apart, published
from pipeline.reports.committee.apart import describe_apart
from pipeline.reports.committee.published import describe_published
from pipeline.statistics.tidy import state, tidy_estimates


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
