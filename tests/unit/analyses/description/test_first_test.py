"""Days to the first test: who is counted, what counts as a test,
and the curve of a worked example."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analyses.description.first_test import estimate_first_test, list_delays
from schemas.keys import EPISODE
from tests.unit.conftest import build_table

SITES = ("S01", "S02", "S03", "S04", "S05")


def gather(tested: list[int | None], last: list[int], **more) -> dict[str, pd.DataFrame]:
    """Delivered and derived rows of treated episodes, each first tested on a day (None: never)
    and last heard of on another."""
    who = [{"site": SITES[n % len(SITES)], "episode_id": f"EP-{n}"} for n in range(len(tested))]
    tests = [key | {"day": day} for key, day in zip(who, tested, strict=True) if day is not None]
    tests += [key | {"day": 0} for key in who]  # before and after the maneuver of day 0
    keys = pd.DataFrame(who).astype("string")
    return {
        "examinations": build_table("examinations", tests),
        "treatments": build_table("treatments", [key | {"day": 0} for key in who]),
        "followups": build_table(
            "followups", [key | {"day": day} for key, day in zip(who, last, strict=True)]
        ),
        "adjudications": keys.assign(positional=more.get("positional", "yes")),
        "attempts": pd.concat(
            [keys.assign(session=s, setting=w) for s, w in ((1, "clinic"), (2, "home"))]
        ),
    }


def test_a_test_counts_from_the_day_after_and_who_was_never_tested_up_to_the_last_contact():
    delays = list_delays(**gather([3, None, 14], [20, 30, 2])).set_index("episode_id")
    assert delays["days"].to_dict() == {"EP-0": 3, "EP-1": 30, "EP-2": 14}
    assert delays["tested"].to_dict() == {"EP-0": True, "EP-1": False, "EP-2": True}
    assert set(delays["setting"]) == {"clinic"}  # of the first session


def test_only_treated_positional_episodes_count():
    rows = gather(
        [3, 3, 3], [9, 9, 9], positional=["yes", "probable_non_positional", "undetermined"]
    )
    assert list(list_delays(**rows)["episode_id"]) == ["EP-0"]


def test_the_curve_of_a_worked_example(plan):
    """Ten episodes a site: four tested on day 1, one of six heard of last on day 5,
    four of five tested on day 7.

    S(1) = 6/10; S(7) = 6/10 x 1/5 (Kaplan and Meier 1958, by hand).
    """
    tested = [1] * 20 + [None] * 5 + [7] * 20 + [None] * 5
    last = [30] * 20 + [5] * 5 + [30] * 25
    estimates = estimate_first_test(**gather(tested, last), config=plan).set_index(
        ["stratum", "term"]
    )
    assert estimates.loc[("all", "tested_by_day_1"), "estimate"] == pytest.approx(0.4)
    assert estimates.loc[("all", "tested_by_day_7"), "estimate"] == pytest.approx(1 - 0.6 / 5)
    assert estimates.loc[("all", "delay_median"), "estimate"] == 7
    assert estimates.loc[("all", "delay_lower_quartile"), "estimate"] == 1
    assert estimates.loc[("setting=clinic", "tested_by_day_1"), "estimate"] == pytest.approx(0.4)
    ok = estimates[estimates["status"].eq("ok") & estimates["lower"].notna()]
    assert ((ok["lower"] <= ok["estimate"]) & (ok["estimate"] <= ok["upper"])).all()


def test_few_episodes_or_sites_give_a_status(plan):
    too_few = estimate_first_test(**gather([1, 2, 3], [9, 9, 9]), config=plan)
    assert too_few["status"].eq("too_few").all()
    rows = gather([1] * 40, [9] * 40)
    alone = {name: table[table["site"].eq("S01")] for name, table in rows.items()}
    many = {
        name: pd.concat([table.assign(episode_id=table["episode_id"] + f"-{k}") for k in range(5)])
        for name, table in alone.items()
    }
    estimates = estimate_first_test(**many, config=plan).set_index(["stratum", "term"])
    assert estimates.loc["all", "status"].eq("not_identified").all()
    assert estimates.loc[("site=S01", "tested_by_day_1"), "status"] == "ok"


@settings(max_examples=10)
@given(
    st.lists(st.one_of(st.none(), st.integers(1, 60)), min_size=40, max_size=60),
    st.integers(0, 1000),
)
def test_shares_grow_from_day_to_day_and_limits_hold_them(plan, tested, seed):
    last = np.random.default_rng(seed).integers(0, 90, len(tested)).tolist()
    estimates = estimate_first_test(**gather(tested, last), config=plan)
    assert not estimates.duplicated(["stratum", "term"]).any()
    for _, part in estimates[
        estimates["term"].str.startswith("tested") & estimates["status"].eq("ok")
    ].groupby("stratum"):
        assert part["estimate"].is_monotonic_increasing
        assert part["lower"].is_monotonic_increasing
        assert (
            (part["lower"] <= part["estimate"] + 1e-9) & (part["estimate"] <= part["upper"] + 1e-9)
        ).all()
    assert list(list_delays(**gather(tested, last))[EPISODE].columns) == EPISODE
