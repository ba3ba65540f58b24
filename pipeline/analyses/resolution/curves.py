"""Time to resolution: the share still unresolved on each day,
for all positional episodes and for parts of them.

Estimated is, for a first spell of positional vertigo treated in these clinics, P(resolution after
day t), t counted from the first attempt. Resolution is only known to lie between two tests, so the
estimator is the non-parametric one for interval-censored times; its limits know that sites differ
and hold where nearly all are resolved, or hardly any (pipeline/statistics/share_limits.py). They
never fall while the share rises. A curve of one site leaves out its patients instead of sites, and
its limits say nothing of other sites. How often the limits cover the truth on simulated pools is in
tests/recovery.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import name_first_maneuvers
from pipeline.analyses.resolution.known_by_day import count_known
from pipeline.analyses.resolution.short_arm import refuse_circular_arms
from pipeline.statistics.bounded_curve import BoundedCurve, bound_curve
from pipeline.statistics.guard import Refusal, check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Study

LIMITS = (
    "intervals: delete-one-site jackknife, complementary log-log scale, or exact at the effective "
    "number where these reach further"
)
METHOD = f"interval-censored NPMLE; {LIMITS}"
NOBODY = Refusal("not_identified", "nobody was tested early enough to tell")
ONE_SITE = "one site: the interval leaves out that sites differ"
INFORMATIVE = ("resolved", "unresolved")
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


def estimate_resolution_curves(
    episodes: Frame[Episodes],
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the curves of resolution.

    Returns
    -------
    Frame[Estimates]
        unresolved_upper_day_<t> and unresolved_lower_day_<t>, the most and the least that the data
        allow, on each day up to the horizon; resolved_by_day_<t> and known_<part>_day_<t> on the
        days of the plan; median_days. One refusal more where a site named the short arm of a
        positional episode by the response to a maneuver.
    """
    curves = estimate_curves(spells, adjudications, attempts, config)
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    refused = refuse_circular_arms(episodes.merge(positional, on=EPISODE))
    fields = {"analysis": "resolution_curves", "population": "positional", "method": METHOD}
    refusals = tidy_estimates(refused, endpoint=config.study.resolution.primary, **fields)
    return pd.concat([curves, refusals], ignore_index=True)


def estimate_curves(
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> pd.DataFrame:
    """Estimate the curves of first spells of positional episodes.

    By the primary endpoint there is one in every stratum, by the others one of the whole.

    Parameters
    ----------
    spells, adjudications, attempts
        The derived tables.
    config
        The study's configuration.

    Returns
    -------
    pd.DataFrame
        Rows of schemas.estimate.Estimates.
    """
    study = config.study
    first = name_first_maneuvers(attempts)
    positional = adjudications[adjudications["positional"].eq("yes")]
    known = spells[spells["spell"].eq(1) & spells["status"].isin(INFORMATIVE)]
    followed = known.merge(positional, on=EPISODE, validate="many_to_one").merge(
        first, on=EPISODE, how="left"
    )
    rows = []
    for endpoint, members in followed.groupby("endpoint", sort=True):
        strata = study.curves.strata if endpoint == study.resolution.primary else ()
        for stratum, part in split_strata(members, strata):
            rows += [
                row | {"endpoint": endpoint, "stratum": stratum}
                for row in _estimate_curve(part, study)
            ]
    return tidy_estimates(
        rows, analysis="resolution_curves", population="positional", method=METHOD
    )


def split_strata(
    rows: pd.DataFrame, strata: tuple[tuple[str, ...], ...]
) -> Iterator[tuple[str, pd.DataFrame]]:
    """Split rows into the whole, as `all`, then each part, as `column=value,...`.

    A short arm always says by which definition it is short.

    Parameters
    ----------
    rows
        Spells with the columns of the strata.
    strata
        For each division the columns that make it.

    Yields
    ------
    tuple
        The name of the stratum and its rows.
    """
    yield "all", rows
    for columns in strata:
        for values, part in rows.groupby(list(columns), sort=True):
            name = ",".join(
                f"{column}={value}" for column, value in zip(columns, values, strict=True)
            )
            if "arm" in columns and part["arm_basis"].notna().any():
                for basis, defined in part.groupby("arm_basis", sort=True):
                    yield f"{name},basis={basis}", defined
            else:
                yield name, part


@dataclass(frozen=True)
class Curve:
    """One fitted curve.

    Attributes
    ----------
    days
        Whole days from 0, (days,).
    resolved
        How many are known to be resolved on each, (days,).
    bounded
        The shares unresolved on these days, with limits.
    """

    days: np.ndarray
    resolved: np.ndarray
    bounded: BoundedCurve


def _estimate_curve(spells: pd.DataFrame, study: Study) -> list[dict]:
    """All rows of one curve."""
    right = spells["right_days"].to_numpy(float)
    fields = {
        "n_episodes": len(spells),
        "n_events": int(np.isfinite(right).sum()),
        **count_sites(spells),
    }
    terms = (*(f"resolved_by_day_{day}" for day in study.curves.days), "median_days")
    refusal = check_size(len(spells), None, study.guards)
    if refusal:
        return [withhold(term, refusal.status, refusal.note, **fields) for term in terms]
    days = np.arange(study.curves.horizon_day + 1)
    try:
        curve = Curve(days, (right[:, None] <= days).sum(axis=0), bound_curve(spells, days))
    except NotConverged as failure:
        return [withhold(term, "not_converged", str(failure), **fields) for term in terms]
    rows = [row for k in range(len(days)) for row in _state_day(curve, k, fields, study)]
    rows.append(_state_median(curve, fields))
    return [*rows, *count_known(spells, study.curves.days)]


def _state_day(curve: Curve, k: int, fields: dict, study: Study) -> Iterator[dict]:
    """The share unresolved on the k-th day, and resolved by it if it is one of the reported days.

    The events of a row are those known to have happened by its day.
    """
    day, reported = curve.days[k], curve.days[k] in study.curves.days
    fields = fields | {"n_events": int(curve.resolved[k])}
    terms = [
        f"unresolved_upper_day_{day}",
        f"unresolved_lower_day_{day}",
        *[f"resolved_by_day_{day}"] * reported,
    ]
    upper, lower = curve.bounded.upper, curve.bounded.lower
    if day == 0:
        yield from (state(term, 1.0, note="by definition", **fields) for term in terms)
    elif np.isnan(upper.error[k]):
        yield from (
            withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields) for term in terms
        )
    else:
        for term, bounds in zip(terms, (upper, lower), strict=False):
            row_fields = fields | {"std_error": bounds.tell_error(k)}
            yield state_within(
                term,
                bounds.share[k],
                bounds.low[k],
                bounds.high[k],
                SHARE,
                study.guards,
                **row_fields,
            )
        if reported:
            yield state_resolved(terms[-1], curve.bounded, k, fields, study)


