"""Rows of estimates: counted by site, checked against what is declared, and nothing else."""

import pytest

from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.quantities import Undeclared
from schemas.strata import UnknownStratum

SHARED = {
    "analysis": "resolution_curves",
    "population": "positional",
    "endpoint": "objective",
    "method": "m",
}


def test_sites_are_counted_with_their_episodes():
    assert count_sites(["S02", "S01", "S02"]) == {"n_sites": 2, "by_site": "S01=1 S02=2"}
    assert count_sites([]) == {"n_sites": 0, "by_site": None}


def test_events_stand_behind_the_episodes_of_their_site():
    columns = count_sites(["S01", "S01", "S02"], events=["S01"])
    assert columns == {"n_sites": 2, "by_site": "S01=2/1 S02=1/0"}


def test_a_part_is_told_beside_its_whole_and_its_own_sites_are_counted():
    columns = count_sites(["S02", "S02"], among=["S01", "S02", "S02", "S02"])
    assert columns == {"n_sites": 1, "by_site": "S01=1/0 S02=3/2"}


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
