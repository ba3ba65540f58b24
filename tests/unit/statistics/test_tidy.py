"""Rows of estimates: counted by site, checked against what is declared, and nothing else."""

import pandas as pd
import pytest

from pipeline.statistics.tidy import (
    count_sites,
    recording_members,
    state,
    tidy_estimates,
    withhold,
)
from schemas.quantities import Undeclared
from schemas.strata import UnknownStratum

SHARED = {
    "analysis": "resolution_curves",
    "population": "positional",
    "endpoint": "objective",
    "method": "m",
}


def of_sites(*codes: str) -> pd.DataFrame:
    return pd.DataFrame({"site": pd.array(codes, "string")})


def test_sites_are_counted_with_their_episodes():
    columns = count_sites(of_sites("S02", "S01", "S02"))
    assert columns == {"n_sites": 2, "by_site": "S01=1 S02=2"}
    assert count_sites(of_sites()) == {"n_sites": 0, "by_site": None}


def test_events_stand_behind_the_episodes_of_their_site():
    columns = count_sites(of_sites("S01", "S01", "S02"), events=of_sites("S01"))
    assert columns == {"n_sites": 2, "by_site": "S01=2/1 S02=1/0"}


def test_a_part_is_told_beside_its_whole_and_its_own_sites_are_counted():
    columns = count_sites(of_sites("S02", "S02"), among=of_sites("S01", "S02", "S02", "S02"))
    assert columns == {"n_sites": 1, "by_site": "S01=1/0 S02=3/2"}


def test_a_trace_knows_which_episodes_a_row_counts_and_nobody_else_does():
    episodes = of_sites("S01", "S02", "S02").assign(episode_id=["EP-1", "EP-1", "EP-2"])
    keys = episodes.to_dict("records")

    def tidy() -> None:
        counted = count_sites(episodes[:1], among=episodes)
        tidy_estimates([state("median_days", 7, stratum="all", **counted)], **SHARED)

    with recording_members() as tables:
        tidy()
    tidy()
    ((estimates, (by_site,)),) = tables
    assert by_site.episodes.to_dict("records") == keys
    assert by_site.events.to_dict("records") == keys[:1]
    assert estimates["by_site"].tolist() == [by_site] == ["S01=1/1 S02=2/0"]
    assert count_sites(episodes)["by_site"].episodes is None  # without a trace nothing is kept


def test_a_row_has_a_number_or_the_reason_why_not():
    rows = [
        state("median_days", 7, stratum="all", n_episodes=40, n_sites=4),
        withhold("median_days", "too_few", "few episodes", stratum="canal=lateral"),
    ]
    estimates = tidy_estimates(rows, **SHARED)
    assert estimates["estimate"].tolist()[0] == 7
    assert estimates["estimate"].isna().tolist() == [False, True]
    assert estimates["status"].tolist() == ["ok", "too_few"]
    assert set(estimates["analysis"]) == {"resolution_curves"}


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ({"term": "luck", "stratum": "all"}, Undeclared),
        ({"term": "median_days", "stratum": "moon=full"}, UnknownStratum),
        ({"term": "median_days", "stratum": "all", "comparison": "moon=full"}, UnknownStratum),
    ],
    ids=["quantity", "stratum", "comparison"],
)
def test_what_nobody_declared_cannot_be_stated(row, fault):
    with pytest.raises(fault):
        tidy_estimates([state(row.pop("term"), 1.0, **row)], **SHARED)
