"""The linear mixed model of totals of the Dizziness Handicap Inventory: its rows,
where its mean may bend, and its fit (pipeline/analyses/afterwards/handicap.py)."""

from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.statistics.guard import Refusal, check_sites
from pipeline.statistics.linear_mixed import LinearFit, fit_linear_mixed
from pipeline.statistics.restricted_likelihood import Products, sum_products
from schemas.study import Guards

SLOPE_UNIT = np.log1p(30)


class Course(NamedTuple):
    """What the mixed model is made of: one row for each total.

    Attributes
    ----------
    total
        Points of the inventory, (rows,).
    design
        Of the mean, which is straight between knots, (rows, knots).
    effects
        Of patients' intercept and slope, in units of log(1 + day) / log(31), (rows, 2).
    patient, site
        Whose each total is, (rows,).
    contrasts
        Times the coefficients they give the mean on each day, then its change since day 0 on each
        later one, (2 days - 1, knots).
    by_site
        Whether there are sites enough to have intercepts.
    """

    total: np.ndarray
    design: np.ndarray
    effects: np.ndarray
    patient: np.ndarray
    site: np.ndarray
    contrasts: np.ndarray
    by_site: bool

    @property
    def products(self) -> Products:
        """Its sums of products."""
        return sum_products(self.total, self.design, self.effects, self.patient, self.site)


def lay_out_course(totals: pd.DataFrame, days: list[int], guards: Guards) -> Course | None:
    """Lay out the model of the totals near `days` and soon after day 0.

    Those near other days would bend it.

    Parameters
    ----------
    totals
        Rows by pipeline.analyses.afterwards.handicap_totals.select_totals.
    days
        Days whose means are told, rising.
    guards
        Thresholds.

    Returns
    -------
    Course or None
        None without day 0 and another day.
    """
    if 0 not in days or len(days) < 2:
        return None
    totals = totals[totals["plan_day"].isin(days) | totals["plan_day"].isna()]
    at = np.log1p(totals["day"].to_numpy(float))
    sites = totals["site"].to_numpy(str)
    knots = place_knots(totals, days, guards)
    units = np.eye(len(knots))
    means = units[np.searchsorted(knots, np.log1p(days))]
    return Course(
        totals["total"].to_numpy(float),
        np.column_stack([np.interp(at, knots, unit) for unit in units]),
        np.column_stack([np.ones(len(at)), at / SLOPE_UNIT]),
        totals["patient"].to_numpy(str),
        sites,
        np.vstack([means, means[1:] - means[0]]),
        not check_sites(len(np.unique(sites)), guards),
    )


def fit_course(course: Course, *, sites: bool) -> tuple[Course, LinearFit | Refusal]:
    """The fit, and the course it is of: without patients' slopes where these are none."""
    fit = fit_linear_mixed(course.products, sites=sites)
    if isinstance(fit, LinearFit) and fit.slope_is_none:
        course = course._replace(effects=course.effects[:, :1])
        fit = fit_linear_mixed(course.products, sites=sites)
    return course, fit


def place_knots(totals: pd.DataFrame, days: list[int], guards: Guards) -> np.ndarray:
    """Place the knots at which the mean may bend.

    One is at each of `days`, and one at each place half-way between two of them, and half a step
    after the last, that is nearest to totals of enough episodes at enough sites. Each knot has
    totals on a day that is nearer to it than to any other, so that all are identified (Schoenberg
    IJ, Whitney A. Trans Am Math Soc 1953;74:246-259, from memory).

    Parameters
    ----------
    totals
        Rows by pipeline.analyses.afterwards.handicap_totals.select_totals.
    days
        Days whose means are told, rising from 0.
    guards
        Thresholds of enough.

    Returns
    -------
    np.ndarray
        log(1 + day) of each knot, rising, (knots,).
    """
    log_days = np.log1p(days)
    steps = np.diff(log_days)
    between = log_days + np.append(steps, steps[-1]) / 2
    nearest = np.abs(
        np.log1p(totals["day"].to_numpy(float))[:, None] - np.sort([*log_days, *between])
    ).argmin(axis=1)
    by_place = (
        totals.assign(place=nearest)
        .groupby("place")
        .agg(episodes=("patient", "nunique"), sites=("site", "nunique"))
    )
    enough = by_place.index[
        by_place["episodes"].ge(guards.min_episodes) & by_place["sites"].ge(guards.min_sites)
    ]
    return np.sort([*log_days, *between[np.isin(2 * np.arange(len(days)) + 1, enough)]])
