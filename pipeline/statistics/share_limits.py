"""Limits of a share of episodes at sites that may differ.

Each is known to have had the event by then, or not, or neither.

Two kinds are found, and the wider counts on each side:
- by sites: the delete-one-site jackknife on the complementary log-log scale, with t quantiles
  (MacKinnon JG, Nielsen MO, Webb MD. J Appl Econometrics 2023;38:671-694). Sites of unequal size
  count as fewer: (sum n)^2 / sum n^2, as in Carter AV, Schnepel KT, Steigerwald DG. Rev Econ Stat
  2017;99:698-709 (from memory). It sees nothing where few had the event, or few had it not;
- exact ones (Clopper CJ, Pearson ES. Biometrika 1934;26:404-413) at the effective number: as many
  episodes watched all the time would be as uncertain (Dorey FJ, Korn EL. Stat Med 1987;6:679-687;
  Korn EL, Graubard BI. Surv Methodol 1998;24:193-201; both from memory). They hold near shares of 0
  and 1, and at them, where the number is taken times (1.96 / t)^2 because the jackknife has nothing
  to say of sites.
So no share is withheld because too few had the event, or too few had not: that would hide the best
and the worst.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import beta, norm
from scipy.stats import t as student

from pipeline.statistics.jackknife import limits

ROUNDING = 1e-6  # a share this close to 0 or 1 is that
CARRIED = 1e-7  # a mass above it is carried by the data
FLAT = 1e-10  # of the greatest curvature, below which a direction of the masses is not determined
FAR = 100.0  # on the complementary log-log scale: no share is distinguishable from 0 there


@dataclass(frozen=True)
class ShareBounds:
    """The least or the greatest share unresolved that the data allow on each day.

    Attributes
    ----------
    share
        The share, (days,).
    error
        Its standard error by sites, (days,); nan where it rests on one.
    low, high
        Its 95 % confidence limits, (days,).
    """

    share: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def tell_error(self, k: int) -> float | None:
        """Give the standard error of the k-th share.

        There is none for a share of 0 or 1, at which nothing moves.
        """
        return float(self.error[k]) if is_inside(self.share[k]) else None


def count_effective(
    cover: np.ndarray, weight: np.ndarray, mass: np.ndarray, parts: np.ndarray
) -> np.ndarray:
    """Find the effective number of each sum of masses.

    So many episodes, watched all the time, would be as uncertain. It is never above N, the sum of
    the weights.

    Parameters
    ----------
    cover
        Row i has the probability cover[i] @ mass, (rows, masses).
    weight
        How often each row occurs, (rows,).
    mass
        The fitted masses, (masses,).
    parts
        Row s says what of each mass is in sum s, (sums, masses).

    Returns
    -------
    np.ndarray
        The effective numbers, (sums,).

    Notes
    -----
    Inside (0, 1) the number is share (1 - share) / variance, with the variance by the information
    of the masses that the data carry. At 0 or 1 it is what the log-likelihood loses for a first bit
    of mass where there is none, N (1 - greatest gradient there).
    """
    chance, total = cover @ mass, weight.sum()
    gradient = (weight / chance) @ cover / total
    carried = mass > CARRIED
    seen = cover[:, carried] * (np.sqrt(weight) / chance)[:, None]
    inverse = np.linalg.pinv(seen.T @ seen, rcond=FLAT, hermitian=True)
    ones = inverse.sum(axis=1)
    inverse = inverse - np.outer(ones, ones) / max(ones.sum(), np.finfo(float).tiny)
    share = parts @ mass
    variance = ((parts[:, carried] @ inverse) * parts[:, carried]).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = share * (1 - share) / np.maximum(variance, 0)
    missing = np.where((share > ROUNDING)[:, None], parts < 1, parts > 0)
    ends = total * (1 - np.where(missing, gradient, 0.0).max(axis=1, initial=0))
    return np.clip(np.where(is_inside(share), inside, ends), 0, total)


def clopper_pearson(share: np.ndarray, number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find Clopper-Pearson limits of shares of so many episodes, whole or not.

    Parameters
    ----------
    share
        The shares x / n, of any shape.
    number
        The episodes n of each, of a shape that fits.

    Returns
    -------
    tuple of np.ndarray
        Lower and upper 95 % limits; 0 and 1 where there is no episode.

    Notes
    -----
    With x of n, the .025 quantile of Beta(x, n - x + 1) and the .975 quantile of
    Beta(x + 1, n - x): Clopper CJ, Pearson ES. Biometrika 1934;26:404-413.
    """
    share, number = np.broadcast_arrays(np.asarray(share, float), np.asarray(number, float))
    had = share * number
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = beta.ppf(0.025, had, number - had + 1), beta.ppf(0.975, had + 1, number - had)
    nothing = ~(number > 0)
    low = np.where(nothing | (share <= ROUNDING), 0.0, low)
    return low, np.where(nothing | (share >= 1 - ROUNDING), 1.0, high)


