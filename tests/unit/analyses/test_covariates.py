"""Covariates that are known at the first attempt."""

import pandas as pd
import pytest

from pipeline.analyses.covariates import NOT_RECORDED, describe_covariates
from schemas.derived import Adjudications, Attempts


def read(table, **verdict):
    verdicts = pd.DataFrame(
        [dict.fromkeys(Adjudications.describe()) | {"site": "S01", "episode_id": "EP-1"} | verdict]
    )
    return describe_covariates(
        table("episodes", [{"onset_day": None}]), Adjudications.cast(verdicts), Attempts.empty()
    ).iloc[0]


def test_a_short_arm_names_its_definition(table):
    shown = read(
        table, canal="posterior", arm="short", arm_basis="sitting_up", mechanism="canalolithiasis"
    )
    assert shown["canal_arm"] == "posterior short by sitting_up"
    assert (
        read(table, canal="lateral", arm="long", mechanism="canalolithiasis")["canal_arm"]
        == "lateral long"
    )


@pytest.mark.parametrize(
    ("onset_day", "band"),
    [
        (0, "0-7 days"),
        (-7, "0-7 days"),
        (-8, "8-30 days"),
        (-31, "31-90 days"),
        (-91, "over 90 days"),
        (None, NOT_RECORDED),
    ],
)
def test_onset_bands_at_their_edges(table, onset_day, band):
    verdicts = pd.DataFrame(
        [dict.fromkeys(Adjudications.describe()) | {"site": "S01", "episode_id": "EP-1"}]
    )
    rows = describe_covariates(
        table("episodes", [{"onset_day": onset_day}]),
        Adjudications.cast(verdicts),
        Attempts.empty(),
    )
    assert rows["onset"].item() == band
