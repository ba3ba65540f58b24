"""What comes first after the first maneuver: resolution, a switch to another canal,
reclassification, or loss from sight.

Estimated is, for first spells of positional vertigo treated in these clinics, the cumulative
incidence by day t of each event as the first one: P(event by t and before the others), t counted
from day 0, the day of the first maneuver. All members are at risk from day 0 on, whatever is found
later; what counts as a switch is said in pipeline.derivation.first_events.

Resolution, a switch and reclassification are only known to have come between two tests. The primary
estimates (incidence_...) are therefore those of discrete cause-specific hazards on test intervals
(pipeline.statistics.interval_incidence). Loss is the end of being seen and not of the vertigo:
there it censors, on the assumption that those lost are like those still seen. The
rows seen_... put each event on the day on which it was seen, and let loss compete, by
Aalen-Johansen: they describe what the clinics saw, later than it happened, and need no assumption
about those lost. A spell that is called resolved because the tests of its canal were negative, on a
day on which no other canal was tested, may hide a switch.
"""

import itertools
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.curves import LIMITS, split_strata
from pipeline.derivation.first_events import CAUSES, SEEN_CAUSES, list_first_events
from pipeline.statistics.competing_risks import aalen_johansen_errors, fit_aalen_johansen
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.interval_incidence import IntervalIncidence, fit_interval_incidence
from pipeline.statistics.jackknife import RESTS_ON_ONE, refit_without_each_site
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.share_limits import ShareBounds, bound_share, keep_falling
from pipeline.statistics.tidy import Fields, count_sites, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Curves, Guards, Study

METHODS = {
    "incidence": f"discrete cause-specific hazards on test intervals; {LIMITS}",
    "seen": (
        f"Aalen-Johansen on the days on which events were seen (lifelines), descriptive; {LIMITS}"
    ),
}
NO_EVENT = {"incidence": "event_free", "seen": "nothing_seen"}
NOTES = {
    "switched": (
        "seen in another canal of the same ear that had been tested before, or recorded by the "
        "site with an attempt"
    ),
    "lost": "lost or withdrew, on the day of the last contact",
}
UNKNOWN = Refusal("not_identified", "the tests do not tell events before this day from later ones")


def estimate_competing_events(
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    config: Config,
) -> Frame[Estimates]:
    """Estimate the incidence of each event by each of config.study.curves.days.

    Returns
    -------
    Frame[Estimates]
        As `estimate_incidences` says, of all members and by canal.
    """
    primary = spells[spells["endpoint"].eq(config.study.resolution.primary)]
    tables = (adjudications, examinations, findings, treatments, followups)
    return estimate_incidences(list_first_events(primary, *tables, config.criteria), config.study)


