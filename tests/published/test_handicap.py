"""The linear mixed model against lme4 of R, recorded in handicap.csv: sleep deprivation,
and made-up patients within sites."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.linear_mixed import fit_linear_mixed
from pipeline.statistics.restricted_likelihood import sum_products

HERE = Path(__file__).parent


def _read(source: io.TextIOBase | Path, **how) -> pd.DataFrame:
    return pd.read_csv(source, comment="#", **how)


def fit(model: str):
    """The fit, the names of its terms in the record, and the names of its variances with their
    numbers."""
    if model.startswith("sleep"):
        rows = _read(HERE / "sleepstudy.csv", dtype={"subject": str})
        measured, slope, who, site = (
            rows["reaction"],
            rows["day"],
            rows["subject"],
            pd.Series("one", index=rows.index),
        )
        design, names = np.column_stack([np.ones(len(rows)), slope]), ["(Intercept)", "day"]
        labels, sites = ("subject", "day"), False
    else:
        rows = _read(HERE / "handicap_rows.csv")
        measured, slope, who, site = rows["total"], rows["time"], rows["patient"], rows["site"]
        design = np.column_stack([np.ones(len(rows)), slope, rows["treated"]])
        names, labels, sites = ["(Intercept)", "time", "treated"], ("patient", "time"), True
    effects = design[:, : 2 if model.endswith("slopes") else 1]
    products = sum_products(
        measured.to_numpy(float), design, effects, who.to_numpy(str), site.to_numpy(str)
    )
    model_fit = fit_linear_mixed(products, sites=sites)
    spread = {f"{labels[0]} Intercept": model_fit.patient[0, 0], "Residual": model_fit.residual}
    if len(model_fit.patient) == 2:
        spread |= {f"{labels[0]} {labels[1]}": model_fit.patient[1, 1]}
        spread |= {f"{labels[0]} Intercept {labels[1]}": model_fit.patient[0, 1]}
    return model_fit, names, spread | ({"site Intercept": model_fit.site} if sites else {})


@pytest.mark.parametrize(
    "model", ["sleep_slopes", "sleep_intercepts", "nested_slopes", "nested_intercepts"]
)
def test_agrees_with_lmer(model):
    recorded = _read(HERE / "handicap.csv").query(f"model == {model!r}").set_index("term")
    model_fit, names, spread = fit(model)
    np.testing.assert_allclose(model_fit.coef, recorded.loc[names, "estimate"], rtol=1e-7)
    np.testing.assert_allclose(
        np.sqrt(np.diag(model_fit.covariance)), recorded.loc[names, "std_error"], rtol=1e-6
    )
    np.testing.assert_allclose(
        list(spread.values()), recorded.loc[list(spread), "estimate"], rtol=1e-5
    )
    np.testing.assert_allclose(
        model_fit.log_likelihood, recorded.loc["log_likelihood", "estimate"], rtol=1e-10
    )


# Restricted log-likelihood 1743.628 (as minus twice it) and the coefficients: Bates D, Machler M,
# Bolker B, Walker S. J Stat Softw 2015;67(1):1-48, quoted from memory.
def test_sleep_deprivation_as_printed():
    model_fit, _, spread = fit("sleep_slopes")
    assert -2 * model_fit.log_likelihood == pytest.approx(1743.628, abs=5e-4)
    np.testing.assert_allclose(model_fit.coef, [251.405, 10.467], atol=6e-4)
    assert spread["subject Intercept"] == pytest.approx(612.09, abs=0.05)


def test_record_is_what_the_script_gives(run_r):
    printed = run_r("handicap.R")
    again, recorded = _read(io.StringIO(printed)), _read(HERE / "handicap.csv")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=1e-5, atol=1e-6)
