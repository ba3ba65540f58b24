"""Logistic regression: its probabilities are those of another program."""

import warnings

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import expit
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM

from pipeline.statistics.logistic import fit_logistic


@given(st.integers(0, 200))
def test_probabilities_are_those_of_statsmodels(seed):
    """Also where a column follows from others, and where all of a class chose alike."""
    rng = np.random.default_rng(seed)
    classes = rng.integers(0, 4, 120)
    design = np.column_stack([np.ones(120), np.eye(4)[classes], rng.normal(size=120)])
    changed = rng.random(120) < expit(design[:, -1] + classes - 1)
    changed[classes == 3] |= seed % 2 == 0
    chances, coef = fit_logistic(design, changed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = GLM(changed.astype(float), design[:, 1:], family=Binomial()).fit(tol=1e-12)
    np.testing.assert_allclose(chances, other.fittedvalues, rtol=0, atol=1e-6)
    again = fit_logistic(design, changed, coef)[0]
    np.testing.assert_allclose(again, chances, rtol=0, atol=1e-8)
