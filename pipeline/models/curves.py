"""Time to resolution: the share still unresolved on each day, for all positional episodes and for parts of them.

Estimated is, for a first spell of positional vertigo treated in these clinics, P(resolution after day t), t counted from the first
attempt. Resolution is only known to lie between two looks, so the estimator is the non-parametric one for interval-censored times;
its limits come from leaving out one site at a time: the jackknife variance on the complementary log-log scale, with t quantiles
(MacKinnon JG, Nielsen MO, Webb MD. J Appl Econometrics 2023;38:671-694). Sites of unequal size count as fewer: (sum n)^2 / sum n^2, as
in Carter AV, Schnepel KT, Steigerwald DG. Rev Econ Stat 2017;99:698-709 (from memory). Limits are never narrower than those of as many
independent patients watched all the time, since few sites can agree by luck. A curve of one site leaves out its patients instead, and
its limits say nothing of other sites. How often the limits cover the truth on simulated pools is in tests/recovery/recovery.csv.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import norm

from pipeline.models.counts import name_first_maneuvers
from pipeline.models.jackknife import RESTS_ON_ONE, limits
from pipeline.models.leave_out import leave_out_weights
from pipeline.models.npmle import ROUNDING, collapse_intervals, fit_many, fit_npmle
from pipeline.models.npmle_search import NotConverged
from pipeline.models.short_arm import refuse_circular_arms
from pipeline.models.tidy import count_sites, state, tidy_estimates, withhold
from schemas.study import Config, Study

EPISODE = ["site", "episode_id"]
METHOD = "interval-censored NPMLE; limits: delete-one-site jackknife, complementary log-log scale"
ONE_SITE = "one site: the limits leave out that sites differ"
INFORMATIVE = ("resolved", "unresolved")
FAR = 100.0  # on the complementary log-log scale: no share is distinguishable from 0 there
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


def estimate_resolution_curves(
    episodes: pd.DataFrame, spells: pd.DataFrame, adjudications: pd.DataFrame, attempts: pd.DataFrame, config: Config
) -> pd.DataFrame:
    """The curves, and a refusal where a site named the short arm of a positional episode by the response to a maneuver."""
    curves = estimate_curves(spells, adjudications, attempts, config)
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    refused = refuse_circular_arms(episodes.merge(positional, on=EPISODE))
    where = {"analysis": "resolution_curves", "population": "positional", "method": METHOD}
    refusals = tidy_estimates(refused, endpoint=config.study.resolution.primary, **where)
    return pd.concat([curves, refusals], ignore_index=True)


def estimate_curves(
    spells: pd.DataFrame, adjudications: pd.DataFrame, attempts: pd.DataFrame, config: Config
) -> pd.DataFrame:
    """The curves of first spells of positional episodes by the primary endpoint in every stratum, by the others as a whole."""
    study = config.study
    first = name_first_maneuvers(attempts)
    positional = adjudications[adjudications["positional"].eq("yes")]
    known = spells[spells["spell"].eq(1) & spells["status"].isin(INFORMATIVE)]
    followed = known.merge(positional, on=EPISODE, validate="many_to_one").merge(first, on=EPISODE, how="left")
    rows = []
    for endpoint, members in followed.groupby("endpoint", sort=True):
        strata = study.curves.strata if endpoint == study.resolution.primary else ()
        for stratum, part in split_strata(members, strata):
            rows += [row | {"endpoint": endpoint, "stratum": stratum} for row in _estimate_curve(part, study)]
    return tidy_estimates(rows, analysis="resolution_curves", population="positional", method=METHOD)


def split_strata(rows: pd.DataFrame, strata: tuple[tuple[str, ...], ...]) -> Iterator[tuple[str, pd.DataFrame]]:
    """The whole as `all`, then each part as `column=value,...`. A short arm always says by which definition it is short."""
    yield "all", rows
    for columns in strata:
        for values, part in rows.groupby(list(columns), sort=True):
            name = ",".join(f"{column}={value}" for column, value in zip(columns, values, strict=True))
            if "arm" in columns and part["arm_basis"].notna().any():
                for basis, defined in part.groupby("arm_basis", sort=True):
                    yield f"{name},basis={basis}", defined
            else:
                yield name, part


@dataclass(frozen=True)
class Edge:
    """The least or the greatest share unresolved that the data allow on each day, its standard error and its 95 % limits: (days,) each."""

    share: np.ndarray
    error: np.ndarray
    low: np.ndarray
    high: np.ndarray


@dataclass(frozen=True)
class Curve:
    """One fitted curve on whole days, how many are known to be resolved and unresolved on each, and the interval that holds the median."""

    days: np.ndarray
    resolved: np.ndarray
    unresolved: np.ndarray
    lower: Edge
    upper: Edge
    median: tuple[float, float]


def _estimate_curve(spells: pd.DataFrame, study: Study) -> list[dict]:
    """All rows of one curve."""
    resolved = np.isfinite(spells["right_days"].to_numpy(float))
    where = {"n_episodes": len(spells), "n_events": int(resolved.sum()), **count_sites(spells["site"])}
    few = _say_too_few(where, study)
    if few:
        terms = (*(f"resolved_by_day_{day}" for day in study.curves.days), "median_days")
        return [withhold(term, "too_few", few, **where) for term in terms]
    try:
        curve = _fit_curve(spells, study)
    except NotConverged as failure:
        return [withhold("median_days", "not_converged", str(failure), **where)]
    rows = [row for k in range(len(curve.days)) for row in _state_day(curve, k, where, study)]
    rows.append(_state_median(curve, where, study))
    last, right = (spells[name].to_numpy(float) for name in ("last_look_days", "right_days"))
    for day in (0, *study.curves.days):
        at_risk = int(((last >= day) & (right > day)).sum())
        counted = where | {"n_episodes": at_risk, "n_events": None}
        rows.append(state(f"at_risk_day_{day}", at_risk, method="count", **counted))
    return rows


def _say_too_few(where: dict, study: Study) -> str | None:
    if where["n_episodes"] < study.guards.min_episodes:
        return f"fewer than {study.guards.min_episodes} episodes"
    if where["n_events"] < study.guards.min_events:
        return f"fewer than {study.guards.min_events} resolutions"
    return None


def _fit_curve(spells: pd.DataFrame, study: Study) -> Curve:
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    days = np.arange(study.curves.horizon_day + 1)
    fit = fit_npmle(left, right)
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    patients, sites = spells["patient_id"].to_numpy(str), spells["site"].to_numpy(str)
    weights, repeats = leave_out_weights(index, patients, sites)
    without = fit_many(distinct_left, distinct_right, weights, days)
    lower, upper = fit.survival(days)
    lower = bound_share(lower, without.lower, repeats, len(spells) - weights.sum(axis=1))
    upper = bound_share(upper, without.upper, repeats, len(spells) - weights.sum(axis=1))
    resolved, unresolved = (right[:, None] <= days).sum(axis=0), (left[:, None] >= days).sum(axis=0)
    return Curve(days, resolved, unresolved, lower, upper, fit.quantile(0.5))


def bound_share(share: np.ndarray, without: np.ndarray, repeats: np.ndarray, sizes: np.ndarray) -> Edge:
    """The shares (days,) with standard errors and limits from the same shares `without` each cluster (samples, days).

    Each sample stands for `repeats` clusters of `sizes` episodes. Limits of a share of 0 or 1 are that share itself.
    """
    clusters, episodes = repeats.sum(), repeats @ sizes
    error = np.sqrt((clusters - 1) / clusters * (repeats @ (without - share) ** 2))
    inside = (share > ROUNDING) & (share < 1 - ROUNDING)
    inner = np.where(inside, share, 0.5)
    scale, slope = np.log(-np.log(inner)), inner * -np.log(inner)
    effective = max(episodes**2 / (repeats @ sizes**2), 2)
    reach = limits(0, error / slope, effective)[1]
    reach = np.maximum(reach, norm.ppf(0.975) * np.sqrt(inner * (1 - inner) / episodes) / slope)
    low, high = (np.where(inside, np.exp(-np.exp(np.minimum(scale + side * reach, FAR))), share) for side in (1, -1))
    return Edge(share, error, low, high)


def _state_day(curve: Curve, k: int, where: dict, study: Study) -> Iterator[dict]:
    """The share unresolved on the k-th day, and resolved by it if it is one of the reported days.

    A day is reported only where enough episodes are known to be resolved by then and enough to be unresolved: elsewhere the
    jackknife would show a certainty that is not there. The events of a row are those known to have happened by its day.
    """
    day, reported = curve.days[k], curve.days[k] in study.curves.days
    resolved, unresolved = int(curve.resolved[k]), int(curve.unresolved[k])
    where = where | {"n_events": resolved}
    terms = [f"unresolved_upper_day_{day}", f"unresolved_lower_day_{day}", *[f"resolved_by_day_{day}"] * reported]
    if day == 0:
        yield from (state(term, 1.0, note="by definition", **where) for term in terms)
    elif min(resolved, unresolved) < study.guards.min_events:
        few = f"fewer than {study.guards.min_events} episodes known to be resolved by then, or to be unresolved"
        yield from (withhold(term, "too_few", few, **where) for term in terms)
    elif np.isnan(curve.upper.error[k]):
        yield from (withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **where) for term in terms)
    else:
        for name, edge in (("upper", curve.upper), ("lower", curve.lower)):
            bounds = {"lower": edge.low[k], "upper": edge.high[k], "std_error": edge.error[k]}
            yield state(f"unresolved_{name}_day_{day}", edge.share[k], **bounds, **where)
        if reported:
            yield _state_resolved(curve, k, where)


def _state_resolved(curve: Curve, k: int, where: dict) -> dict:
    """The share resolved by the k-th day. Where the day lies within an interval of no information, the least share that the data
    allow is the estimate, the note gives both, and the limits reach around both."""
    least, most = 1 - curve.upper.share[k], 1 - curve.lower.share[k]
    between = f"the data allow {least:.3f} to {most:.3f}; the lower is given" if most - least >= WORTH_SAYING else None
    note = "; ".join(filter(None, [between, ONE_SITE if where["n_sites"] == 1 else None])) or None
    bounds = {"lower": 1 - curve.upper.high[k], "upper": 1 - curve.lower.low[k], "std_error": curve.upper.error[k]}
    return state(f"resolved_by_day_{curve.days[k]}", least, note=note, **bounds, **where)


def _state_median(curve: Curve, where: dict, study: Study) -> dict:
    """The first day by which half are resolved: the right end of the interval that holds the median.

    The limits are the first days on which the limits of the greatest and of the least share resolved reach a half (Brookmeyer R,
    Crowley J. Biometrics 1982;38:29-41, from memory), but not while hardly any are known to be resolved.
    """
    left, right = curve.median
    horizon = curve.days[-1]
    if right > horizon:
        return withhold(
            "median_days", "not_identified", f"fewer than half were seen to be resolved by day {horizon}", **where
        )
    low = curve.days[
        (curve.lower.share <= 0.5) | ((curve.lower.low <= 0.5) & (curve.resolved >= study.guards.min_events))
    ]
    high = curve.days[curve.upper.high <= 0.5]
    note = f"between day {left:.0f} and day {right:.0f}"
    return state("median_days", right, lower=low[0], upper=high[0] if len(high) else None, note=note, **where)
