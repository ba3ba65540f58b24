"""Variations of the primary answer: what each does to an interval,
and that the answer follows where it must."""

from itertools import islice

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.analyses.sensitivity.variations import (
    COUNTED,
    EPISODE,
    coarsen,
    find_returns,
    leave_out_of_difference,
    leave_out_sites,
    take_day,
    take_unseen,
    vary,
    vary_duration,
    vary_gap,
)
from pipeline.derivation.tables import DELIVERED, derive_rows
from pipeline.intake.receive import receive_delivery
from pipeline.sources import ROOT
from schemas.study import Config

POOL = ROOT / "synthetic_data" / "pool"
GRID = np.array([0, 1, 7, 14, 30, 60, np.inf])


def build(*intervals: tuple[float, float], sites: int = 3) -> pd.DataFrame:
    rows = pd.DataFrame(intervals, columns=["left_days", "right_days"], dtype=float)
    return rows.assign(site=[f"S{n % sites:02d}" for n in range(len(rows))])


def bounds(rows: pd.DataFrame) -> list[tuple[float, float]]:
    return list(zip(rows["left_days"], rows["right_days"], strict=True))


@pytest.mark.parametrize(
    ("interval", "wider"),
    [
        ((0, 1), (0, 1)),
        ((3, 7), (1, 7)),
        ((7, 8), (7, 14)),
        ((2, np.inf), (1, np.inf)),
        ((31, 75), (30, np.inf)),
        ((0, 61), (0, np.inf)),
    ],
)
def test_coarsening_widens_to_the_grid(interval, wider):
    assert bounds(coarsen(build(interval), GRID)) == [wider]


def test_verdicts_are_taken_in_and_left_out(plan):
    found = [("yes", "definite"), ("yes", "suspected"), ("undetermined", "possible")]
    found.append(("probable_non_positional", "suspected"))
    verdicts = pd.DataFrame(found, columns=["positional", "certainty"], dtype="string")
    varied = islice(vary({"adjudications": verdicts}, {}, plan), 4)
    counted = {
        name: rows["adjudications"]["positional"].eq("yes").tolist() for name, rows, _ in varied
    }
    assert counted["undetermined_included"] == [True, True, True, False]
    assert counted["probable_non_positional_included"] == [True, True, False, True]
    assert counted["suspected_left_out"] == [True, False, False, False]


@given(
    st.lists(
        st.tuples(st.integers(0, 80), st.integers(1, 80) | st.just(np.inf)), min_size=1, max_size=20
    )
)
def test_coarsened_intervals_hold_the_old_ones_and_end_on_the_grid(pairs):
    rows = build(*((left, left + length) for left, length in pairs))
    wider = coarsen(rows, GRID)
    assert (wider["left_days"] <= rows["left_days"]).all()
    assert (wider["right_days"] >= rows["right_days"]).all()
    assert set(wider["left_days"]) | set(wider["right_days"]) <= set(GRID)


@pytest.mark.parametrize(("share", "day"), [(1, (7, 8)), (0.5, (5, 6))])
def test_a_day_taken_for_resolution_is_one_day_wide(share, day):
    assert bounds(take_day(build((4, 8), (3, np.inf)), share)) == [day, (3, np.inf)]


def test_those_not_seen_again_are_taken_for_resolved_at_once_or_not_at_all():
    rows = build((4, 8), (3, np.inf), (0, np.inf), (70, np.inf), (0, np.inf))
    rows = rows.assign(
        status=["resolved", "unresolved", "not_tested_again", "unresolved", "incomplete_record"]
    )
    taken = take_unseen(rows, resolved=True, until=60)
    assert bounds(taken) == [(4, 8), (3, 4), (0, 1), (70, 71), (0, np.inf)]
    assert taken["status"].tolist() == ["resolved"] * 4 + ["incomplete_record"]
    taken = take_unseen(rows, resolved=False, until=60)
    assert bounds(taken) == [(4, 8), (60, np.inf), (60, np.inf), (70, np.inf), (0, np.inf)]
    assert taken["status"].tolist() == ["resolved"] + ["unresolved"] * 3 + ["incomplete_record"]


