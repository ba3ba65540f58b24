"""Logistic regression of greatest likelihood, for its probabilities."""

import numpy as np
from scipy.special import expit

from pipeline.statistics.guard import GRADIENT_LEFT, Refusal

# of the search for the probabilities; the second is of twice the rise that a further step promises
STEPS, ENOUGH = 100, 1e-15
# keeps steps finite in directions in which all probabilities are 0 or 1; the greatest is 1/4
LEAST_CURVATURE = 1e-12
HALVINGS, ROUNDING = 20, 1e-12  # of a step, until the log-likelihood falls by no more than this
DEPENDENT = 1e-10  # of the length of the longest column, below which one follows from the others
NO_CHANCES = Refusal("not_converged", "the probabilities of the choice were not found")


def fit_logistic(
    design: np.ndarray, happened: np.ndarray, start: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray] | Refusal:
    """Fit P(event | covariates) by logistic regression of greatest likelihood.

    The probabilities are unique, even where coefficients are not since some columns follow from
    others: the search is among as many orthogonal columns as the design has directions, and whether
    it ended at the maximum is asked of the solution itself.

    Parameters
    ----------
    design
        Covariates with their intercept, (episodes, columns).
    happened
        Who had the event, (episodes,).
    start
        Coefficients at which the search begins, (columns,).

    Returns
    -------
    tuple of np.ndarray or Refusal
        Probabilities (episodes,) and coefficients (columns,).
    """
    happened = np.asarray(happened, dtype=float)
    directions, length, turn = np.linalg.svd(design, full_matrices=False)
    independent = length > DEPENDENT * length[0]
    columns, length, turn = directions[:, independent], length[independent], turn[independent]
    coef = np.zeros(len(length)) if start is None else length * (turn @ start)
    value = _take_likelihood(columns @ coef, happened)
    for _ in range(STEPS):
        chance = expit(columns @ coef)
        gradient = columns.T @ (happened - chance)
        information = (columns.T * (chance * (1 - chance))) @ columns
        step = np.linalg.solve(information + LEAST_CURVATURE * np.eye(len(coef)), gradient)
        left = gradient @ step
        if not left > ENOUGH:
            break
        for halving in range(HALVINGS):
            tried = coef + step / 2**halving
            reached = _take_likelihood(columns @ tried, happened)
            if reached >= value - ROUNDING * abs(value):
                break
        coef, value = tried, reached
    steepest = np.abs(design.T @ (happened - chance)).max()
    found = chance, (coef / length) @ turn
    return found if left <= GRADIENT_LEFT and steepest < 1e-3 else NO_CHANCES


def _take_likelihood(linear: np.ndarray, happened: np.ndarray) -> float:
    """Log-likelihood of log-odds."""
    return float(happened @ linear - np.logaddexp(0, linear).sum())
