"""Estimators that published results were made by, and that the project itself does not use."""

import numpy as np

from pipeline.statistics.cloglog import Maximum, Rows, score_hazard, take_hazard


def tau2_by_moments(effects: np.ndarray, variances: np.ndarray) -> float:
    """From Cochran's Q at once (DerSimonian R, Laird N. Control Clin Trials 1986;7:177-188)."""
    weights = 1 / variances
    mean = weights @ effects / weights.sum()
    excess = weights @ (effects - mean) ** 2 - (len(effects) - 1)
    return max(0.0, excess / (weights.sum() - (weights**2).sum() / weights.sum()))


def sandwich_by_cluster(rows: Rows, fit: Maximum, cluster: np.ndarray) -> np.ndarray:
    """Covariance clustered by `cluster`, one label a row: information^-1 (sum of s s')
    information^-1 g / (g - 1), with s the score of each of g clusters (Liang K-Y, Zeger SL.
    Biometrika 1986;73:13-22). Rows must not be collapsed across clusters."""
    hazard = take_hazard(rows.offset + rows.design @ fit.point)
    scores = rows.design * score_hazard(hazard, rows.events, rows.failures)[1][:, None]
    labels, index = np.unique(cluster, return_inverse=True)
    total = np.zeros((len(labels), scores.shape[1]))
    np.add.at(total, index, scores)
    bread = np.linalg.inv(fit.information)
    return bread @ total.T @ total @ bread * len(labels) / (len(labels) - 1)
