"""A site's own cells: its own counts, what does not count and why, and the pool's share only where
enough others are in it."""

import pytest

from pipeline.reports.site.beside import HIDDEN, LEAST_OTHERS
from pipeline.reports.site.cells import list_own_cells
from pipeline.reports.site.records import SiteRecords
from pipeline.statistics.tidy import state, tidy_estimates
from tests.unit.analyses.first_pool import make_pool

LONG = {"canal": "posterior", "arm": "long"}


def own(plan, *episodes: dict, n_sites: int = 9) -> list[dict]:
    shown = state(
        "first_test_negative",
        0.6,
        lower=0.5,
        upper=0.7,
        stratum="variant=posterior_long_arm,family=epley",
        n_episodes=100,
        n_events=60,
        n_sites=n_sites,
    )
    estimates = tidy_estimates(
        [shown],
        analysis="first_choice",
        population="positional, first session",
        endpoint="objective",
        method="m",
    )
    records = SiteRecords("S01", make_pool(list(episodes)))
    return list_own_cells(records, {"first_choice": estimates}, plan)


def test_own_counts_stand_beside_the_share_of_all(plan):
    (variant,) = own(
        plan,
        *[LONG | {"family": "epley", "outcome": "negative"}] * 3,
        LONG | {"family": "epley", "outcome": "positive"},
        LONG | {"family": "semont", "outcome": "negative"},
    )
    first, second = variant["rows"]
    assert (first["sessions"], first["tested"], first["negative"]) == (4, 4, 3)
    assert (second["sessions"], second["tested"], second["negative"]) == (1, 1, 1)
    assert "60" in first["pool"]
    assert second["pool"] == HIDDEN
    assert variant["needs"] == ""


def test_what_was_not_tested_next_counts_in_no_answer_and_is_told(plan):
    (variant,) = own(
        plan,
        LONG | {"family": "epley", "outcome": "not_tested_again"},
        LONG | {"family": "epley semont", "outcome": "negative"},
    )
    assert {row["tested"] for row in variant["rows"]} == {0, 1}
    assert variant["needs"].count("1\u00a0first session") == 2


@pytest.mark.parametrize(("n_sites", "shown"), [(LEAST_OTHERS, False), (LEAST_OTHERS + 1, True)])
def test_the_share_of_all_needs_enough_other_sites(plan, n_sites, shown):
    (variant,) = own(plan, LONG | {"family": "epley"}, n_sites=n_sites)
    assert (variant["rows"][0]["pool"] != HIDDEN) == shown


def test_without_a_variant_there_is_nothing_to_list(plan):
    assert own(plan, {"canal": "posterior", "arm": "unknown"}) == []
    assert own(plan, LONG | {"positional": "no"}) == []
