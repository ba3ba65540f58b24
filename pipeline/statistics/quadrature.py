"""Likelihood of rows of patients who share an unseen part of their hazard.

It is integrated by adaptive Gauss-Hermite quadrature.

The log hazard of a row is offset + design @ coef + sd z, with z standard normal, one a patient. The
points of each patient lie around the mode of that patient's integrand, scaled by its curvature (Liu
Q, Pierce DA. Biometrika 1994;81:624-629); one point is Laplace's approximation. Derivatives hold
the points still: E[.] and Cov(.) under the weights of the points give the gradient and, by Louis TA
(J R Stat Soc B 1982;44:226-233), the second derivative of the integral. Where the points are enough
they are those of the sum too.
"""

from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_array

from pipeline.statistics.cloglog import Rows, find_distinct, score_hazard, take_hazard

# rows integrated together: enough to spare Python's overhead, few enough for the processor's cache
BLOCK = 2048
MODE_STEPS, LONGEST_STEP, MODE_PRECISION = 100, 2.0, 1e-9


class Groups(NamedTuple):
    """Distinct patients in the order of their sites.

    Attributes
    ----------
    rows
        The rows of each patient together.
    patient
        Whose a row is, (rows,).
    first
        The first row of each patient, (patients,).
    weight
        How many patients are like this one, (patients,).
    site
        The number of their site, (patients,).
    """

    rows: Rows
    patient: np.ndarray
    first: np.ndarray
    weight: np.ndarray
    site: np.ndarray


class Moments(NamedTuple):
    """What one integration leaves: means and covariances of derivatives under the points.

    Attributes
    ----------
    log_integral
        Of each patient, (patients,).
    by_row
        Mean first derivative by the row's log hazard, (rows,).
    curvature
        Second derivative by the row's own log hazard, (rows,).
    pairs
        For each distance between rows of one patient the earlier rows and their mixed derivatives.
    with_sd
        Mixed derivative with sd, (rows,).
    by_sd, sd_curvature
        First and second derivative by sd, (patients,).
    """

    log_integral: np.ndarray
    by_row: np.ndarray
    curvature: np.ndarray
    pairs: list[tuple[np.ndarray, np.ndarray]]
    with_sd: np.ndarray
    by_sd: np.ndarray
    sd_curvature: np.ndarray


def collapse_patients(rows: Rows, patient: np.ndarray, site: np.ndarray) -> Groups:
    """Count patients with equal rows together; the order of patients and rows changes nothing.

    Parameters
    ----------
    rows
        The rows of all patients, with counts.
    patient, site
        Whole numbers of the patient and the site of each row, (rows,).

    Returns
    -------
    Groups
        The distinct patients.
    """
    kinds, _, kind = find_distinct(
        np.column_stack([site, rows.offset, rows.events, rows.failures, rows.design])
    )
    order = np.lexsort((kind, patient))
    kind, patient = kind[order], np.unique(patient[order], return_inverse=True)[1]
    place = np.arange(len(patient)) - np.searchsorted(patient, patient)
    listed = np.full((patient[-1] + 1, place.max() + 1), -1.0)
    listed[patient, place] = kind
    home = np.empty(len(listed))
    home[patient] = kinds[kind, 0]
    distinct, _, index = find_distinct(np.column_stack([home, listed]))
    order = np.lexsort(distinct.T[::-1])
    weight = np.bincount(index).astype(float)[order]
    home, listed = distinct[order, 0].astype(int), distinct[order, 1:].astype(int)
    owner, _ = filled = np.nonzero(listed >= 0)
    chosen = kinds[listed[filled]]
    offset, events, failures = chosen[:, 1:4].T
    first = np.searchsorted(owner, np.arange(len(weight)))
    return Groups(Rows(chosen[:, 4:], offset, events, failures), owner, first, weight, home)


def keep_sites(groups: Groups, sites: list[int]) -> Groups:
    """Keep the patients of some sites.

    Parameters
    ----------
    groups
        Distinct patients and their rows.
    sites
        Numbers of the sites that stay; they keep these numbers.

    Returns
    -------
    Groups
        Their patients.
    """
    patients = np.flatnonzero(np.isin(groups.site, sites))
    rows = np.flatnonzero(np.isin(groups.site[groups.patient], sites))
    owner = np.searchsorted(patients, groups.patient[rows])
    first = np.searchsorted(owner, np.arange(len(patients)))
    return Groups(
        groups.rows.keep(rows), owner, first, groups.weight[patients], groups.site[patients]
    )


