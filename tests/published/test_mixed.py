"""The attempt regressions against R's glmer, glmmTMB, glm and survreg, recorded in mixed.csv,
and against statsmodels."""

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import gammaln

from pipeline.statistics.cloglog import Rows, collapse_rows, fit_cloglog
from pipeline.statistics.mixed import fit_mixed, score
from pipeline.statistics.quadrature import collapse_patients
from tests.published.estimators import sandwich_by_cluster

HERE = Path(__file__).parent
STOPS_SHORT = 5e-6  # of the coefficients; seen: 2e-8 on the herds, 4e-7 on the pool


def _read(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / name, comment="#")


def _recorded(data: str, model: str, program: str) -> pd.Series:
    rows = _read("mixed.csv").query(
        f"data == {data!r} and model == {model!r} and program == {program!r}"
    )
    return rows.set_index("term")["value"]


def _dummies(frame: pd.DataFrame, *columns: str) -> np.ndarray:
    classes = [pd.get_dummies(frame[column], drop_first=True).to_numpy(float) for column in columns]
    return np.column_stack([np.ones(len(frame)), *classes])


@pytest.fixture(scope="module")
def herds():
    rows = _read("cbpp.csv")
    design, events = _dummies(rows, "period"), rows["incidence"].to_numpy(float)
    counted = Rows(design, np.zeros(len(rows)), events, rows["size"].to_numpy(float) - events)
    chosen = gammaln(rows["size"] + 1) - gammaln(events + 1) - gammaln(rows["size"] - events + 1)
    return collapse_patients(
        counted, rows["herd"].to_numpy(), np.zeros(len(rows), dtype=int)
    ), float(chosen.sum())


@pytest.fixture(scope="module")
def pool():
    rows = _read("mixed_pool.csv")
    attempt, site = _dummies(rows, "attempt")[:, 1:], _dummies(rows, "site")[:, 1:]
    design = np.column_stack([np.ones(len(rows)), rows["x"], attempt, site])
    event = rows["event"].to_numpy(float)
    return Rows(design, np.log(rows["gap"].to_numpy(float)), event, 1 - event), rows


def test_herds_agree_with_adaptive_quadrature_of_glmer(herds):
    groups, constant = herds
    fit = fit_mixed(groups, np.array([-1.5, -1, -1, -1.0]), 31, random_sites=False)
    recorded = _recorded("cbpp", "cloglog", "glmer").to_numpy()
    np.testing.assert_allclose([*fit.coef, fit.patient_sd], recorded, rtol=0, atol=1e-6)
    # two programs, own quadrature and the package glmm, agreed on this value to all its digits
    assert fit.log_likelihood + constant == pytest.approx(-91.7451845, abs=1e-6)


def test_pool_agrees_with_adaptive_quadrature_of_glmer(pool):
    single, rows = pool
    groups = collapse_patients(single, rows["patient"].to_numpy(), rows["site"].to_numpy())
    fit = fit_mixed(groups, fit_cloglog(single).point, 31, random_sites=False)
    recorded = _recorded("pool", "cloglog", "glmer").to_numpy()
    np.testing.assert_allclose([*fit.coef, fit.patient_sd], recorded, rtol=0, atol=STOPS_SHORT)


@pytest.mark.parametrize("data", ["cbpp", "pool"])
def test_one_point_is_the_laplace_approximation_of_glmmtmb(data, herds, pool):
    single, rows = pool
    patients = collapse_patients(single, rows["patient"].to_numpy(), rows["site"].to_numpy())
    groups, constant = herds if data == "cbpp" else (patients, 0.0)
    recorded = _recorded(data, "cloglog", "glmmTMB").to_numpy()
    value = score(recorded[:-1], groups, 1, random_sites=False)[0]
    assert value + constant == pytest.approx(recorded[-1], abs=1e-6)
    assert (
        abs(score(recorded[:-1], groups, 31, random_sites=False)[0] - value) > 0.01
    )  # the approximation is not the integral


def test_marginal_regression_agrees_with_glm(pool):
    single, _ = pool
    fit, recorded = fit_cloglog(single), _recorded("pool", "cloglog", "glm").to_numpy()
    np.testing.assert_allclose([*fit.point, fit.value], recorded, rtol=0, atol=1e-7)


def test_two_rows_a_patient_are_the_interval_censored_exponential_model():
    rows = _read("cosmesis.csv")
    treated, left, right = (
        rows["arm"].eq("RT").to_numpy(float),
        rows["left"].to_numpy(float),
        rows["right"].to_numpy(float),
    )
    before, seen = left > 0, np.isfinite(right)
    arm = np.concatenate([treated[before], treated[seen]])
    offset = np.log(np.concatenate([left[before], (right - left)[seen]]))
    event = np.repeat([False, True], [before.sum(), seen.sum()])
    fit = fit_cloglog(
        collapse_rows(
            np.column_stack([np.ones(len(arm)), arm]), offset, event, np.zeros(len(arm), int)
        )[0]
    )
    error = np.sqrt(np.diag(np.linalg.inv(fit.information)))
    recorded = _recorded("cosmesis", "exponential", "survreg").to_numpy()
    np.testing.assert_allclose([*-fit.point, *error, fit.value], recorded, rtol=0, atol=2e-7)


def test_patient_sandwich_agrees_with_statsmodels(pool):
    single, rows = pool
    fit, patient = fit_cloglog(single), rows["patient"].to_numpy()
    model = sm.GLM(
        single.events,
        single.design,
        sm.families.Binomial(sm.families.links.CLogLog()),
        offset=single.offset,
    )
    other = model.fit(method="newton", cov_type="cluster", cov_kwds={"groups": patient})
    n, p, g = *single.design.shape, len(np.unique(patient))
    factor = g / (g - 1) * (n - 1) / (n - p)  # its own for small samples
    sandwich = sandwich_by_cluster(single, fit, patient) * (n - 1) / (n - p)
    assert factor > 1
    np.testing.assert_allclose(fit.point, other.params, rtol=0, atol=1e-8)
    np.testing.assert_allclose(sandwich, other.cov_params(), rtol=1e-6, atol=1e-9)


def test_record_is_what_the_script_gives(run_r):
    printed = run_r("mixed.R")
    again, recorded = pd.read_csv(io.StringIO(printed), comment="#"), _read("mixed.csv")
    pd.testing.assert_frame_equal(again, recorded, check_exact=False, rtol=0, atol=1e-5)
