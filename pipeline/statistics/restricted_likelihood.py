"""The restricted likelihood (REML) of the linear mixed model, and its gradient.

They are found from sums of products per patient; the fit is in pipeline/statistics/linear_mixed.py.

The coefficients and the variance of a measurement are those that fit best at given relative
standard deviations of the random effects.
"""

from typing import NamedTuple

import numpy as np

STEP = 1e-4  # of differences of the gradient


class Products(NamedTuple):
    """Sums of products, with patients in the order of sites.

    Attributes
    ----------
    patient_products
        Of the q random effects' design with itself, the coefficients' design, the measurement and a
        one, (q, q + terms + 2, patients).
    site_products
        Of the last three, (sites, terms + 2, terms + 2).
    edges
        The patients of each site begin and end at two neighbours, (sites + 1,).
    n
        Number of measurements.
    """

    patient_products: np.ndarray
    site_products: np.ndarray
    edges: np.ndarray
    n: int


def sum_products(
    measured: np.ndarray,
    design: np.ndarray,
    effects: np.ndarray,
    patient: np.ndarray,
    site: np.ndarray,
) -> Products:
    """Sum the products of measurements, design and effects.

    The order of rows changes nothing but the last digits; sort them for none.

    Parameters
    ----------
    measured
        Measurements, (rows,).
    design
        Covariates with an intercept if there is one, (rows, terms).
    effects
        The random effects' design, (rows, 1 or 2).
    patient, site
        Labels, (rows,); a patient belongs to one site.

    Returns
    -------
    Products
        The sums.

    Raises
    ------
    ValueError
        For a patient of two sites.
    """
    sites, home_of_row = np.unique(site, return_inverse=True)
    _, first, who = np.unique(patient, return_index=True, return_inverse=True)
    if not np.array_equal(home_of_row[first][who], home_of_row):
        raise ValueError("a patient has rows of two sites")
    both = np.column_stack([design, measured, np.ones(len(measured))])
    order = np.argsort(home_of_row[first], kind="stable")
    place = np.argsort(order)[who]
    patient_products = np.zeros((effects.shape[1], len(first), effects.shape[1] + both.shape[1]))
    for sums, effect in zip(patient_products, effects.T, strict=True):
        np.add.at(sums, place, effect[:, None] * np.column_stack([effects, both]))
    site_products = np.array(
        [both[home_of_row == k].T @ both[home_of_row == k] for k in range(len(sites))]
    )
    edges = np.searchsorted(home_of_row[first][order], np.arange(len(sites) + 1))
    return Products(
        np.ascontiguousarray(patient_products.transpose(0, 2, 1)),
        site_products,
        edges,
        len(measured),
    )


def drop_site(products: Products, k: int) -> Products:
    """Take the k-th site out of the sums."""
    begin, end = products.edges[k], products.edges[k + 1]
    edges = np.concatenate([products.edges[: k + 1], products.edges[k + 2 :] - (end - begin)])
    patient_products = np.delete(products.patient_products, np.s_[begin:end], axis=2)
    return Products(
        patient_products,
        np.delete(products.site_products, k, axis=0),
        edges,
        products.n - int(products.site_products[k, -1, -1]),
    )


def reml_deviance(relative: np.ndarray, products: Products, sites: bool) -> tuple[float, dict]:
    """Find minus twice the restricted log-likelihood at relative standard deviations.

    Parameters
    ----------
    relative
        A lower triangle by rows, then that of sites; relative to the standard deviation of a
        measurement.
    products
        Sums of products.
    sites
        Whether the intercepts of sites vary.

    Returns
    -------
    tuple
        The deviance, and what else of a LinearFit follows from them, by name.
    """
    triangle, spread = _read(relative, products, sites)
    p = products.site_products.shape[1] - 2
    patients = _absorb_patients(triangle, products)
    scale = 1 + spread * patients.site_products[:, -1, -1]
    total = _absorb_sites(patients.site_products, spread / scale)
    bread, coef, left = (
        np.linalg.inv(total[:p, :p]),
        np.linalg.solve(total[:p, :p], total[:p, p]),
        products.n - p,
    )
    variance = max(float(total[p, p] - total[:p, p] @ coef), np.finfo(float).tiny) / left
    log_size = patients.log_size + np.log(scale).sum()
    deviance = (
        log_size + np.linalg.slogdet(total[:p, :p])[1] + left * (1 + np.log(2 * np.pi * variance))
    )
    parts = {
        "coef": coef,
        "covariance": variance * bread,
        "patient": variance * triangle @ triangle.T,
    }
    parts |= {"site": variance * spread, "residual": variance, "log_likelihood": -deviance / 2}
    return deviance, parts | {"relative": np.asarray(relative)}


