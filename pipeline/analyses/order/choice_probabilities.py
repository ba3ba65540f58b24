"""The probability of what was chosen, given what was known, by logistic regression; anew without
each site."""

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import NUMERIC
from pipeline.statistics.design import build_design
from pipeline.statistics.guard import Refusal
from pipeline.statistics.logistic import fit_logistic
from schemas.study import Guards

NOT_CHOSEN = Refusal(
    "not_identified", "positivity: for some the probability of one choice is next to none"
)


def find_probabilities(
    rows: pd.DataFrame,
    terms: tuple[str, ...],
    chosen: np.ndarray,
    stays: np.ndarray,
    guards: Guards,
) -> np.ndarray | Refusal:
    """Find the probability of what was chosen, anew without each site, or why there is none.

    Nobody is left out, so that whoever stands at a later choice is not asked for what became of
    them until then. Classes of few choices of either kind are counted together.

    Parameters
    ----------
    rows
        One choice each: `site` and the terms without gaps.
    terms
        The columns that were known at the choice.
    chosen
        Whether it fell so, (choices,) of bool.
    stays
        Who is in each sample, the first of all, (samples, choices) of bool.
    guards
        Thresholds.

    Returns
    -------
    np.ndarray | Refusal
        (samples, choices); 0 for those left out, and for all of a sample without an answer. A
        refusal where the choice has next to no probability for some.
    """
    if chosen.all():
        return stays.astype(float)
    design = np.column_stack(
        [
            np.ones(len(rows)),
            build_design(
                rows,
                terms,
                pd.Series(chosen, rows.index),
                guards,
                numeric=NUMERIC,
                binary=True,
            ).matrix,
        ]
    )
    fit = fit_logistic(design, chosen)
    if isinstance(fit, Refusal):
        return fit
    if np.mean(fit[0] < guards.min_chance) > guards.min_chance:
        return NOT_CHOSEN
    chances = np.zeros(stays.shape)
    chances[0] = fit[0]
    for stay, sample in zip(stays[1:], chances[1:], strict=True):
        sample[stay] = find_again(design[stay], chosen[stay], fit[1])
    return chances


def find_again(design: np.ndarray, chosen: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Find the probabilities of some of the choices, as those without a site.

    Parameters
    ----------
    design
        Covariates with their intercept, (choices, columns).
    chosen
        Whether they fell so, (choices,).
    start
        Coefficients of all, (columns,).

    Returns
    -------
    np.ndarray
        (choices,); zeros where there are none.
    """
    if chosen.all() or not chosen.any():
        return chosen.astype(float)
    usable = find_usable(design, chosen)
    fit = fit_logistic(design[:, usable], chosen, start[usable])
    return np.zeros(len(chosen)) if isinstance(fit, Refusal) else fit[0]


def find_usable(design: np.ndarray, changed: np.ndarray) -> np.ndarray:
    """Which columns of zeros and ones have members of both choices; others (numbers, the intercept)
    always do. Boolean, one a column."""
    binary = ((design == 0) | (design == 1)).all(axis=0)
    change, members = changed.astype(float) @ design, design.sum(axis=0)
    return ~binary | ((change > 0) & (change < members))