def integrate_patients(linear: np.ndarray, sd: float, groups: Groups, points: int) -> Moments:
    """Integrate the likelihood over z of every patient.

    Parameters
    ----------
    linear
        The log hazard of each row at z = 0, (rows,).
    sd
        Standard deviation of patients' intercepts.
    groups
        Distinct patients and their rows.
    points
        Quadrature points of each patient.

    Returns
    -------
    Moments
        The integrals and their derivatives.
    """
    centre, scale = _find_modes(linear, sd, groups)
    x, w = np.polynomial.hermite.hermgauss(points)
    z = centre[:, None] + np.sqrt(2) * scale[:, None] * x
    shift = np.log(w) + x**2 + np.log(scale / np.sqrt(np.pi))[:, None] - z**2 / 2
    parts, starts = [], np.append(groups.first, len(linear))
    cuts = np.unique(np.searchsorted(groups.first, np.arange(0, len(linear), BLOCK)))
    for begin, end in zip(cuts, np.append(cuts[1:], len(groups.first)), strict=True):
        rows = slice(starts[begin], starts[end])
        first, owner = groups.first[begin:end] - starts[begin], groups.patient[rows] - begin
        counts = groups.rows.events[rows], groups.rows.failures[rows]
        parts.append(
            _integrate(
                linear[rows],
                sd * z[begin:end],
                z[begin:end],
                shift[begin:end],
                counts,
                first,
                owner,
            )
        )
    log_integral, by_row, curvature, pairs, with_sd, by_sd, sd_curvature = zip(*parts, strict=True)
    joined = []
    for distance in range(max(map(len, pairs))):
        blocks = [
            (rows + starts[begin], mixed)
            for begin, of_block in zip(cuts, pairs, strict=True)
            for rows, mixed in of_block[distance : distance + 1]
        ]
        joined.append(tuple(np.concatenate(part) for part in zip(*blocks, strict=True)))
    return Moments(
        np.concatenate(log_integral),
        np.concatenate(by_row),
        np.concatenate(curvature),
        joined,
        np.concatenate(with_sd),
        np.concatenate(by_sd),
        np.concatenate(sd_curvature),
    )


def derive(
    moments: Moments, design: np.ndarray, weight: np.ndarray, groups: Groups
) -> tuple[np.ndarray, np.ndarray]:
    """Find gradient and negative second derivative of the sum of weight * log_integral.

    Parameters
    ----------
    moments
        What the integration left.
    design
        Covariates, (rows, terms).
    weight
        Of each patient, (patients,).
    groups
        Distinct patients and their rows.

    Returns
    -------
    tuple of np.ndarray
        By the coefficients of `design`, then sd: (terms + 1,) and (terms + 1, terms + 1).
    """
    each = weight[groups.patient]
    size = design.shape[1]
    second = np.empty((size + 1, size + 1))
    second[:size, :size] = (design.T * (each * moments.curvature)) @ design
    for distance, (rows, mixed) in enumerate(moments.pairs, start=1):
        crossed = (design[rows].T * (each[rows] * mixed)) @ design[rows + distance]
        second[:size, :size] += crossed + crossed.T
    second[size, :size] = second[:size, size] = design.T @ (each * moments.with_sd)
    second[size, size] = weight @ moments.sd_curvature
    return np.append(design.T @ (each * moments.by_row), weight @ moments.by_sd), -second


def _find_modes(linear: np.ndarray, sd: float, groups: Groups) -> tuple[np.ndarray, np.ndarray]:
    """The mode of each patient's integrand over z, and one over the root of its curvature there.

    The integrand is log-concave.
    """
    z = np.zeros(len(groups.first))
    for _ in range(MODE_STEPS):
        hazard = take_hazard(linear + sd * z[groups.patient])
        _, first, second = score_hazard(hazard, groups.rows.events, groups.rows.failures)
        curvature = 1 - sd**2 * np.add.reduceat(second, groups.first)
        step = (sd * np.add.reduceat(first, groups.first) - z) / curvature
        z = z + np.clip(step, -LONGEST_STEP, LONGEST_STEP)
        if np.abs(step).max() < MODE_PRECISION:
            break
    return z, 1 / np.sqrt(curvature)


def _integrate(
    linear: np.ndarray,
    added: np.ndarray,
    z: np.ndarray,
    shift: np.ndarray,
    counts: tuple[np.ndarray, np.ndarray],
    first: np.ndarray,
    owner: np.ndarray,
) -> tuple:
    """The parts of Moments for one block: rows (rows,), points (patients, points)."""
    value, slope, bend = score_hazard(take_hazard(linear[:, None] + added[owner]), *counts)
    size = len(owner)
    add_up = csr_array(
        (np.ones(size), np.arange(size), np.append(first, size)), shape=(len(first), size)
    )
    log_terms = add_up @ value + shift
    top = log_terms.max(axis=1, keepdims=True)
    share = np.exp(log_terms - top)
    total = share.sum(axis=1, keepdims=True)
    share /= total
    weighted = share[owner] * slope
    by_row = weighted.sum(axis=1)
    curvature = (
        np.einsum("rq,rq->r", share[owner], bend)
        + np.einsum("rq,rq->r", weighted, slope)
        - by_row**2
    )
    pairs = []
    for distance in range(1, int(np.bincount(owner).max())):
        rows = np.flatnonzero(owner[distance:] == owner[:-distance])
        mixed = (
            np.einsum("rq,rq->r", weighted[rows], slope[rows + distance])
            - by_row[rows] * by_row[rows + distance]
        )
        pairs.append((rows, mixed))
    by_z = (add_up @ slope) * z
    by_sd = np.einsum("pq,pq->p", share, by_z)
    with_sd = np.einsum("rq,rq->r", (share * z)[owner], bend) + np.einsum(
        "rq,rq->r", weighted, by_z[owner]
    )
    sd_curvature = np.einsum("pq,pq->p", share, (add_up @ bend) * z**2 + by_z**2) - by_sd**2
    return (
        (top + np.log(total)).ravel(),
        by_row,
        curvature,
        pairs,
        with_sd - by_row * by_sd[owner],
        by_sd,
        sd_curvature,
    )