def wilson(share: np.ndarray, number: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find Wilson's score limits of shares of so many episodes, whole or not.

    They hold the truth in about 95 % on the average, where exact ones hold it in 95 % at least.

    Parameters
    ----------
    share
        The shares p, of any shape.
    number
        The episodes n of each, of a shape that fits.

    Returns
    -------
    tuple of np.ndarray
        Lower and upper 95 % limits; 0 and 1 where there is no episode.

    Notes
    -----
    With z = 1.96, (n p + z^2 / 2 -+ z sqrt(n p (1 - p) + z^2 / 4)) / (n + z^2): Wilson EB. J Am
    Stat Assoc 1927;22:209-212; in differences Newcombe RG. Stat Med 1998;17:873-890.
    """
    share, number = np.broadcast_arrays(np.asarray(share, float), np.asarray(number, float))
    z2 = norm.ppf(0.975) ** 2
    middle = number * share + z2 / 2
    reach = np.sqrt(z2 * (number * share * (1 - share) + z2 / 4))
    return (middle - reach) / (number + z2), (middle + reach) / (number + z2)


def discount(n_sites: float) -> float:
    """Tell what so many sites leave of a number of episodes if nothing says how they differ.

    Parameters
    ----------
    n_sites
        Number of sites of equal size, whole or not.

    Returns
    -------
    float
        A factor below 1: (1.96 / t)^2, with t of n_sites - 1 degrees of freedom (Korn & Graubard
        1998).
    """
    return float((norm.ppf(0.975) / student.ppf(0.975, n_sites - 1)) ** 2)


def bound_exactly(
    share: np.ndarray, effective: np.ndarray, n_sites: float
) -> tuple[np.ndarray, np.ndarray]:
    """Find exact limits of shares as if sites did not differ.

    At 0 and 1, where nothing is known of that, they are those of as few as so many sites leave.

    Parameters
    ----------
    share
        The shares, (days,).
    effective
        Their effective numbers, (days,).
    n_sites
        Number of sites of equal size, whole or not.

    Returns
    -------
    tuple of np.ndarray
        Lower and upper 95 % limits, (days,).
    """
    return clopper_pearson(
        share, np.where(is_inside(share), effective, effective * discount(n_sites))
    )


def count_alike(sizes: np.ndarray) -> float:
    """Count sites of equal size that tell as much as those of these sizes.

    Parameters
    ----------
    sizes
        Episodes of each site, (sites,).

    Returns
    -------
    float
        (sum n)^2 / sum n^2, at least 2.
    """
    return max(float(sizes.sum() ** 2 / (sizes**2).sum()), 2.0)


def bound_share(
    share: np.ndarray,
    without: np.ndarray,
    repeats: np.ndarray,
    sizes: np.ndarray,
    effective: np.ndarray,
) -> ShareBounds:
    """Find standard errors and limits of shares, by sites and exact: the wider counts on each side.

    Parameters
    ----------
    share
        The shares, (days,).
    without
        The same shares without each cluster, (samples, days).
    repeats
        For how many clusters each sample stands, (samples,).
    sizes
        Episodes of each of its clusters, (samples,).
    effective
        The effective numbers of the shares, (days,).

    Returns
    -------
    ShareBounds
        The shares with their errors and limits.
    """
    clusters, alike = repeats.sum(), count_alike(np.repeat(sizes, np.asarray(repeats, dtype=int)))
    error = np.sqrt((clusters - 1) / clusters * (repeats @ (without - share) ** 2))
    inside = is_inside(share)
    inner = np.where(inside, share, 0.5)
    scale, slope = np.log(-np.log(inner)), inner * -np.log(inner)
    reach = limits(0, error / slope, alike)[1]
    low, high = (np.exp(-np.exp(np.minimum(scale + side * reach, FAR))) for side in (1, -1))
    exact_low, exact_high = bound_exactly(share, effective, alike)
    low, high = np.where(inside, low, share), np.where(inside, high, share)
    return ShareBounds(share, error, np.minimum(low, exact_low), np.maximum(high, exact_high))


def keep_falling(bounds: ShareBounds) -> ShareBounds:
    """Make the limits of shares that never rise from day to day fall too.

    The upper one becomes as low as on any day before, the lower one as high as on any later day.
    The share of a day lies below those before and above those after, so that the limits of all days
    hold together exactly as often as they did; that those of a single day do in nearly as many
    pools was measured (tests/recovery/README.md).

    Parameters
    ----------
    bounds
        Shares and limits, in order of days.

    Returns
    -------
    ShareBounds
        The same shares and errors with limits that never rise.
    """
    high = np.fmin.accumulate(bounds.high)
    low = np.fmax.accumulate(bounds.low[::-1])[::-1]
    return ShareBounds(bounds.share, bounds.error, low, high)


def is_inside(share: np.ndarray) -> np.ndarray:
    """Tell which shares are neither 0 nor 1.

    Parameters
    ----------
    share
        The shares, of any shape.

    Returns
    -------
    np.ndarray
        Boolean, of the same shape.
    """
    return (share > ROUNDING) & (share < 1 - ROUNDING)
