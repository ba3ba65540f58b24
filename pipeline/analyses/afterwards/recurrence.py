"""Recurrence of positional vertigo after it had resolved: the share still free of it by day.

Estimated is, for first spells of positional vertigo that were seen to be resolved by the primary
endpoint, P(no recurrence by day t). Time zero is the first negative day, and the whole of those
resolved is at risk from then on. A recurrence is vertigo at least
config.study.resolution.recurrence_gap days after it; an earlier one belongs to the same spell, so
that by this definition time zero is only certain once the gap has passed. It lies after the
last test without it and at or before the first test with it; the estimator is the non-parametric
one for such intervals, with the limits of the curves (pipeline/statistics/share_limits.py). Time
zero is itself a test of the same follow-up, so nobody enters late and no entry is truncated.

Two endpoints: the primary one, a positive deciding test of the same canal; and patient_reported, an
answer that it came back (recurrence_reported). A recurrence that a site hands in as a new episode,
as on another side or canal, is not counted: nothing ties the days of two episodes together. Most
recurrences are elsewhere (70 % or more: Perez P et al. Otol Neurotol 2012;33:437-443), so the
shares by tests are lower bounds of all recurrence. Published for comparison, all canals and ears:
about 15 % in the first year and half by 40 months (Nunez RA et al. Otolaryngol Head Neck Surg
2000;122:647-652).
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.adjudication.days import keep_until_reclassified
from pipeline.analyses.resolution.curves import LIMITS, ONE_SITE, split_strata
from pipeline.statistics.bounded_curve import BoundedCurve, bound_curve
from pipeline.statistics.guard import check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Followups
from schemas.derived import Adjudications, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Study

METHOD = f"interval-censored NPMLE from the first negative day; {LIMITS}"
REPORTED = "patient_reported"
WORTH_SAYING = 0.005  # a difference between least and most that a reader would see


def estimate_recurrence(
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    followups: Frame[Followups],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the share free of recurrence on each of config.study.recurrence.days.

    Returns
    -------
    Frame[Estimates]
        By tests in all and by canal, and as reported: recurrence_free_upper_day_<t> and
        recurrence_free_lower_day_<t>, the most and the least that the data allow;
        recurrence_free_day_<t>, the least, with limits around both; at_risk_day_<t>, how many were
        still seen to be free. The events of a share are the recurrences known by its day.
    """
    study = config.study
    resolved = list_returns(spells, adjudications, study.resolution.primary)
    reported = list_reported_returns(
        resolved, adjudications, followups, study.resolution.recurrence_gap
    )
    rows = []
    for endpoint, members, strata in (
        (study.resolution.primary, resolved, (("canal",),)),
        (REPORTED, reported, ()),
    ):
        followed = members[members["left_days"].gt(0) | np.isfinite(members["right_days"])]
        for stratum, part in split_strata(followed, strata):
            rows += [
                row | {"endpoint": endpoint, "stratum": stratum}
                for row in _estimate_curve(part, study)
            ]
    return tidy_estimates(
        rows, analysis="recurrence", population="resolved first spells", method=METHOD
    )


def list_returns(
    spells: Frame[Spells], adjudications: Frame[Adjudications], endpoint: str
) -> pd.DataFrame:
    """List the first spells of positional episodes that were resolved, with their recurrence.

    The second spell starts on the day on which the recurrence was seen, and the last deciding test
    of the first was still without it.

    Parameters
    ----------
    spells, adjudications
        The derived tables.
    endpoint
        The endpoint of the spells.

    Returns
    -------
    pd.DataFrame
        One row for each spell: site, episode_id, patient_id, canal, resolved_day (counted from day
        0), and the recurrence in (left_days, right_days], in days from resolved_day; right_days is
        infinite if none was seen.
    """
    of_endpoint = spells[spells["endpoint"].eq(endpoint)]
    first = of_endpoint[of_endpoint["spell"].eq(1) & of_endpoint["status"].eq("resolved")]
    second = of_endpoint.loc[of_endpoint["spell"].eq(2), [*EPISODE, "start_day"]].rename(
        columns={"start_day": "returned_day"}
    )
    verdicts = adjudications.loc[adjudications["positional"].eq("yes"), [*EPISODE, "canal"]]
    rows = first.merge(verdicts, on=EPISODE, validate="one_to_one")
    rows = rows.merge(second, on=EPISODE, how="left", validate="one_to_one").sort_values(
        EPISODE, ignore_index=True
    )
    resolved_day = (rows["start_day"] + rows["right_days"]).to_numpy(float)
    returned_day = rows["returned_day"].to_numpy(float, na_value=np.inf)
    return rows[[*EPISODE, "patient_id", "canal"]].assign(
        resolved_day=resolved_day,
        left_days=rows["start_day"].to_numpy(float)
        + rows["last_test_days"].to_numpy(float)
        - resolved_day,
        right_days=returned_day - resolved_day,
    )


