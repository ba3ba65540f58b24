"""How many sessions with an adverse event an order of maneuvers would bring.

Clinics record adverse events with every maneuver, of later sessions too. Estimated is, under one
order, the mean number of sessions in which an event was recorded:

    sum over sessions k of P(session k is given) p(c(k)),

with p(c) the share of sessions of class c with an event. A class is a family of maneuvers, as first
or as later session, of all variants: harm is taken to hang on what is done to whom for the first
time or again, and not on where debris is. Events of one session and of the next may go together,
which a mean does not ask; nor does it say how many patients had several.

Limits are by leaving out each site, shares and rates found anew, or by how well shares and rates
are known where wider: the limits of each share (pipeline/statistics/site_limits.py) and those of
the number of sessions by the information of the model, put together as in
pipeline/statistics/two_shares.py (MOVER). There is no number where too few had an event in a class
to be told of.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.order.strategy import DIFFERENCE, Strategy
from pipeline.analyses.order.strategy_samples import Followed, Samples, limit_numbers
from pipeline.analyses.resolution.courses import FIRST
from pipeline.statistics import site_limits
from pipeline.statistics.g_formula import Functional
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.scales import Scale, differ, limit_by_error, span, state_within
from pipeline.statistics.tidy import Fields, count_sites, withhold
from schemas.adverse import EVENTS
from schemas.columns import Frame
from schemas.delivery import Treatments
from schemas.keys import EPISODE
from schemas.order_plan import Strategies
from schemas.study import Study

HARM = "mean_sessions_with_adverse_event"


class Kind(NamedTuple):
    """A class of sessions: the family, and whether they are the first of their episodes."""

    family: str
    is_first: bool


@dataclass(frozen=True)
class HarmShare:
    """The share of sessions of a class with an adverse event.

    Attributes
    ----------
    samples
        Of all, and without each site of the pool, (1 + sites,); nan where a site alone has such
        sessions.
    low, high
        95 % limits of that of all.
    harmed
        The episodes that had an event in such a session.
    """

    samples: np.ndarray
    low: float
    high: float
    harmed: pd.DataFrame


def list_session_events(
    sessions: pd.DataFrame, members: pd.DataFrame, treatments: Frame[Treatments]
) -> pd.DataFrame:
    """Tell of each session whether an adverse event was recorded with any maneuver of its day.

    Parameters
    ----------
    sessions
        One row each: row (of the members), day, family and kind.
    members
        Episodes, numbered from 0 on.
    treatments
        Table of the warehouse.

    Returns
    -------
    pd.DataFrame
        The same with site, episode_id and `harmed`.
    """
    harmful = treatments[treatments["adverse"].isin(EVENTS["any"].codes)]
    days = pd.MultiIndex.from_frame(harmful[[*EPISODE, "day"]])
    names = members[EPISODE].iloc[sessions["row"].to_numpy()].reset_index(drop=True)
    keys = pd.MultiIndex.from_frame(names.assign(day=sessions["day"].to_numpy()))
    named = {key: names[key].to_numpy(str) for key in EPISODE}
    return sessions.assign(**named, harmed=keys.isin(days))


def share_harm(sessions: pd.DataFrame, sites: Sequence[str], study: Study) -> dict[Kind, HarmShare]:
    """Share the sessions of each class.

    Parameters
    ----------
    sessions
        As list_session_events gives them.
    sites
        Those of the pool, in order of names.
    study
        Thresholds.

    Returns
    -------
    dict
        By class.
    """
    shares = {}
    keys = [sessions["family"], sessions["kind"].eq(FIRST)]
    for (family, is_first), part in sessions.groupby(keys):
        site, harmed = part["site"].to_numpy(str), part["harmed"].to_numpy(bool)
        of_site = (site == np.asarray(sites)[:, None]).astype(int)
        number = np.r_[len(part), len(part) - of_site.sum(axis=1)]
        events = np.r_[harmed.sum(), harmed.sum() - of_site @ harmed]
        samples = np.divide(events, number, out=np.full(len(number), np.nan), where=number > 0)
        low, high = site_limits.bound_share(harmed, site, study.guards)
        with_event = part[harmed].drop_duplicates("row")
        shares[Kind(str(family), bool(is_first))] = HarmShare(samples, low, high, with_event)
    return shares


def list_kinds(strategy: Strategy, plan: Strategies) -> list[Kind]:
    """The class of each session of a strategy."""
    return [Kind(f, k == 0) for k, f in enumerate(strategy.list_families(plan.sessions))]


def state_harm(
    kinds: Sequence[Kind],
    followed: Followed,
    samples: Samples,
    shares: dict[Kind, HarmShare],
    fields: Fields,
    study: Study,
) -> Fields:
    """State the mean number of sessions with an adverse event under one order.

    Parameters
    ----------
    kinds, followed
        The class of each of its sessions, and its course.
    samples
        How well rates are known.
    shares
        Of sessions with an event, by class.
    fields
        Of the row.
    study
        Thresholds.

    Returns
    -------
    Fields
        The row.
    """
    scale = span(0, study.strategies.sessions)
    return _state(HARM, scale, [(kinds, followed)], samples, shares, fields, study)


def compare_harm(
    other: tuple[Sequence[Kind], Followed],
    usual: tuple[Sequence[Kind], Followed],
    samples: Samples,
    shares: dict[Kind, HarmShare],
    fields: Fields,
    study: Study,
) -> Fields:
    """State by how much it is greater than under the usual order; as state_harm."""
    scale = differ(study.strategies.sessions)
    return _state(DIFFERENCE + HARM, scale, [other, usual], samples, shares, fields, study)


def _state(
    term: str,
    scale: Scale,
    orders: Sequence[tuple[Sequence[Kind], Followed]],
    samples: Samples,
    shares: dict[Kind, HarmShare],
    fields: Fields,
    study: Study,
) -> Fields:
    """A row of one order, or of the first of two less the second."""
    used = [shares[kind] for kinds, _ in orders for kind in kinds]
    rarest = min(used, key=lambda share: len(share.harmed))
    fields = fields | {"n_episodes": len(rarest.harmed), **count_sites(rarest.harmed)}
    least = study.disclosure.least_shown
    if len(rarest.harmed) < least:
        return withhold(term, "too_few", f"fewer than {least} events", **fields)
    if any(np.isnan(share.samples).any() for share in used):
        return withhold(term, RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields)
    numbers, more = _expect(*orders[0], shares, study.strategies)
    for kinds, followed in orders[1:]:
        less, given = _expect(kinds, followed, shares, study.strategies)
        numbers = [one.minus(other) for one, other in zip(numbers, less, strict=True)]
        for kind, number in given.items():
            more[kind] = more.get(kind, 0.0) - number
    value = numbers[0].value
    error, *by_sites = limit_numbers(numbers, scale, samples)
    of_model = float(np.sqrt(numbers[0].variance(samples.covariance)))
    low, high = _reach(value, limit_by_error(value, of_model, scale, None)[:2], more, shares)
    low, high = max(min(low, by_sites[0]), scale.least), min(max(high, by_sites[1]), scale.greatest)
    return state_within(term, value, low, high, scale, study.guards, std_error=error, **fields)


def _expect(
    kinds: Sequence[Kind],
    followed: Followed,
    shares: dict[Kind, HarmShare],
    plan: Strategies,
) -> tuple[list[Functional], dict[Kind, float]]:
    """The mean number of sessions with an event, by sample; and how many sessions of each class are
    expected of each patient."""
    numbers, given = [], dict.fromkeys(kinds, 0.0)
    for k, course in enumerate(followed.courses):
        weight = np.zeros(len(course.share))
        for n, kind in enumerate(kinds):
            weight[n * plan.retest_days] = shares[kind].samples[k]
        numbers.append(course.add_up(weight))
    for n, kind in enumerate(kinds):
        given[kind] += float(followed.courses[0].share[n * plan.retest_days])
    return numbers, given


def _reach(
    value: float,
    bounds: tuple[float, float],
    given: dict[Kind, float],
    shares: dict[Kind, HarmShare],
) -> tuple[float, float]:
    """Limits that reach further than `bounds`, which take the shares as known, by how well these
    are; `given` are the sessions of each class that are counted, or how many more."""
    below, above = (value - bounds[0]) ** 2, (bounds[1] - value) ** 2
    for kind, number in given.items():
        share = shares[kind]
        down, up = share.samples[0] - share.low, share.high - share.samples[0]
        below += (number * (down if number > 0 else up)) ** 2
        above += (number * (up if number > 0 else down)) ** 2
    return value - float(np.sqrt(below)), value + float(np.sqrt(above))