def reml_gradient(relative: np.ndarray, products: Products, sites: bool) -> np.ndarray:
    """Find the gradient of `reml_deviance`, by the chain rule.

    Parameters
    ----------
    relative, products, sites
        As for `reml_deviance`.

    Returns
    -------
    np.ndarray
        By each of `relative`.

    Notes
    -----
    With S the products of a patient's effects, L the triangle, H = (I + L' S L)^-1 and G = L H L',
    patients add log det H^-1 and take B' G B from the products of their site; `weight` says how the
    deviance moves with these, site by site.
    """
    triangle, spread = _read(relative, products, sites)
    q, p = len(triangle), products.site_products.shape[1] - 2
    inverse, gain, site_products, _ = _absorb_patients(triangle, products)
    last, size = site_products[:, :, -1], site_products[:, -1, -1]
    scale = 1 + spread * size
    total = _absorb_sites(site_products, spread / scale)
    residual = np.append(-np.linalg.solve(total[:p, :p], total[:p, p]), [1.0, 0.0])
    core = (
        (products.n - p)
        / max(residual @ total @ residual, np.finfo(float).tiny)
        * np.outer(residual, residual)
    )
    core[:p, :p] += np.linalg.inv(total[:p, :p])
    turned = last @ core
    bent = (turned * last).sum(axis=1)
    weight = np.tile(core, (len(site_products), 1, 1))
    weight[:, :, -1] -= (spread / scale)[:, None] * turned
    weight[:, -1, :] -= (spread / scale)[:, None] * turned
    weight[:, -1, -1] += bent * (spread / scale) ** 2 + spread / scale
    random, cross = products.patient_products[:, :q], products.patient_products[:, q:]
    weighted = np.empty_like(random)
    for k, (begin, end) in enumerate(zip(products.edges[:-1], products.edges[1:], strict=True)):
        block = cross[:, :, begin:end]
        weighted[:, :, begin:end] = np.einsum("amn,bmn->abn", block, weight[k] @ block)
    inner = random - weighted + _multiply(random, _multiply(gain, weighted))
    by_triangle = 2 * _multiply(inner, _multiply(triangle, inverse)).sum(axis=2)
    by_site = 2 * (relative[-1] if sites else 0.0) * (size / scale - bent / scale**2).sum()
    return np.append(by_triangle[np.tril_indices(q)], [by_site] * sites)


def _read(relative: np.ndarray, products: Products, sites: bool) -> tuple[np.ndarray, float]:
    """The triangle of patients' relative standard deviations, and sites' relative variance."""
    q = len(products.patient_products)
    triangle = np.zeros((q, q))
    triangle[np.tril_indices(q)] = relative[: len(relative) - sites]
    return triangle, float(relative[-1] ** 2) if sites else 0.0


class Absorbed(NamedTuple):
    """Patients' effects taken in.

    Attributes
    ----------
    inverse, gain
        H and G of each patient, (q, q, patients).
    site_products
        The products of sites with what patients share taken away.
    log_size
        The logarithm of the determinant.
    """

    inverse: np.ndarray
    gain: np.ndarray
    site_products: np.ndarray
    log_size: float


def _absorb_patients(triangle: np.ndarray, products: Products) -> Absorbed:
    q, site_products = len(triangle), products.site_products.copy()
    random, cross = products.patient_products[:, :q], products.patient_products[:, q:]
    inverse, log_size = _invert(
        np.eye(q)[:, :, None] + _multiply(triangle.T, _multiply(random, triangle))
    )
    gain = _multiply(triangle, _multiply(inverse, triangle.T))
    taken = [sum(gain[a, b] * cross[b] for b in range(q)) for a in range(q)]
    for k, (begin, end) in enumerate(zip(products.edges[:-1], products.edges[1:], strict=True)):
        for a in range(q):
            site_products[k] -= cross[a, :, begin:end] @ taken[a][:, begin:end].T
    return Absorbed(inverse, gain, site_products, log_size)


def _absorb_sites(site_products: np.ndarray, share: np.ndarray) -> np.ndarray:
    """The products of all sites with what the rows of a site share taken away."""
    return (
        site_products - share[:, None, None] * site_products[:, :, [-1]] * site_products[:, [-1], :]
    ).sum(axis=0)


def _multiply(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """The product of each pair of small matrices, (q, q, patients).

    Or of each with the same one, (q, q).
    """
    return np.array(
        [
            [sum(first[a, c] * second[c, b] for c in range(len(first))) for b in range(len(first))]
            for a in range(len(first))
        ]
    )


def _invert(matrices: np.ndarray) -> tuple[np.ndarray, float]:
    """The inverse of each matrix of one or two rows, (q, q, patients).

    With them comes the sum of the logarithms of their determinants.
    """
    if len(matrices) == 1:
        return 1 / matrices, float(np.log(matrices).sum())
    (a, b), (c, d) = matrices
    size = a * d - b * c
    return np.array([[d, -b], [-c, a]]) / size, float(np.log(size).sum())


def reml_hessian(point: np.ndarray, products: Products, sites: bool) -> np.ndarray:
    """Find the second derivative of `reml_deviance`, by central differences of its gradient.

    Parameters
    ----------
    point
        Relative standard deviations, as for `reml_deviance`.
    products, sites
        As there.

    Returns
    -------
    np.ndarray
        Symmetric, by each pair of `point`.
    """
    rows = [
        (
            reml_gradient(point + shift, products, sites)
            - reml_gradient(point - shift, products, sites)
        )
        / (2 * STEP)
        for shift in STEP * np.eye(len(point))
    ]
    return (np.array(rows) + np.array(rows).T) / 2