def test_leaving_out_a_site_gives_the_ends_over_all_sites(plan):
    # three sites with shares .2, .5 and .8 by day 7: without one of them .65, .5 and .35 are left
    rows = [
        build(*[(0, 7)] * n + [(7, np.inf)] * (10 - n)).assign(site=site)
        for site, n in (("S01", 2), ("S02", 5), ("S03", 8))
    ]
    estimates = pd.DataFrame(leave_out_sites(pd.concat(rows), plan))
    estimates = estimates[estimates["term"].eq("resolved_by_day_7")].set_index("stratum")[
        "estimate"
    ]
    assert estimates["variation=without_one_site,least"] == pytest.approx(0.35, abs=1e-6)
    assert estimates["variation=without_one_site,greatest"] == pytest.approx(0.65, abs=1e-6)


def test_two_sites_are_too_few_to_leave_one_out(plan):
    estimates = pd.DataFrame(leave_out_sites(build((0, 7), (7, np.inf), sites=2), plan))
    assert set(estimates["status"]) == {"not_identified"}


@pytest.fixture(scope="module")
def stored(plan) -> dict[str, pd.DataFrame]:
    """The stored rows of two sites of the demonstration pool."""
    received = [receive_delivery(POOL / site / "001", plan).tables for site in ("S05", "S08")]
    return {
        name: pd.concat([tables[name] for tables in received], ignore_index=True)
        for name in received[0]
    }


def change(plan: Config, part: str, **values: object) -> Config:
    study = plan.study.model_copy(
        update={part: getattr(plan.study, part).model_copy(update=values)}
    )
    return plan.model_copy(update={"study": study})


def test_only_touched_episodes_need_to_be_decided_again(stored, plan):
    delivered = {name: stored[name] for name in DELIVERED}
    derived_rows = derive_rows(delivered, plan)
    # what the analysis is given
    primary = {
        name: derived_rows[name] for name in ("findings", "adjudications", "spells", "attempts")
    }

    def assert_same(derived, wanted):
        keys = {
            "spells": ["endpoint", "spell"],
            "adjudications": [],
            "attempts": ["session", "attempt"],
        }
        for name, key in keys.items():
            one, other = (
                rows[name].sort_values([*EPISODE, *key], ignore_index=True)
                for rows in (derived, wanted)
            )
            pd.testing.assert_frame_equal(one, other)

    touched = find_returns(delivered, primary)
    assert 0 < len(touched) < len(stored["episodes"]) / 2
    gaps = change(plan, "sensitivity", recurrence_gaps=(5, 30))
    for _, derived, gap in vary_gap(primary, delivered, gaps):
        wanted = derive_rows(delivered, gap)
        assert not wanted["spells"].equals(primary["spells"])
        primary_spells = wanted["spells"]["endpoint"].eq(plan.study.resolution.primary)
        # neither answer asks for it
        bare = [rows["attempts"].drop(columns="spell") for rows in (derived, wanted)]
        assert_same(
            derived | {"spells": keep_primary(derived, plan), "attempts": bare[0]},
            wanted | {"spells": wanted["spells"][primary_spells], "attempts": bare[1]},
        )

    for _, derived, changed_plan in vary_duration(
        primary, delivered, change(plan, "sensitivity", duration_limits_s=(40, 65))
    ):
        wanted = derive_rows(delivered, changed_plan)
        assert not wanted["adjudications"].equals(primary["adjudications"])
        primary_spells = wanted["spells"]["endpoint"].eq(plan.study.resolution.primary)
        assert_same(
            derived | {"spells": keep_primary(derived, plan)},
            wanted | {"spells": wanted["spells"][primary_spells]},
        )


def keep_primary(derived: dict[str, pd.DataFrame], plan: Config) -> pd.DataFrame:
    return derived["spells"][derived["spells"]["endpoint"].eq(plan.study.resolution.primary)]


def test_differences_without_a_site_are_told_by_their_ends_only():
    primary = dict.fromkeys(COUNTED, 1) | {"term": "risk_difference_day_30"}
    estimates = list(leave_out_of_difference(primary, np.array([0.1, -0.2, 0.3])))
    assert [row["estimate"] for row in estimates] == [-0.2, 0.3]
    assert not list(leave_out_of_difference({"term": "risk_difference_day_30"}, np.array([])))
