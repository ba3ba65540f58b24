"""Clustered data with one cluster left out, as weights of distinct patterns: the cost does not grow with the pool."""

from collections import Counter

import numpy as np
from numpy.typing import ArrayLike


def leave_out_weights(pattern_index: ArrayLike, patient: ArrayLike, site: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """How often each pattern occurs without one site: integers, (sites, patterns), and how many samples each row stands for, all 1.

    A single site cannot be left out: then each of its patients is, and those with equal patterns make one row that stands for all
    of them. The order of rows changes nothing.
    """
    home, count, brought = count_patients(pattern_index, patient, site)
    whole = count @ brought
    if home.max() == 0:
        return (whole - brought).astype(int), count
    own = [count[home == s] @ brought[home == s] for s in range(home.max() + 1)]
    return (whole - own).astype(int), np.ones(len(own), dtype=int)


def count_patients(
    pattern_index: ArrayLike, patient: ArrayLike, site: ArrayLike
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The patients of equal patterns within a site as one kind: its site 0, 1, ... (kinds,), how many patients they are (kinds,), and
    how often each brings each pattern (kinds, patterns)."""
    pattern = np.asarray(pattern_index)
    site = np.unique(site, return_inverse=True)[1]
    patient = np.unique(patient, return_inverse=True)[1]
    order = np.lexsort((pattern, patient, site))
    change = np.flatnonzero(np.diff(site[order]) | np.diff(patient[order])) + 1
    signatures = [tuple(rows.tolist()) for rows in np.split(pattern[order], change)]
    patients = Counter(zip(site[order][np.append(0, change)].tolist(), signatures, strict=True))
    kinds = sorted(patients)
    home, count = np.array([s for s, _ in kinds]), np.array([patients[kind] for kind in kinds])
    brought = np.array([np.bincount(rows, minlength=pattern.max() + 1) for _, rows in kinds], dtype=float)
    return home, count, brought
