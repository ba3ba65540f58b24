"""Shares that have to do with one another tell of none that is hidden."""

import numpy as np
import pandas as pd
import pytest

from pipeline.disclosure.cells import list_cells
from pipeline.disclosure.people import describe_rows, read_by_site
from pipeline.disclosure.protect import hide_small_groups
from pipeline.disclosure.rounding import round_released
from pipeline.disclosure.share_sums import (
    find_exposed_shares,
    list_open_sums,
    list_share_sums,
)
from pipeline.statistics.tidy import state, tidy_estimates
from tests.pool_of_counts import RULE, release


@pytest.mark.parametrize(
    ("free", "switched", "reclassified", "hidden"),
    [
        (0.24, 0.1, 0.04, []),  # of two small ones each may be nobody
        (
            0.21,
            0.13,
            0.04,
            ["incidence_switched_day_7"],
        ),  # the only small one follows from the others: one more is hidden
        (0.2, 0.18, 0.0, []),  # it may be nobody
    ],
)
def test_shares_that_add_up_to_one_do_not_tell_the_hidden_one(free, switched, reclassified, hidden):
    shares = {"resolved": 0.62, "switched": switched, "reclassified": reclassified}
    shares = {f"incidence_{event}_day_7": share for event, share in shares.items()} | {
        "event_free_day_7": free
    }
    rows = [
        state(term, share, stratum="all", n_episodes=100, n_sites=5)
        for term, share in shares.items()
    ]
    shared = {
        "analysis": "competing_events",
        "population": "positional",
        "endpoint": "objective",
        "method": "m",
    }
    table = tidy_estimates(rows, **shared)
    described = describe_rows(table)
    safe = round_released(hide_small_groups(table, described, read_by_site(table), RULE), described)
    cells = list_cells(table, described, read_by_site(table), RULE)
    sums = list_open_sums(list_share_sums(cells, table, described), safe)
    people, owned = np.array([100.0]), np.zeros(1)
    assert [
        table.at[label, "term"] for label in find_exposed_shares(sums, people, people, owned, 11)
    ] == hidden


@pytest.mark.parametrize(
    "canals",
    [
        # 1 - .34 - .39 - .24 of about 180
        {"posterior": 60, "lateral": 70, "unknown": 42, "multiple": 6},
        # two hidden ones together
        {"posterior": 60, "lateral": 70, "unknown": 44, "multiple": 2, "anterior": 2},
    ],
)
def test_shares_of_one_group_do_not_tell_the_hidden_ones_by_what_is_left(canals):
    rows = [
        state("share", n / 178, stratum=f"canal={canal}", n_episodes=178, n_events=n, n_sites=5)
        for canal, n in canals.items()
    ]
    released = release(
        tidy_estimates(rows, analysis="pool_description", population="positional", method="m")
    ).rows
    released = released.set_index(released["stratum"].str.removeprefix("canal="))
    hidden = [canal for canal, n in canals.items() if n < RULE.least_shown]
    half = np.where(released["rounded"].str.contains("estimate").fillna(False), 0.025, 0.005)
    shares = released["estimate"].drop(hidden).astype(float)
    half = pd.Series(half, released.index).drop(hidden)
    most = 184 * (1 - (shares - half).sum())
    least = 175 * (1 - (shares + half).sum())
    assert least < 0.5 or most > RULE.min_cell - 0.5
    assert released["status"].drop(hidden).eq("ok").all()


def test_shares_of_one_group_do_not_tell_who_is_between_two_of_them():
    """118 and 112 of 142: .83 and, in coarse steps, .8 begin and end at .825,
    which is no whole number of people of 135 to 144."""
    rows = [
        state(
            f"fell_by_{points}_by_day_90",
            n / 142,
            stratum="all",
            n_episodes=142,
            n_events=n,
            n_sites=19,
        )
        for points, n in ((11, 118), (18, 112))
    ]
    shared = {
        "analysis": "handicap_change",
        "population": "positional",
        "endpoint": "objective",
        "method": "share",
    }
    released = release(tidy_estimates(rows, **shared)).rows
    shown = released["status"].eq("ok")
    if shown.all():
        coarse = released["rounded"].str.contains("estimate").fillna(False).to_numpy(bool)
        low, high = (
            released["estimate"].to_numpy(float) + sign * np.where(coarse, 0.025, 0.005)
            for sign in (-1, 1)
        )
        sizes = np.arange(135, 145)
        assert (np.ceil(low[0] * sizes - 1e-9) <= np.floor(high[1] * sizes + 1e-9)).any()
