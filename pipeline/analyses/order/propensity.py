"""Weights that make those who chose one way and those who chose the other alike in everything that
was known at the choice.

With A the choice and X what was known, an episode gets the stabilised weight P(A) / P(A | X)
(inverse-probability weighting, IPW: Robins JM, Hernan MA, Brumback B. Epidemiology
2000;11:550-560); P(A | X) comes from a logistic regression. Weighted, both arms have the covariates
of all who stood at the choice. Weights are cut at quantiles of their own (Cole SR, Hernan MA. Am J
Epidemiol 2008;168:656-664): less spread for a little bias. Where that is asked for they are then
calibrated (pipeline/statistics/calibration.py), so that each arm has the mean of all in every
covariate.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import NUMERIC
from pipeline.analyses.order.choice_probabilities import find_again
from pipeline.statistics.calibration import calibrate
from pipeline.statistics.design import build_design
from pipeline.statistics.guard import (
    Refusal,
    check_positivity,
    check_sites,
    check_size,
)
from pipeline.statistics.logistic import fit_logistic
from schemas.study import Guards

# fits of the probabilities, each without those to whom the one before gave next to none
TRIMS = 4
NOT_CALIBRATED = Refusal("not_converged", "the weights could not be calibrated")


@dataclass(frozen=True)
class Weights:
    """Stabilised weights after the cut.

    Attributes
    ----------
    weight
        One an episode, (episodes,); calibrated where that was asked for.
    truncated_share
        The share of episodes whose weight was cut.
    greatest
        The greatest weight before the cut.
    """

    weight: np.ndarray
    truncated_share: float
    greatest: float


def find_one_sided(
    rows: pd.DataFrame, terms: tuple[str, ...], changed: np.ndarray, guards: Guards
) -> np.ndarray:
    """Which rows are in a class where all chose alike though it has guards.min_episodes or more.

    For them there is nothing to compare. Leaving them out may make another class one-sided: this is
    repeated until none is. Boolean, one a row.
    """
    classes = [rows[term].astype(str).factorize()[0] for term in terms if term not in NUMERIC]
    out = np.zeros(len(rows), dtype=bool)
    while True:
        more = out.copy()
        for codes in classes:
            members = np.bincount(codes[~out], minlength=codes.max(initial=-1) + 1)
            change = np.bincount(
                codes[~out], weights=changed[~out], minlength=codes.max(initial=-1) + 1
            )
            more |= ((members >= guards.min_episodes) & ((change == 0) | (change == members)))[
                codes
            ] & ~out
        if (more == out).all():
            return out
        out = more


def weigh(chances: np.ndarray, changed: np.ndarray, truncate: tuple[float, float]) -> Weights:
    """Stabilised inverse-probability weights from P(change | covariates), P(A) / P(A | X), cut at
    the quantiles `truncate` of all weights."""
    share = changed.mean()
    weight = np.where(changed, share, 1 - share) / np.where(changed, chances, 1 - chances)
    low, high = np.quantile(weight, truncate)
    cut = (weight < low) | (weight > high)
    return Weights(np.clip(weight, low, high), float(cut.mean()), float(weight.max()))


def count_effective(weight: np.ndarray) -> float:
    """As many episodes of equal weight tell as much: (sum w)^2 / sum w^2 (Kish L. Survey Sampling.
    1965)."""
    return float(weight.sum() ** 2 / (weight**2).sum())


def measure_balance(
    rows: pd.DataFrame, terms: tuple[str, ...], changed: np.ndarray, weight: np.ndarray
) -> pd.DataFrame:
    """Measure how far apart the choices are in each class of each term, change minus repeat.

    A class that all are in, or none, is left out.

    Returns
    -------
    pd.DataFrame
        Standardised mean differences `before` and `after` weighting and the number of `members`, in
        rows term=class, or term where it is a number. Both are in units of the spread before
        weighting, the root of the mean of the two variances (Austin PC, Stuart EA. Stat Med
        2015;34:3661-3679).
    """
    balance = {}
    for term in terms:
        for name, x in _list_levels(rows[term]):
            spread = np.sqrt((x[changed].var() + x[~changed].var()) / 2)
            if spread > 0:
                apart = [
                    np.average(x[changed], weights=w[changed])
                    - np.average(x[~changed], weights=w[~changed])
                    for w in (np.ones(len(x)), weight)
                ]
                balance[name] = (
                    *(np.array(apart) / spread),
                    len(x) if name in NUMERIC else int(x.sum()),
                )
    return pd.DataFrame.from_dict(balance, orient="index", columns=["before", "after", "members"])


def _list_levels(values: pd.Series) -> Iterator[tuple[str, np.ndarray]]:
    """Each class of a term as zeros and ones, or the numbers of a term that is one."""
    if values.name in NUMERIC:
        yield values.name, values.to_numpy(float)
        return
    codes, levels = values.astype(str).factorize(sort=True)
    yield from (
        (f"{values.name}={level}", (codes == k).astype(float)) for k, level in enumerate(levels)
    )


@dataclass(frozen=True)
class Contrast:
    """Who is compared, and with which weights.

    Attributes
    ----------
    rows
        The episodes that are compared.
    changed
        Who of them changed, (episodes,).
    weights
        The first sample holds all, each other one leaves out a site, in order of names; a sample of
        zeros has no answer, (samples, episodes).
    described
        The weights of all.
    left_out
        Number of episodes that had next to no probability of one choice.
    """

    rows: pd.DataFrame
    changed: np.ndarray
    weights: np.ndarray
    described: Weights
    left_out: int

    @property
    def unweighted(self) -> np.ndarray:
        """A weight of 1 for everyone in each sample."""
        return leave_out_sites(self.rows["site"]).astype(float)


def weigh_choice(
    rows: pd.DataFrame,
    terms: tuple[str, ...],
    truncate: tuple[float, float],
    guards: Guards,
    *,
    calibrated: bool = False,
) -> Contrast | Refusal:
    """Find the weights of one comparison, anew without each site, or why there are none.

    Parameters
    ----------
    rows
        One episode each: `site`, `choice` (repeat or change), the terms without gaps, left_days and
        right_days.
    terms
        The columns that were known at the choice.
    truncate
        Quantiles of the weights at which they are cut.
    guards
        Thresholds.
    calibrated
        Whether the weights are calibrated after the cut.
    """
    refusal = _check_choices(rows, guards)
    if refusal:
        return refusal
    fit = _fit_where_both_happen(rows, terms, guards)
    if isinstance(fit, Refusal):
        return fit
    kept, design, chances, coef = fit
    changed = kept["choice"].eq("change").to_numpy(bool)
    described = weigh(chances, changed, truncate)
    samples = leave_out_sites(kept["site"])
    weights = np.zeros(samples.shape)
    weights[0] = described.weight
    for stay, sample in zip(samples[1:], weights[1:], strict=True):
        sample[stay] = _weigh_again(design[stay], changed[stay], coef, truncate)
    if calibrated:
        for stay, sample in zip(samples, weights, strict=True):
            if sample.any():
                sample[stay] = calibrate(design[stay, 1:], sample[stay], changed[stay])
        if not weights[0].any():
            return NOT_CALIBRATED
        described = replace(described, weight=weights[0])
    return Contrast(kept, changed, weights, described, len(rows) - len(kept))


def _fit_where_both_happen(
    rows: pd.DataFrame, terms: tuple[str, ...], guards: Guards
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray, np.ndarray] | Refusal:
    """The rows for whom both choices happen, their design, probabilities and coefficients.

    Left out are classes where all chose alike, then those with next to no probability of one
    choice; then the probabilities are found anew.
    """
    kept, qualifier, trims = rows, "", 0
    while True:
        changed = kept["choice"].eq("change").to_numpy(bool)
        kept = kept[~find_one_sided(kept, terms, changed, guards)].reset_index(drop=True)
        qualifier = (
            ", without those whose probability of one choice was next to none"
            if len(kept) < len(rows)
            else ""
        )
        refusal = _check_choices(kept, guards)
        if refusal:
            return Refusal(refusal.status, refusal.note + qualifier)
        changed = kept["choice"].eq("change").to_numpy(bool)
        matrix = build_design(
            kept, terms, pd.Series(changed), guards, numeric=NUMERIC, binary=True
        ).matrix
        design = np.column_stack([np.ones(len(kept)), matrix])
        fit = fit_logistic(design, changed)
        if isinstance(fit, Refusal):
            return fit
        refusal, trims = check_positivity(fit[0], "change", guards), trims + 1
        if not refusal:
            return kept, design, *fit
        if trims == TRIMS:
            return refusal
        kept = kept[(fit[0] >= guards.min_chance) & (fit[0] <= 1 - guards.min_chance)]


def _check_choices(rows: pd.DataFrame, guards: Guards) -> Refusal | None:
    """Whether each arm has enough episodes, whatever became of them,
    and both together enough sites."""
    refusal = None
    for choice in ("repeat", "change"):
        refusal = refusal or check_size(int(rows["choice"].eq(choice).sum()), None, guards)
    return refusal or check_sites(rows["site"].nunique(), guards)


def leave_out_sites(sites: pd.Series) -> np.ndarray:
    """Who is in each sample: everyone, then all but one site at a time; boolean,
    (sites + 1, episodes)."""
    names = sites.to_numpy(str)
    return np.vstack([np.full(len(names), True), names != np.unique(names)[:, None]])


def _weigh_again(
    design: np.ndarray, changed: np.ndarray, start: np.ndarray, truncate: tuple[float, float]
) -> np.ndarray:
    """The weights without a site, zeros if there are none; a class in which all who are left chose
    alike counts with the reference."""
    chances = find_again(design, changed, start)
    if changed.all() or not chances.any():
        return np.zeros(len(changed))
    return weigh(chances, changed, truncate).weight
