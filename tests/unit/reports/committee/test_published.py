"""Published trials beside the pool."""

from pipeline.reports.committee.published import describe_published
from pipeline.statistics.tidy import tidy_estimates
from tests.unit.reports.committee.sections import number, words


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
