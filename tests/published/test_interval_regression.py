"""The interval-censored regression against survreg of R's survival package,
recorded in interval_regression.csv, and against lifelines."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import LogLogisticAFTFitter, LogNormalAFTFitter, WeibullAFTFitter

from pipeline.statistics.interval_regression import FAMILIES, collapse_patterns, fit_aft

HERE = Path(__file__).parent
COVARIATES = [f"x{k}" for k in range(1, 6)]
LIFELINES = {
    "weibull": WeibullAFTFitter,
    "lognormal": LogNormalAFTFitter,
    "loglogistic": LogLogisticAFTFitter,
}


def _read(source: io.TextIOBase | Path) -> pd.DataFrame:
    return pd.read_csv(source, comment="#")


def read_rows(data: str) -> tuple[np.ndarray, np.ndarray, pd.DataFrame]:
    """Ends and covariates of one data set."""
    if data == "cosmesis":
        rows = _read(HERE / "cosmesis.csv")
        covariates = pd.DataFrame({"x1": rows["arm"].eq("RT").astype(float)})
    else:
        rows = (
            _read(HERE / "interval_regression_rows.csv")
            .query(f"data == {data!r}")
            .reset_index(drop=True)
        )
        covariates = rows[COVARIATES].astype(float)
        covariates = covariates.loc[:, covariates.ne(0).any()]
    return rows["left"].to_numpy(float), rows["right"].fillna(np.inf).to_numpy(float), covariates


def fit(data: str, family: str):
    left, right, covariates = read_rows(data)
    design = np.column_stack([np.ones(len(left)), covariates])
    return fit_aft(collapse_patterns(left, right, design)[0], family)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("data", ["cosmesis", "remission", "veteran", "lung"])
def test_agrees_with_survreg(data, family):
    recorded = _read(HERE / "interval_regression.csv").query(
        f"data == {data!r} and family == {family!r}"
    )
    aft = fit(data, family)
    estimates = np.append(aft.coef, np.log(aft.scale))
    np.testing.assert_allclose(estimates, recorded["estimate"], rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(np.sqrt(np.diag(aft.covariance)), recorded["std_error"], rtol=1e-5)
    np.testing.assert_allclose(aft.log_likelihood, recorded["log_likelihood"].iloc[0], rtol=1e-10)


@pytest.mark.parametrize("family", FAMILIES)
def test_agrees_with_lifelines_to_the_digits_of_its_search(family):
    left, right, covariates = read_rows("cosmesis")
    # its log-normal fails at zero
    frame = covariates.assign(left=np.maximum(left, 1e-6), right=right)
    other = LIFELINES[family]().fit_interval_censoring(frame, "left", "right")
    place = {"weibull": "lambda_", "lognormal": "mu_", "loglogistic": "alpha_"}[family]
    terms = [(place, "Intercept"), (place, "x1")]
    aft = fit("cosmesis", family)
    np.testing.assert_allclose(aft.coef, other.params_[terms], rtol=3e-4)
    np.testing.assert_allclose(
        np.sqrt(np.diag(aft.covariance))[:2], other.standard_errors_[terms], rtol=1e-3
    )
    np.testing.assert_allclose(aft.log_likelihood, other.log_likelihood_, rtol=1e-6)


def test_record_is_what_the_script_gives(run_r):
    printed = run_r("interval_regression.R")
    again, recorded = _read(io.StringIO(printed)), _read(HERE / "interval_regression.csv")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=1e-6, atol=1e-7)
