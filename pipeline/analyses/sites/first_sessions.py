"""Success of the first session over sites: how likely the next deciding test after it is negative,
for patients and tests alike.

Estimated is the mean over sites of the probability that the next deciding test after a first
session is negative, had the test come at the median time of all sites and had the patients been the
average ones by the case mix of the plan (site_monitoring.terms). What a site chooses to do is part
of its effect. In two stages: a fixed effect for each site, nearly independent of each other and so
taken for the pool. A site with few outcomes of one kind is in the pool: to leave it out would be to
choose sites by their outcome (of a planted .2 in eight sites of 25 the pool gave .26 so). A site
with outcomes of one kind only has no effect that is finite; where it has enough sessions, there is
no pool. In one stage: random intercepts, in which such sites take part too. Neither says how far
sites differ (pipeline/analyses/sites/pooled.py)."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import NUMERIC, describe_covariates
from pipeline.analyses.sites.pooled import (
    MEAN,
    MISSING,
    PooledShare,
    pool_effects,
    state_pool,
    to_share,
)
from pipeline.statistics.design import build_design
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.jackknife import limits
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.share_limits import bound_exactly, clopper_pearson, count_alike
from pipeline.statistics.site_effects import SiteFit, fit_fixed, fit_random
from pipeline.statistics.smooth_hazard import keep_distinguishable
from pipeline.statistics.tidy import Fields, count_sites, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE
from schemas.study import Guards

TERM = "first_session_success"
ONE_STAGE = (
    "complementary log-log, random intercepts of sites, maximum likelihood; intervals by t with "
    "sites "
    "- 1 degrees of freedom, or exact where these reach further"
)


@dataclass(frozen=True)
class FirstSessions:
    """The sessions that enter a model, laid out for it.

    Attributes
    ----------
    kept
        One row for each session that enters, as by `select_first_sessions`.
    sites
        Their sites, sorted.
    site_columns
        A column of zeros and ones for each site, (sessions, sites).
    covariates
        The case mix of the plan less its mean, and the log of the time to the test less that of the
        median time, (sessions, columns).
    refused
        By site left out the reason.
    """

    kept: pd.DataFrame
    sites: list[str]
    site_columns: np.ndarray
    covariates: np.ndarray
    refused: dict[str, Refusal]

    @property
    def happened(self) -> np.ndarray:
        """Whether the next test was negative."""
        return self.kept["happened"].to_numpy(bool)


def select_first_sessions(
    episodes: Frame[Episodes], adjudications: Frame[Adjudications], attempts: Frame[Attempts]
) -> pd.DataFrame:
    """Select first sessions of positional episodes with a deciding test after them.

    Returns
    -------
    pd.DataFrame
        One row for each session, by key: the covariates of describe_covariates, `happened` (the
        test was negative) and `gap` (days to the test, above 0).
    """
    positional = adjudications[adjudications["positional"].eq("yes")]
    tested = (
        attempts["session"].eq(1)
        & attempts["at_risk"]
        & attempts["outcome"].isin(["negative", "positive"])
    )
    tested &= attempts["next_test_days"].gt(0).fillna(False)
    first = attempts[tested][[*EPISODE, "outcome", "next_test_days"]]
    first = first.merge(positional[EPISODE], on=EPISODE, validate="one_to_one")
    described = first.merge(
        describe_covariates(episodes, adjudications, attempts), on=EPISODE, validate="one_to_one"
    )
    described = described.assign(
        happened=described["outcome"].eq("negative").astype(bool),
        gap=described["next_test_days"].astype(float),
    )
    return described.sort_values(EPISODE, ignore_index=True)


def prepare_first_sessions(
    sessions: pd.DataFrame, terms: tuple[str, ...], guards: Guards, *, by_site: bool
) -> FirstSessions:
    """Lay out sessions for a model of sites.

    Parameters
    ----------
    sessions
        Sessions by `select_first_sessions`.
    terms
        Covariates of the case mix.
    guards
        Thresholds.
    by_site
        Whether each site gets an effect of its own: then only sessions of sites with enough of them
        enter, and of a site with enough of them only if outcomes of both kinds were seen. Otherwise
        all enter.

    Returns
    -------
    FirstSessions
        Empty where no site is left.
    """
    refused = {}
    if by_site:
        judged = {
            site: _find_no_effect(happened, guards)
            for site, happened in sessions.groupby("site")["happened"]
        }
        refused = {site: refusal for site, refusal in judged.items() if refusal}
    kept = sessions[~sessions["site"].isin(refused)]
    sites = sorted(kept["site"].unique())
    if not sites:
        return FirstSessions(kept, [], np.empty((0, 0)), np.empty((0, 0)), refused)
    site_columns = (kept["site"].to_numpy(str)[:, None] == np.array(sites, dtype=str)).astype(float)
    design = build_design(kept, terms, kept["happened"], guards, numeric=NUMERIC, binary=True)
    case_mix = keep_distinguishable(design.matrix, site_columns, guards)
    late = np.log(kept["gap"]) - np.log(sessions["gap"].median())
    timed = [late] if late.nunique() > 1 else []
    return FirstSessions(
        kept, sites, site_columns, np.column_stack([case_mix - case_mix.mean(), *timed]), refused
    )


def state_first_sessions(
    sessions: pd.DataFrame, terms: tuple[str, ...], guards: Guards
) -> Iterator[dict]:
    """The rows of the pool of sites' effects, and of the one-stage model."""
    if sessions.empty:
        yield withhold(
            TERM,
            "too_few",
            "no first session with a test after it",
            stratum="all",
            method=MEAN,
            **_count(sessions),
        )
        return
    note = (
        f"for a test {sessions['gap'].median():.0f} days after the session and the average case mix"
    )
    ready = prepare_first_sessions(sessions, terms, guards, by_site=True)
    fit: SiteFit | Refusal = Refusal(
        "too_few", "no site has enough first sessions, with and without success"
    )
    if ready.sites:
        fit = fit_fixed(np.column_stack([ready.site_columns, ready.covariates]), ready.happened)
    n = len(ready.sites)
    missing = any(sessions["site"].eq(site).sum() >= guards.min_episodes for site in ready.refused)
    pooled: PooledShare | Refusal
    if isinstance(fit, Refusal):
        pooled = fit
    elif missing:
        pooled = MISSING
    else:
        effect, variance = fit.coefficients[:n], np.diag(fit.covariance)[:n]
        pooled = pool_effects(effect, variance, guards, note)
    yield from state_pool(TERM, pooled, _count(ready.kept), sessions["site"].nunique(), guards)
    yield from _state_one_stage(
        prepare_first_sessions(sessions, terms, guards, by_site=False), note, guards
    )