def estimate_incidences(members: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Estimate the incidences of first events, of all members and by canal.

    Parameters
    ----------
    members
        One row for each episode, by pipeline.derivation.first_events.list_first_events.
    study
        Days, thresholds and the primary endpoint.

    Returns
    -------
    Frame[Estimates]
        incidence_<event>_day_<t> and event_free_day_<t> from test intervals, seen_<event>_day_<t>
        and nothing_seen_day_<t> from the days of tests. The events of a row are those known by its
        day.
    """
    rows = []
    for stratum, part in split_strata(members, (("canal",),)):
        for kind in METHODS:
            rows += [
                row | {"stratum": stratum}
                for row in _estimate_kind(part, kind, study.curves, study.guards)
            ]
    shared = {
        "analysis": "competing_events",
        "population": "positional",
        "endpoint": study.resolution.primary,
    }
    return tidy_estimates(rows, **shared)


def place_edges(curves: Curves, last: float) -> list[int]:
    """Place the ends of the bands of days, each with a probability of its own.

    They are the reported days, the horizon, and from there twice the one before: were all that is
    later one part, an event seen there would count as one that may never come. And a day halfway
    between two of them, so that an incidence that rises evenly within a band is close to one that
    slows down.

    Parameters
    ----------
    curves
        The reported days and the horizon.
    last
        The last day on which an event was seen.

    Returns
    -------
    list of int
        Days, rising from 0.
    """
    later = itertools.takewhile(
        lambda day: day < 2 * last, (curves.horizon_day * 2**k for k in itertools.count())
    )
    days = sorted({0, *curves.days, curves.horizon_day, *later})
    return sorted({*days, *((a + b) // 2 for a, b in itertools.pairwise(days))})


class EventByDay(NamedTuple):
    """One term: how many are known to have had its event by its day, and what to keep in mind."""

    term: str
    known: int
    note: str | None


class Shares(NamedTuple):
    """Incidences of the causes and, in the last row, the share without event.

    Attributes
    ----------
    share
        On the reported days, (causes + 1, days).
    identified
        Whether the data fix it, (causes + 1, days).
    effective
        Its effective number, as in pipeline.statistics.share_limits, (causes + 1, days); None where
        the fit has none.
    """

    share: np.ndarray
    identified: np.ndarray
    effective: np.ndarray | None


def _estimate_kind(members: pd.DataFrame, kind: str, curves: Curves, guards: Guards) -> list[dict]:
    """All rows of one estimator in one stratum.

    Who was not tested after day 0 tells nothing of an incidence, but can be seen to be lost.
    """
    causes = CAUSES if kind == "incidence" else SEEN_CAUSES
    if kind == "incidence":
        members = members[members["informative"]]
    events = list(_list_events(members, kind, causes, curves.days))
    shared: Fields = {"n_episodes": len(members), **count_sites(members)}
    shared |= {"method": METHODS[kind]}
    refused = check_size(len(members), None, guards) or check_sites(shared["n_sites"], guards)
    if refused is None:
        try:
            shares, identified = _estimate_shares(members, kind, causes, curves)
        except NotConverged as failure:
            refused = Refusal("not_converged", str(failure))
    if refused is not None:
        return [
            withhold(event.term, refused.status, refused.note, n_events=event.known, **shared)
            for event in events
        ]
    return [
        _state_share(event, shares, k, identified[k], shared, guards)
        for k, event in enumerate(events)
    ]


def _state_share(
    event: EventByDay, shares: ShareBounds, k: int, identified: bool, shared: dict, guards: Guards
) -> dict:
    refused = None if identified else UNKNOWN
    if refused is None and np.isnan(shares.error[k]):
        refused = RESTS_ON_ONE
    if refused is not None:
        return withhold(event.term, refused.status, refused.note, n_events=event.known, **shared)
    row_fields = shared | {
        "std_error": shares.tell_error(k),
        "n_events": event.known,
        "note": event.note,
    }
    return state_within(
        event.term, shares.share[k], shares.low[k], shares.high[k], SHARE, guards, **row_fields
    )


def _list_events(
    members: pd.DataFrame, kind: str, causes: tuple[str, ...], days: tuple[int, ...]
) -> Iterator[EventByDay]:
    """Each event on each day, then no event on each day, whose events are those of any kind."""
    name, right = ("cause", "right_days") if kind == "incidence" else ("seen_cause", "seen_day")
    happened = {day: members[right].le(day) & members[name].ne("none") for day in days}
    for cause in causes:
        for day in days:
            n_known = int((happened[day] & members[name].eq(cause)).sum())
            yield EventByDay(f"{kind}_{cause}_day_{day}", n_known, NOTES.get(cause))
    for day in days:
        yield EventByDay(f"{NO_EVENT[kind]}_day_{day}", int(happened[day].sum()), None)


def _estimate_shares(
    members: pd.DataFrame, kind: str, causes: tuple[str, ...], curves: Curves
) -> tuple[ShareBounds, np.ndarray]:
    """The share of each term with its limits, whose error is nan where it hangs on one site,
    and whether the data fix it: (terms,) each.

    The limits of an event are those of the curves for its complement, so that they are on the
    complementary log-log scale of the event.
    """
    fit: Callable = _fit_intervals if kind == "incidence" else _fit_seen

    def refit(kept: np.ndarray) -> np.ndarray:
        shares = fit(members[kept], causes, curves)
        return np.where(shares.identified, shares.share, np.nan)

    shares = fit(members, causes, curves)
    without = refit_without_each_site(members["site"].to_numpy(str), refit)
    sizes, number = members.groupby("site").size().to_numpy(), shares.effective
    if number is None:
        number = _count_seen(members, causes, curves, shares.share)
    parts = []
    for k, share in enumerate(shares.share):
        event = k < len(causes)
        target, replicates = (1 - share, 1 - without[:, k]) if event else (share, without[:, k])
        known = np.where(shares.identified[k], target, np.nan)
        bounds = keep_falling(bound_share(known, replicates, np.ones(len(sizes)), sizes, number[k]))
        parts.append(
            ShareBounds(share, bounds.error, 1 - bounds.high, 1 - bounds.low) if event else bounds
        )
    columns = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("share", "error", "low", "high")
    )
    return ShareBounds(*columns), shares.identified.ravel()


def _fit_intervals(members: pd.DataFrame, causes: tuple[str, ...], curves: Curves) -> Shares:
    left, right = members["left_days"].to_numpy(float), members["right_days"].to_numpy(float)
    edges = place_edges(curves, right[np.isfinite(right)].max(initial=0))
    fit: IntervalIncidence = fit_interval_incidence(
        left, right, _number(members["cause"], causes), len(causes), edges
    )
    at = [edges.index(day) - 1 for day in curves.days]
    shares = np.vstack([fit.incidence[:, at], fit.survival[at]])
    return Shares(np.clip(shares, 0, 1), fit.identified[:, at], fit.effective[:, at])


def _fit_seen(members: pd.DataFrame, causes: tuple[str, ...], curves: Curves) -> Shares:
    days, cause = members["seen_day"].to_numpy(float), _number(members["seen_cause"], causes)
    fit = fit_aalen_johansen(days, cause, len(causes))
    share = np.array([[*incidence, survival] for survival, incidence in map(fit.at, curves.days)]).T
    return Shares(share, np.ones(share.shape, dtype=bool), None)


def _count_seen(
    members: pd.DataFrame, causes: tuple[str, ...], curves: Curves, share: np.ndarray
) -> np.ndarray:
    """Effective numbers by the variance of Aalen and Johansen's estimator;
    where it has none those are counted of whom it is known."""
    days, cause = members["seen_day"].to_numpy(float), _number(members["seen_cause"], causes)
    errors = np.vstack(
        [aalen_johansen_errors(days, cause, len(causes)), aalen_johansen_errors(days, cause > 0, 1)]
    )
    at = np.searchsorted(np.unique(days), curves.days, side="right") - 1
    error = np.where(at >= 0, errors[:, at], 0.0)
    known = np.array([((days >= day) | (cause > 0)).sum() for day in curves.days])
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(error > 0, np.minimum(share * (1 - share) / error**2, len(members)), known)


def _number(cause: pd.Series, causes: tuple[str, ...]) -> np.ndarray:
    return cause.map(
        {"none": 0} | {name: number for number, name in enumerate(causes, start=1)}
    ).to_numpy(int)
