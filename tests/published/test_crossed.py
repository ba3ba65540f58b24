"""Crossed effects against R's lme4, recorded in crossed.csv, and against statsmodels."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import gammaln
from statsmodels.genmod.bayes_mixed_glm import BinomialBayesMixedGLM

from pipeline.statistics.crossed_likelihood import count_rows, find_modes

HERE = Path(__file__).parent


@pytest.fixture(scope="module")
def herds():
    return pd.read_csv(HERE / "cbpp.csv", comment="#")


@pytest.mark.parametrize("sds", [(0.3, 0.3), (0.6, 0.5), (1.2, 0.2), (0.0, 0.8)])
def test_modes_and_their_likelihood_are_those_of_lme4(herds, sds):
    recorded = pd.read_csv(HERE / "crossed.csv", comment="#")
    here = recorded[recorded["herd_sd"].eq(sds[0]) & recorded["period_sd"].eq(sds[1])]
    terms = here.set_index("term")["value"]
    events, members = herds["incidence"].to_numpy(), herds["size"].to_numpy()
    counted = count_rows(events, members, [herds["herd"].to_numpy(), herds["period"].to_numpy()])
    modes = find_modes(counted, np.array([sds]))
    effects = counted.spread(np.array([sds]))[0] * modes.effects[0]
    np.testing.assert_allclose(effects, terms.drop("deviance").to_numpy(), rtol=0, atol=1e-6)
    # here the intercept is integrated over too, there it is at its maximum
    chosen = (gammaln(members + 1) - gammaln(events + 1) - gammaln(members - events + 1)).sum()
    of_intercept = np.log(2 * np.pi * np.linalg.inv(modes.information[0])[0, 0]) / 2
    value = modes.value[0] + chosen - of_intercept
    # whose weights are those of its last step but one
    assert -2 * value == pytest.approx(terms["deviance"], abs=1e-5)


def test_the_mode_is_that_of_statsmodels():
    """Its log-posterior, of rows of zeros and ones, has no slope at our mode."""
    rng = np.random.default_rng(1)
    first, second = rng.integers(0, 4, 150), rng.integers(0, 5, 150)
    event = (rng.random(150) < 0.2 + 0.1 * first).astype(float)
    counted = count_rows(event, np.ones(150), [first, second])
    sds = np.array([0.7, 0.4])
    modes = find_modes(counted, sds[None, :])
    other = BinomialBayesMixedGLM(
        event, np.ones((150, 1)), counted.belongs[:, 1:], counted.factor, vcp_p=1e6, fe_p=1e6
    )
    effects = counted.spread(sds[None, :])[0] * modes.effects[0]
    point = np.concatenate([effects[:1], np.log(sds), effects[1:]])
    slope = other.logposterior_grad(point)
    np.testing.assert_allclose(np.delete(slope, [1, 2]), 0, atol=1e-6)
