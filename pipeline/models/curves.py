"""Time to resolution: the share still unresolved on each day, for all positional episodes and for parts of them.

Estimated is, for a first spell of positional vertigo treated in these clinics, P(resolution after day t), t counted from the first
attempt. Resolution is only known to lie between two looks, so the estimator is the non-parametric one for interval-censored times;
its limits come from a bootstrap that resamples sites, then patients within them (percentiles, seeded).
"""

import zlib
from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.models.bootstrap import cluster_bootstrap_weights
from pipeline.models.npmle import NotConverged, collapse_intervals, fit_many, fit_npmle
from pipeline.models.counts import name_first_maneuvers
from pipeline.models.tidy import state, tidy_estimates, withhold
from schemas.study import Study

EPISODE = ["site", "episode_id"]
LIMITS = (0.025, 0.975)
METHOD = "interval-censored NPMLE; limits: bootstrap of sites, then patients"
FINAL_WORDS = {"resolved", "unresolved"}


def estimate_curves(
    spells: pd.DataFrame, adjudications: pd.DataFrame, attempts: pd.DataFrame, study: Study
) -> pd.DataFrame:
    """The curves of first spells of positional episodes by the primary endpoint in every stratum, by the others as a whole."""
    first = name_first_maneuvers(attempts)
    positional = adjudications[adjudications["positional"].eq("yes")]
    known = spells[spells["spell"].eq(1) & spells["status"].isin(FINAL_WORDS)]
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


def _estimate_curve(spells: pd.DataFrame, name: str, study: Study) -> list[dict]:
    """All rows of one curve."""
    left, right = spells["left_days"].to_numpy(float), spells["right_days"].to_numpy(float)
    resolved = np.isfinite(right)
    where = {"n_episodes": len(spells), "n_events": int(resolved.sum()), "n_sites": spells["site"].nunique()}
    few = _say_too_few(where, study)
    if few:
        return [
            withhold(term, "too_few", few, **where)
            for term in (*(f"resolved_by_day_{d}" for d in study.curves.days), "median_days")
        ]
    days = np.arange(study.curves.horizon_day + 1)
    try:
        fit = fit_npmle(left, right)
        drawn = _draw_replicates(spells, left, right, days, name, study)
    except NotConverged as failure:
        return [withhold("median_days", "not_converged", str(failure), **where)]
    lower, upper = fit.survival(days)
    rows = list(_state_shares(days, lower, upper, drawn, left, right, where, study))
    rows.append(_state_median(fit.quantile(0.5), drawn, where, study.curves.horizon_day))
    last = spells["last_look_days"].to_numpy(float)
    for day in (0, *study.curves.days):
        at_risk = int(((last >= day) & (right > day)).sum())
        rows.append(
            state(f"at_risk_day_{day}", at_risk, **where | {"n_episodes": at_risk, "n_events": None}, method="count")
        )
    return rows


def _say_too_few(where: dict, study: Study) -> str | None:
    least = study.curves.min_events
    if where["n_episodes"] < study.curves.min_episodes:
        return f"fewer than {study.curves.min_episodes} episodes"
    if where["n_events"] < least:
        return f"fewer than {least} resolutions"
    return None


def _draw_replicates(
    spells: pd.DataFrame, left: np.ndarray, right: np.ndarray, days: np.ndarray, name: str, study: Study
):
    """The curve in each bootstrap sample; seeded by the study's seed and the curve's name, so that no curve depends on another."""
    rng = np.random.default_rng([study.seed, zlib.crc32(name.encode())])
    distinct_left, distinct_right, index = collapse_intervals(left, right)
    weights = cluster_bootstrap_weights(
        index, spells["patient_id"].to_numpy(str), spells["site"].to_numpy(str), study.curves.replicates, rng
    )
    return fit_many(distinct_left, distinct_right, weights, days)


def _state_shares(days, lower, upper, drawn, left, right, where: dict, study: Study) -> Iterator[dict]:
    """The share unresolved on every day, and resolved by the reported ones.

    A day is reported only where enough episodes are known to be resolved by then and enough to be unresolved: elsewhere the
    bootstrap would show a certainty that is not there. The events of a row are those known to have happened by its day. Where a day lies within an interval of no information, the least and the
    greatest share that the data allow differ; both are given, and the limits reach around both.
    """
    enough = study.curves.min_events
    for k, day in enumerate(days):
        by_now = int((right <= day).sum())
        certain, where = min(by_now, int((left >= day).sum())), where | {"n_events": by_now}
        terms = {
            f"unresolved_upper_day_{day}": (upper[k], drawn.upper[:, k]),
            f"unresolved_lower_day_{day}": (lower[k], drawn.lower[:, k]),
        }
        if day == 0:
            yield from (state(term, 1.0, **where, note="by definition") for term in terms)
        elif certain < enough:
            yield from (withhold(term, "too_few", _SAY_ONE_SIDED.format(enough), **where) for term in terms)
        else:
            for term, (share, replicates) in terms.items():
                low, high = np.quantile(replicates, LIMITS)
                yield state(term, share, lower=low, upper=high, std_error=replicates.std(ddof=1), **where)
        if day in study.curves.days:
            term = f"resolved_by_day_{day}"
            if certain < enough:
                yield withhold(term, "too_few", _SAY_ONE_SIDED.format(enough), **where)
            else:
                low, high = 1 - np.quantile(drawn.upper[:, k], LIMITS[1]), 1 - np.quantile(drawn.lower[:, k], LIMITS[0])
                note = (
                    None
                    if upper[k] - lower[k] < 0.005
                    else f"the data allow {1 - upper[k]:.3f} to {1 - lower[k]:.3f}; the lower is given"
                )
                yield state(
                    term,
                    1 - upper[k],
                    lower=low,
                    upper=high,
                    std_error=drawn.upper[:, k].std(ddof=1),
                    note=note,
                    **where,
                )


_SAY_ONE_SIDED = "fewer than {} episodes known to be resolved by then, or to be unresolved"


def _state_median(interval: tuple[float, float], drawn, where: dict, horizon: int) -> dict:
    """The first day by which half are resolved: the right end of the interval that holds the median."""
    if interval[1] > horizon:
        return withhold(
            "median_days", "not_identified", f"fewer than half were seen to be resolved by day {horizon}", **where
        )
    low, high = np.quantile(drawn.quantile_right, LIMITS, method="inverted_cdf")
    note = f"between day {interval[0]:.0f} and day {interval[1]:.0f}"
    return state("median_days", interval[1], lower=low, upper=high if high <= horizon else None, note=note, **where)
