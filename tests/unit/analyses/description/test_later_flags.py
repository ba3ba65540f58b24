"""Later flags as shares: whose flags count, and among whom."""

import pandas as pd
import pytest

from pipeline.analyses.description.later_flags import count_later_flags
from pipeline.statistics.tidy import tidy_estimates

FLAG = "unresolved_after_fitting_maneuvers"


def count(plan, flagged: list[int], positional: list[str], treated: list[int]) -> pd.DataFrame:
    """The shares where the episodes of these numbers are flagged and treated;
    each episode's verdict in `positional`."""

    def name(numbers) -> pd.DataFrame:
        return pd.DataFrame(
            {"site": [f"S0{n % 2}" for n in numbers], "episode_id": [f"EP-{n}" for n in numbers]}
        )

    rows = count_later_flags(
        name(flagged).assign(flag=FLAG),
        name(range(len(positional))).assign(positional=positional),
        name([n for n in treated for _ in range(2)]),  # two sessions each
        plan,
    )
    return tidy_estimates(rows, analysis="non_positional", method="share of episodes").set_index(
        "stratum"
    )


def test_only_treated_positional_episodes_count(plan):
    estimates = count(
        plan, [0, 3, 5], ["yes"] * 3 + ["probable_non_positional"] + ["yes"] * 2, [0, 1, 2, 3, 4]
    )
    row = estimates.loc[f"later_flag={FLAG}"]
    assert (row["n_episodes"], row["n_events"], row["n_sites"], row["status"]) == (4, 1, 2, "ok")
    assert row["estimate"] == pytest.approx(1 / 4)
    assert set(estimates.index) == {f"later_flag={flag}" for flag in plan.criteria.later_flags}
    assert estimates["n_events"].sum() == 1


def test_nobody_treated_gives_a_status(plan):
    estimates = count(plan, [], ["yes"], [])
    assert estimates["status"].eq("too_few").all()
    assert estimates["estimate"].isna().all()
