"""Time to resolution: the share still unresolved on each day, for all positional episodes and for parts of them.

Estimated is, for a first spell of positional vertigo treated in these clinics, P(resolution after day t), t counted from the first
attempt. Resolution is only known to lie between two looks, so the estimator is the non-parametric one for interval-censored times;
its limits come from a bootstrap that resamples sites, then patients within them (percentiles, seeded).
"""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.models.bootstrap import cluster_bootstrap_weights
from pipeline.models.counts import name_first_maneuvers
from pipeline.models.npmle import NotConverged, Replicates, collapse_intervals, fit_many, fit_npmle
from pipeline.models.tidy import state, tidy_estimates, withhold
from schemas.study import Config, Study

EPISODE = ["site", "episode_id"]
LIMITS = (0.025, 0.975)
METHOD = "interval-censored NPMLE; limits: bootstrap of sites, then patients"
INFORMATIVE = ("resolved", "unresolved")
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


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
            rows += [
                row | {"endpoint": endpoint, "stratum": stratum}
                for row in _estimate_curve(part, f"{endpoint} {stratum}", study)
            ]
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
class Curve:
    """One fitted curve on whole days: the least and greatest share unresolved that the data allow, and the same in each replicate."""

    left: np.ndarray
    right: np.ndarray
    days: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    median: tuple[float, float]
    drawn: Replicates


def _estimate_curve(spells: pd.DataFrame, name: str, study: Study) -> list[dict]:
    """All rows of one curve; `name` seeds its bootstrap, so that no curve depends on another."""
    resolved = np.isfinite(spells["right_days"].to_numpy(float))
    where = {"n_episodes": len(spells), "n_events": int(resolved.sum()), "n_sites": spells["site"].nunique()}
    few = _say_too_few(where, study)
    if few:
        terms = (*(f"resolved_by_day_{day}" for day in study.curves.days), "median_days")
        return [withhold(term, "too_few", few, **where) for term in terms]
    try:
        curve = _fit_curve(spells, name, study)
    except NotConverged as failure:
        return [withhold("median_days", "not_converged", str(failure), **where)]
    rows = [row for k in range(len(curve.days)) for row in _state_day(curve, k, where, study)]
    rows.append(_state_median(curve, where))
    last = spells["last_look_days"].to_numpy(float)
    for day in (0, *study.curves.days):
        at_risk = int(((last >= day) & (curve.right > day)).sum())
        counted = where | {"n_episodes": at_risk, "n_events": None}
        rows.append(state(f"at_risk_day_{day}", at_risk, method="count", **counted))
    return rows


def _say_too_few(where: dict, study: Study) -> str | None:
    if where["n_episodes"] < study.guards.min_episodes:
        return f"fewer than {study.guards.min_episodes} episodes"
    if where["n_events"] < study.guards.min_events:
        return f"fewer than {study.guards.min_events} resolutions"
    return None


def _fit_curve(spells: pd.DataFrame, name: str, study: Study) -> Curve:
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    days = np.arange(study.curves.horizon_day + 1)
    fit = fit_npmle(left, right)
    rng = np.random.default_rng([study.seed, zlib.crc32(name.encode())])
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    patients, sites = spells["patient_id"].to_numpy(str), spells["site"].to_numpy(str)
    weights = cluster_bootstrap_weights(index, patients, sites, study.curves.replicates, rng)
    drawn = fit_many(distinct_left, distinct_right, weights, days)
    return Curve(left, right, days, *fit.survival(days), fit.quantile(0.5), drawn)


def _state_day(curve: Curve, k: int, where: dict, study: Study) -> Iterator[dict]:
    """The share unresolved on the k-th day, and resolved by it if it is one of the reported days.

    A day is reported only where enough episodes are known to be resolved by then and enough to be unresolved: elsewhere the
    bootstrap would show a certainty that is not there. The events of a row are those known to have happened by its day.
    """
    day, reported = curve.days[k], curve.days[k] in study.curves.days
    resolved, unresolved = int((curve.right <= day).sum()), int((curve.left >= day).sum())
    where = where | {"n_events": resolved}
    terms = [f"unresolved_upper_day_{day}", f"unresolved_lower_day_{day}", *[f"resolved_by_day_{day}"] * reported]
    if day == 0:
        yield from (state(term, 1.0, note="by definition", **where) for term in terms)
    elif min(resolved, unresolved) < study.guards.min_events:
        few = f"fewer than {study.guards.min_events} episodes known to be resolved by then, or to be unresolved"
        yield from (withhold(term, "too_few", few, **where) for term in terms)
    else:
        for edge, shares, replicates in (
            ("upper", curve.upper, curve.drawn.upper),
            ("lower", curve.lower, curve.drawn.lower),
        ):
            low, high = np.quantile(replicates[:, k], LIMITS)
            error = replicates[:, k].std(ddof=1)
            yield state(f"unresolved_{edge}_day_{day}", shares[k], lower=low, upper=high, std_error=error, **where)
        if reported:
            yield _state_resolved(curve, k, where)


def _state_resolved(curve: Curve, k: int, where: dict) -> dict:
    """The share resolved by the k-th day. Where the day lies within an interval of no information, the least share that the data
    allow is the estimate, the note gives both, and the limits reach around both."""
    least, most = 1 - curve.upper[k], 1 - curve.lower[k]
    note = f"the data allow {least:.3f} to {most:.3f}; the lower is given" if most - least >= WORTH_SAYING else None
    low = max(0.0, 1 - np.quantile(curve.drawn.upper[:, k], LIMITS[1]))  # masses add up to 1 but for rounding
    high = 1 - np.quantile(curve.drawn.lower[:, k], LIMITS[0])
    error = curve.drawn.upper[:, k].std(ddof=1)
    return state(f"resolved_by_day_{curve.days[k]}", least, lower=low, upper=high, std_error=error, note=note, **where)


def _state_median(curve: Curve, where: dict) -> dict:
    """The first day by which half are resolved: the right end of the interval that holds the median."""
    left, right = curve.median
    horizon = curve.days[-1]
    if right > horizon:
        return withhold(
            "median_days", "not_identified", f"fewer than half were seen to be resolved by day {horizon}", **where
        )
    low, high = np.quantile(curve.drawn.quantile_right, LIMITS, method="inverted_cdf")
    note = f"between day {left:.0f} and day {right:.0f}"
    return state("median_days", right, lower=low, upper=high if high <= horizon else None, note=note, **where)
