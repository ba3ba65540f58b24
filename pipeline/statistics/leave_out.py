"""Clustered data with one cluster left out, as weights of distinct patterns:
the cost does not grow with the pool."""

from collections import Counter

import numpy as np
from numpy.typing import ArrayLike


def leave_out_weights(
    pattern_index: ArrayLike, patient: ArrayLike, site: ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """How often each pattern occurs without one site: integers, (sites, patterns),
    and how many samples each row stands for, all 1.

    A single site cannot be left out: then each of its patients is, and those with equal patterns
    make one row that stands for all of them. The order of rows changes nothing.
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
    """The patients of equal patterns as one kind: how many patients they are (kinds,),
    and how often each of them brings each pattern (kinds, patterns)."""
    pattern = np.asarray(pattern_index)
    patient = np.unique(patient, return_inverse=True)[1]
    order = np.lexsort((pattern, patient))
    change = np.flatnonzero(np.diff(patient[order])) + 1
    patients = Counter(tuple(rows.tolist()) for rows in np.split(pattern[order], change))
    kinds = sorted(patients)
    brought = np.array([np.bincount(rows, minlength=pattern.max() + 1) for rows in kinds])
    return np.array([patients[kind] for kind in kinds]), brought