def state_resolved(term: str, bounded: BoundedCurve, k: int, fields: dict, study: Study) -> dict:
    """State the share gone by a day.

    Where the day lies within an interval of no information, the least share that the data allow is
    the estimate, the note gives both, and the limits reach around both; where it could be nobody,
    there is no number.

    Parameters
    ----------
    term
        What it is called.
    bounded
        The fitted curve.
    k
        Which of the days of `bounded`.
    fields
        Other columns of the row; n_events are the events known by the day.
    study
        Thresholds.

    Returns
    -------
    dict
        The row.
    """
    least, most = 1 - bounded.upper.share[k], 1 - bounded.lower.share[k]
    apart = most - least >= WORTH_SAYING
    if apart and fields["n_events"] == 0:
        return withhold(term, NOBODY.status, NOBODY.note, **fields)
    between = f"the data allow {least:.3f} to {most:.3f}; the lower is given" if apart else None
    note = "; ".join(filter(None, [between, ONE_SITE if fields["n_sites"] == 1 else None])) or None
    row_fields = fields | {"note": note, "std_error": bounded.upper.tell_error(k)}
    return state_within(
        term,
        least,
        1 - bounded.upper.high[k],
        1 - bounded.lower.low[k],
        SHARE,
        study.guards,
        **row_fields,
    )


def _state_median(curve: Curve, fields: dict) -> dict:
    """The first day by which half are resolved: the right end of the interval that holds the
    median.

    The limits are the first days on which the limits of the greatest and of the least share
    resolved reach a half (Brookmeyer R, Crowley J. Biometrics 1982;38:29-41, from memory).
    """
    (left, right), horizon = curve.bounded.fit.quantile(0.5), curve.days[-1]
    if right > horizon:
        return withhold(
            "median_days",
            "not_identified",
            f"fewer than half were seen to be resolved by day {horizon}",
            **fields,
        )
    low = curve.days[(curve.bounded.lower.share <= 0.5) | (curve.bounded.lower.low <= 0.5)]
    high = curve.days[curve.bounded.upper.high <= 0.5]
    note = f"between day {left:.0f} and day {right:.0f}"
    return state(
        "median_days",
        right,
        lower=low[0],
        upper=high[0] if len(high) else None,
        note=note,
        **fields,
    )
