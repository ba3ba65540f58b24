"""The interval-censored estimator against survfit of R's survival package,
recorded in survfit_interval.csv."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.npmle import fit_npmle

HERE = Path(__file__).parent
# survfit (survival 3.5-3, by its source) stops once no survival moves by more than 5e-5 in a step
# of its EM algorithm. Steps shrink slowly, so that many are still left: on other data it was found
# to end up to 1.3e-3
# from the maximum.
STOPS_SHORT = 1.5e-3


def _read(text: io.TextIOBase | Path) -> pd.DataFrame:
    return pd.read_csv(text, comment="#")


# Days inside intervals of no information, where survfit is free to place its jump: RT 39 in (38,
# 40] and 47 in (46, 48]; RCT 6 and 7 in (5, 8], 45 to 47 in (44, 48].
@pytest.mark.parametrize(("arm", "unknown"), [("RT", [39, 47]), ("RCT", [6, 7, 45, 46, 47])])
def test_curve_agrees_with_survfit_within_its_stopping_rule(arm, unknown):
    rows, recorded = (
        read.query(f"arm == {arm!r}")
        for read in map(_read, (HERE / "cosmesis.csv", HERE / "survfit_interval.csv"))
    )
    fit = fit_npmle(rows["left"], rows["right"].fillna(np.inf))
    lower, upper = fit.survival(recorded["day"])
    known = upper - lower < 1e-9
    assert recorded["day"][~known].tolist() == unknown
    np.testing.assert_allclose(recorded["survival"][known], upper[known], rtol=0, atol=STOPS_SHORT)
    assert recorded["survival"].between(lower - STOPS_SHORT, upper + STOPS_SHORT).all()


def test_record_is_what_the_script_gives(run_r):
    printed = run_r("survfit_interval.R")
    again, recorded = _read(io.StringIO(printed)), _read(HERE / "survfit_interval.csv")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=0, atol=1e-6)