def list_reported_returns(
    resolved: pd.DataFrame,
    adjudications: Frame[Adjudications],
    followups: Frame[Followups],
    gap: int,
) -> pd.DataFrame:
    """Put the interval that patients' answers give in the place of that by tests.

    The recurrence lies after the last contact with a no and at or before the first with a yes; a
    yes outweighs a no of the same day. Contacts without an answer are left aside.

    Parameters
    ----------
    resolved
        Rows by `list_returns`.
    adjudications, followups
        Tables of the warehouse.
    gap
        Days after resolution below which a yes tells of the same spell and is left aside.

    Returns
    -------
    pd.DataFrame
        The rows of `resolved` with other left_days and right_days, in days from resolved_day.
    """
    answers = keep_until_reclassified(followups, adjudications)
    answers = answers[answers["recurrence_reported"].isin(["yes", "no"])].merge(
        resolved[[*EPISODE, "resolved_day"]], on=EPISODE, validate="many_to_one"
    )
    answers["days"] = answers["day"].astype(float) - answers["resolved_day"]
    daily = (
        answers.assign(back=answers["recurrence_reported"].eq("yes"))
        .groupby([*EPISODE, "days"])["back"]
        .any()
    )
    daily = daily.reset_index().query("days > 0")
    returned = (
        daily[daily["back"] & daily["days"].ge(gap)]
        .groupby(EPISODE)["days"]
        .min()
        .rename("right_days")
    )
    denied = daily[~daily["back"]].join(returned, on=EPISODE)
    denied = denied[denied["right_days"].isna() | (denied["days"] < denied["right_days"])]
    free = denied.groupby(EPISODE)["days"].max().rename("left_days")
    rows = (
        resolved.drop(columns=["left_days", "right_days"])
        .join(free, on=EPISODE)
        .join(returned, on=EPISODE)
    )
    return rows.fillna({"left_days": 0.0, "right_days": np.inf})


def _estimate_curve(returns: pd.DataFrame, study: Study) -> list[dict]:
    """All rows of one curve."""
    left, right = returns["left_days"].to_numpy(float), returns["right_days"].to_numpy(float)
    shared = {"n_episodes": len(returns), **count_sites(returns)}
    events, days = int(np.isfinite(right).sum()), study.recurrence.days
    refused = check_size(len(returns), None, study.guards)
    if refused:
        terms = (f"recurrence_free_day_{day}" for day in days)
        return [
            withhold(term, refused.status, refused.note, n_events=events, **shared)
            for term in terms
        ]
    try:
        bounded = bound_curve(returns, np.array(days))
    except NotConverged as failure:
        return [
            withhold(f"recurrence_free_day_{day}", "not_converged", str(failure), **shared)
            for day in days
        ]
    known = [int((right <= day).sum()) for day in days]
    rows = [
        row
        for k in range(len(days))
        for row in _state_day(bounded, k, shared | {"n_events": known[k]}, study)
    ]
    for day in (0, *days):
        at_risk = (left >= day) & (right > day)
        counted = {"n_episodes": int(at_risk.sum()), **count_sites(returns[at_risk])}
        rows.append(state(f"at_risk_day_{day}", at_risk.sum(), method="count", **counted))
    return rows


def _state_day(bounded: BoundedCurve, k: int, fields: dict, study: Study) -> Iterator[dict]:
    """The shares free of recurrence on the k-th day."""
    day, upper, lower = study.recurrence.days[k], bounded.upper, bounded.lower
    if np.isnan(upper.error[k] + lower.error[k]):
        terms = (f"recurrence_free_{end}day_{day}" for end in ("upper_", "lower_", ""))
        yield from (
            withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields) for term in terms
        )
        return
    for name, bounds in (("upper", upper), ("lower", lower)):
        term, row_fields = (
            f"recurrence_free_{name}_day_{day}",
            fields | {"std_error": bounds.tell_error(k)},
        )
        yield state_within(
            term, bounds.share[k], bounds.low[k], bounds.high[k], SHARE, study.guards, **row_fields
        )
    least, most = lower.share[k], upper.share[k]
    between = (
        f"the data allow {least:.3f} to {most:.3f}; the lower is given"
        if most - least >= WORTH_SAYING
        else None
    )
    note = "; ".join(filter(None, [between, ONE_SITE if fields["n_sites"] == 1 else None])) or None
    row_fields = fields | {"std_error": lower.tell_error(k), "note": note}
    yield state_within(
        f"recurrence_free_day_{day}",
        least,
        lower.low[k],
        upper.high[k],
        SHARE,
        study.guards,
        **row_fields,
    )
