"""Probabilities over people and sites are those of brute force."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from pipeline.analyses.attempts.probabilities import People, average_survival


@pytest.mark.parametrize("sd", [0.0, 0.8, 2.0])
def test_average_over_people_and_spread_is_that_of_brute_force(sd):
    people = People(
        np.array([[1.0, 0.0], [1.0, 1.0]]), np.array([3.0, 1.0]), np.zeros(2, dtype=int)
    )
    coef, dose = np.array([-0.5, 0.7]), np.array([0.5, 1.0, 2.5])
    survival = average_survival(people, coef, sd, dose)
    for each, value in zip(dose, survival, strict=True):
        parts = [
            quad(
                lambda z, linear=linear, each=each: (
                    norm.pdf(z) * np.exp(-each * np.exp(linear + sd * z))
                ),
                -9,
                9,
                limit=200,
            )[0]
            for linear in (-0.5, 0.2)
        ]
        assert value == pytest.approx(0.75 * parts[0] + 0.25 * parts[1], abs=2e-5)
