"""Each site's resolution beside what its case mix lets expect: a funnel with control limits. No ranking, and no site by one limit alone.

Expected is, for the first spells of positional episodes of a site that were followed, the mean chance of resolution by the day, counted from
the first attempt, by the case mix of the plan: from an interval-censored regression on all OTHER sites (pipeline/models/case_mix.py), since a
site that differs would otherwise pull its own yardstick. Observed is the same mean chance once the site has its own departure from that
curve, in height and in slope over log time, fitted to its own intervals. Nobody is seen to resolve on a day, and the NPMLE of one site has no
usable error where few are known to be resolved by the day or to be unresolved. To leave such sites out would leave out the best or the worst,
and make the others look unlike the rest: in 20 simulated pools of equal sites the few that were left in by day 30 lay 0.06 low.

The effective number of a site is the number of plain observations whose share would be as uncertain as the difference of observed and
expected when the site does not differ: expected (1 - expected) / error^2, at most the episodes followed. The error of the expected share is
part of it. Control limits are binomial quantiles around the expected share at that number, interpolated between whole counts (Spiegelhalter
DJ. Stat Med 2005;24:1185-1202; the interpolation is from memory), the upper one as the lower one of those unresolved. Episodes of unequal
chances vary a little less than the binomial with their mean, so that the limits err on the wide side. One site in twenty may lie outside the
95 % limits by chance alone. Where sites vary more than chance on the whole (overdispersion: the mean of squared z-scores on the arcsine
scale), the note says how much too narrow the limits are.
Differences may lie in patients, in when they are looked at, or in records: associations, to be looked into at the site.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binom, chi2

from pipeline.models.case_mix import FIRST_KNOT, Departure, fit_hazard, keep_told_apart, measure_departure
from pipeline.models.counts import EPISODE
from pipeline.models.covariates import build_design, describe_covariates
from pipeline.models.guard import Refusal, check_sites
from pipeline.models.shares import count_known, select_followed
from pipeline.models.tidy import count_sites, state, tidy_estimates, withhold
from schemas.study import Config, Guards, Study

OBSERVED = "expected share with the site's own departure in height and slope over log time, interval-censored"
EXPECTED = "interval-censored proportional hazards on case mix, fitted on the other sites"
FUNNEL = "binomial control limits around the expected share at the effective number (Spiegelhalter 2005)"
DISPERSION = "mean squared z-score of the sites, arcsine scale"
COUNT = "count"
RARE = 0.05  # chance of as much spread between sites without any difference, below which it is noted
NO_VERDICT = "no verdict by itself: one site in twenty may lie outside the 95 % limits by chance"


@dataclass(frozen=True)
class Point:
    """One site in the funnel of one day: `effective` plain observations would be as uncertain."""

    departure: Departure
    effective: int

    @property
    def z(self) -> float:
        """Observed against expected, on the scale on which a share has variance 1 / (4 n)."""
        observed, expected = np.arcsin(np.sqrt([self.departure.observed, self.departure.expected]))
        return float(2 * np.sqrt(self.effective) * (observed - expected))


def estimate_site_monitoring(
    episodes: pd.DataFrame,
    spells: pd.DataFrame,
    adjudications: pd.DataFrame,
    attempts: pd.DataFrame,
    config: Config,
) -> pd.DataFrame:
    """A row for each compared site (stratum site=...), day and term, in the order of the sites' codes; for all, how many and how spread."""
    study = config.study
    rule = study.site_monitoring
    followed = select_followed(spells, adjudications, study.resolution.primary)
    told = describe_covariates(episodes, adjudications, attempts).drop(columns="patient_id")
    rows = followed.drop(columns=["mechanism"]).merge(told, on=EPISODE, validate="one_to_one")
    design = build_design(rows, rule.terms, np.isfinite(rows["right_days"]), study.guards)
    case_mix = keep_told_apart(design.matrix, np.ones((len(rows), 1)), study.guards)
    sizes = rows.groupby("site", sort=True).size()
    placed = {site: _place(site, rows, case_mix, study) for site in sizes.index[sizes >= rule.min_episodes]}
    estimates = [row for site, points in placed.items() for row in _tell_site(site, points, rows, study)]
    compared = rows[rows["site"].isin(placed)]
    below = rows[~rows["site"].isin(placed)]
    estimates.append(_count_sites("sites_below_minimum", below, int(rule.min_episodes)))
    for day in rule.days:
        points = {site: found[day] for site, found in placed.items() if isinstance(found[day], Point)}
        estimates += _tell_all(day, points, compared[compared["site"].isin(points)], study)
    return tidy_estimates(
        estimates, analysis="site_monitoring", population="positional", endpoint=study.resolution.primary
    )


