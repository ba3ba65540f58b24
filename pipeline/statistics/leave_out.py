"""Clustered data with one cluster left out, as weights of distinct patterns.

The cost does not grow with the pool.
"""

from collections import Counter

import numpy as np
from numpy.typing import ArrayLike


def leave_out_weights(
    pattern_index: ArrayLike, patient: ArrayLike, site: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """Count how often each pattern occurs without one site.

    A single site cannot be left out: then each of its patients is, and those with equal patterns
    make one row that stands for all of them. The order of rows changes nothing.

    Parameters
    ----------
    pattern_index
        Number of the pattern of each row, from 0, (rows,).
    patient, site
        The patient and the site of each row, (rows,).

    Returns
    -------
    tuple of np.ndarray
        The counts, whole numbers (sites, patterns), and how many samples each of their rows stands
        for, (sites,), all 1 unless there is a single site.
    """
    pattern = np.asarray(pattern_index)
    sites, home = np.unique(site, return_inverse=True)
    if len(sites) == 1:
        count, brought = count_patients(pattern, patient)
        return count @ brought - brought, count
    patterns = pattern.max() + 1
    of_site = np.bincount(home * patterns + pattern, minlength=len(sites) * patterns).reshape(
        len(sites), patterns
    )
    return of_site.sum(axis=0) - of_site, np.ones(len(sites), dtype=int)


def count_patients(pattern_index: ArrayLike, patient: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Count patients of equal patterns as one kind.

    Parameters
    ----------
    pattern_index
        Number of the pattern of each row, from 0, (rows,).
    patient
        The patient of each row, (rows,).

    Returns
    -------
    tuple of np.ndarray
        How many patients are of each kind (kinds,), and how often each of them brings each pattern
        (kinds, patterns).
    """
    pattern = np.asarray(pattern_index)
    patient = np.unique(patient, return_inverse=True)[1]
    order = np.lexsort((pattern, patient))
    change = np.flatnonzero(np.diff(patient[order])) + 1
    patients = Counter(tuple(rows.tolist()) for rows in np.split(pattern[order], change))
    kinds = sorted(patients)
    brought = np.array([np.bincount(rows, minlength=pattern.max() + 1) for rows in kinds])
    return np.array([patients[kind] for kind in kinds]), brought