def _find_no_effect(happened: pd.Series, guards: Guards) -> Refusal | None:
    """Why a site can have no effect of its own: too few sessions, or outcomes of one kind only, of
    which no effect is finite. Then there is no pool of effects: the one-stage model tells the
    share."""
    events, without = int(happened.sum()), int((~happened).sum())
    if min(events, without) == 0 and len(happened) >= guards.min_episodes:
        return Refusal(
            "not_identified",
            f"separation: {'every' if events else 'no'} first session was a success",
        )
    return check_size(len(happened), guards.min_events, guards)


def _state_one_stage(ready: FirstSessions, note: str, guards: Guards) -> Iterator[dict]:
    """The probability at a site in the middle, with limits that reach at least as far as exact
    ones; of outcomes of one kind only, the share as it is."""
    fields: Fields = {"stratum": "all", "method": ONE_STAGE, **_count(ready.kept)}
    middle = (
        check_size(len(ready.kept), None, guards)
        or check_sites(fields["n_sites"], guards)
        or _find_middle(ready, note)
    )
    if isinstance(middle, Refusal):
        yield withhold(f"{TERM}_one_stage", middle.status, middle.note, **fields)
        return
    ends = middle.low, middle.high
    yield state_within(
        f"{TERM}_one_stage", middle.share, *ends, SHARE, guards, note=middle.note, **fields
    )


def _find_middle(ready: FirstSessions, note: str) -> PooledShare | Refusal:
    happened, site = ready.happened, ready.kept["site"].to_numpy(str)
    sizes, seen = np.unique(site, return_counts=True)[1], happened.mean()
    if seen in (0, 1):
        low, high = bound_exactly(
            np.array([seen]), np.array([float(len(site))]), count_alike(sizes)
        )
        reason = (
            "every first session was followed by a negative test"
            if seen
            else "no first session was followed by one"
        )
        return PooledShare(
            seen,
            float(low[0]),
            float(high[0]),
            f"{reason}: the share as it is, whenever the test came",
        )
    fit = fit_random(np.column_stack([np.ones(len(site)), ready.covariates]), happened, site)
    if isinstance(fit, Refusal):
        return fit
    ends = limits(fit.coefficients[0], np.sqrt(fit.covariance[0, 0]), len(sizes))
    share, low, high = (to_share(effect) for effect in (fit.coefficients[0], *ends))
    exact_low, exact_high = map(float, clopper_pearson(share, len(site)))
    return PooledShare(share, min(low, exact_low), max(high, exact_high), note)


def _count(sessions: pd.DataFrame) -> Fields:
    happened = int(sessions["happened"].sum())
    return {"n_episodes": len(sessions), "n_events": happened, **count_sites(sessions)}