def find_control_limits(expected: float, effective: int, coverage: float) -> tuple[float, float]:
    """Shares that a site of `effective` observations and this expected share leaves with a chance of at most (1 - coverage) / 2 a side."""
    tail = (1 - coverage) / 2
    return _find_lower_limit(expected, effective, tail), 1 - _find_lower_limit(1 - expected, effective, tail)


def _find_lower_limit(expected: float, n: int, tail: float) -> float:
    """With r the least count for which P(count <= r) reaches the tail: between r - 1 and r, and r where it is the tail exactly."""
    r = binom.ppf(tail, n, expected)
    beyond = (binom.cdf(r, n, expected) - tail) / binom.pmf(r, n, expected)
    return float(max(0.0, r - beyond) / n)


def _place(site: str, rows: pd.DataFrame, case_mix: pd.DataFrame, study: Study) -> dict[int, Point | Refusal]:
    """The site in the funnel of each day, or why it is not there."""
    days, guards, own = study.site_monitoring.days, study.guards, rows["site"].eq(site).to_numpy()
    horizon = float(study.curves.horizon_day)
    left, right, design = (
        rows["left_days"].to_numpy(float),
        rows["right_days"].to_numpy(float),
        case_mix.to_numpy(float),
    )
    knots = (FIRST_KNOT, np.sqrt(FIRST_KNOT * horizon), horizon)
    found = check_sites(rows["site"].nunique(), guards) or fit_hazard(left[~own], right[~own], design[~own], knots)
    if not isinstance(found, Refusal):
        found = measure_departure(found, left[own], right[own], design[own], days)
    if isinstance(found, Refusal):
        return dict.fromkeys(days, found)
    return {day: _weigh(departure, int(own.sum()), guards) for day, departure in found.items()}


def _weigh(departure: Departure, followed: int, guards: Guards) -> Point | Refusal:
    """Held back by what the site could tell, not by how its patients did."""
    effective = int(min(followed, departure.expected * (1 - departure.expected) / departure.error**2))
    if effective < guards.min_episodes:
        return Refusal("too_few", f"tells as much as fewer than {guards.min_episodes} plain observations by that day")
    return Point(departure, effective)


def _tell_site(site: str, placed: dict[int, Point | Refusal], rows: pd.DataFrame, study: Study) -> Iterator[dict]:
    own = rows[rows["site"].eq(site)]
    for day, point in placed.items():
        where = {"stratum": f"site={site}", **count_known(own, day)}
        methods = {
            f"observed_by_day_{day}": OBSERVED,
            f"expected_by_day_{day}": EXPECTED,
            f"effective_number_day_{day}": FUNNEL,
        }
        limits = {
            f"control_{side}_{100 * coverage:g}_day_{day}": (coverage, k)
            for coverage in study.site_monitoring.limits
            for k, side in enumerate(("lower", "upper"))
        }
        methods |= dict.fromkeys(limits, FUNNEL)
        if isinstance(point, Refusal):
            yield from (withhold(term, point.status, point.note, method=by, **where) for term, by in methods.items())
            continue
        values = [point.departure.observed, point.departure.expected, point.effective]
        values += [find_control_limits(values[1], point.effective, coverage)[k] for coverage, k in limits.values()]
        for (term, by), value in zip(methods.items(), values, strict=True):
            yield state(term, value, method=by, note=NO_VERDICT if term in limits else None, **where)


def _tell_all(day: int, points: dict[str, Point], shown: pd.DataFrame, study: Study) -> Iterator[dict]:
    """How many sites are in the funnel of the day, and whether they vary more than chance on the whole."""
    yield _count_sites(f"sites_compared_day_{day}", shown, study.site_monitoring.min_episodes)
    term, where = f"overdispersion_day_{day}", {"stratum": "all", "method": DISPERSION, **count_known(shown, day)}
    refusal = check_sites(len(points), study.guards)
    if refusal:
        yield withhold(term, refusal.status, refusal.note, **where)
        return
    squares = sum(point.z**2 for point in points.values())
    ratio = squares / len(points)
    chance = float(chi2.sf(squares, len(points)))
    wider = f"sites vary more than chance: limits that allow for it would be about {np.sqrt(ratio):.1f} times as wide"
    within = "the sites on the whole vary as chance lets expect"
    yield state(term, ratio, p_value=chance, note=wider if chance < RARE else within, **where)


def _count_sites(term: str, rows: pd.DataFrame, least: int) -> dict:
    sites = count_sites(rows["site"])
    note = f"the least is {least} episodes"
    return state(term, sites["n_sites"], n_episodes=len(rows), stratum="all", method=COUNT, note=note, **sites)
