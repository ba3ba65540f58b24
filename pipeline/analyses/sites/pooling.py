"""What sites share: shares resolved by a day and success of the first session, pooled over sites.

Estimated is, over the clinics that these stand for, the mean of two quantities of a site:
- P(resolution by the day) of a first spell of positional vertigo, counted from the first attempt,
  not adjusted;
- success of the first session, adjusted (pipeline/analyses/sites/first_sessions.py). The share of a
site is found twice. `resolved_by_day` takes nothing for granted of its course (NPMLE), nor of how
well its patients do: it is the mean of the shares of all sites with enough episodes, each site
counting alike, with intervals by leaving out each site, or exact ones where these reach further
(pipeline/statistics/share_limits.py). Where a site's tests do not tell its share, there is no mean.

`smoothed_by_day` and success are pooled on the complementary log-log scale in two stages: one
estimate and variance from each site, then restricted likelihood and Hartung-Knapp intervals
(pipeline/statistics/meta.py). How far sites differ is withdrawn: pipeline/analyses/sites/pooled.py
says why. A smoothed course is a spline of log time with one inner knot (Weibull's where the tests
do not tell a bend), and so learns from all tests of a site. In simulated pools that resolve in
steps Weibull's course alone lay .035 too high by day 7, with a bend .014. A site with few who are
seen resolved, or unresolved, is in that pool: where such sites were left out, a planted .94 became
.88. One with nobody of a kind has no course that is finite; where it has enough episodes there is
no smoothed pool, and the mean of shares stays.

Episodes without a test tell nothing.
"""

from collections.abc import Container, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.shares import Share, count_known, estimate_shares, select_followed
from pipeline.analyses.sites.first_sessions import select_first_sessions, state_first_sessions
from pipeline.analyses.sites.pooled import (
    MISSING,
    WORTH_SAYING,
    PooledShare,
    pool_effects,
    state_pool,
)
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.share_limits import bound_share
from pipeline.statistics.smooth_hazard import FIRST_KNOT, Hazard, course_basis, fit_hazard
from pipeline.statistics.tidy import Fields, tidy_estimates
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Guards, Study

AVERAGE = (
    "mean of the shares of sites (NPMLE); intervals: leaving out each site, t distribution, or "
    "exact "
    "where these reach further"
)


def estimate_site_pooling(
    episodes: Frame[Episodes],
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate what sites share.

    Returns
    -------
    Frame[Estimates]
        resolved_by_day_<t>, smoothed_by_day_<t> and first_session_success (stratum all): each the
        mean over sites, <term>_sites_pooled and <term>_sites_not_pooled, and without a number what
        would say how they differ; first_session_success_one_stage.
    """
    study = config.study
    followed = select_followed(spells, adjudications, study.resolution.primary)
    sessions = select_first_sessions(episodes, adjudications, attempts)
    rows = [
        *_state_shares(followed, study),
        *_state_smoothed(followed, study),
        *state_first_sessions(sessions, study.site_monitoring.terms, study.guards),
    ]
    return tidy_estimates(
        rows, analysis="site_pooling", population="positional", endpoint=study.resolution.primary
    )


def _state_shares(followed: pd.DataFrame, study: Study) -> Iterator[dict]:
    days, sites = study.site_pooling.days, dict(iter(followed.groupby("site", sort=True)))
    shares = {site: estimate_shares(rows, days, study) for site, rows in sites.items()}
    for day in days:
        usable = {site: share for site in sites if isinstance(share := shares[site][day], Share)}
        counts = count_known(followed[followed["site"].isin(usable)], day)
        pooled = (
            _check_left_out(sites, usable, study.guards)
            or check_sites(len(usable), study.guards)
            or average_shares(
                list(usable.values()), [_count_informative(sites[site], day) for site in usable]
            )
        )
        yield from state_pool(
            f"resolved_by_day_{day}", pooled, counts, len(sites), study.guards, AVERAGE
        )


def _count_informative(rows: pd.DataFrame, day: int) -> int:
    """Of how many it is known whether they are resolved by the day."""
    return int(((rows["right_days"] <= day) | (rows["left_days"] >= day)).sum())


def average_shares(shares: list[Share], known: list[int]) -> PooledShare:
    """Average the shares of sites, each counting alike.

    Parameters
    ----------
    shares
        The share resolved by a day of each site.
    known
        Of how many episodes of each it is known whether they are resolved by then.

    Returns
    -------
    PooledShare
        The mean of the least shares, with limits around the least and the most that the data allow.

    Notes
    -----
    The effective number of k sites with n_i known episodes is k^2 / sum 1 / n_i, by the weights
    that let each site count alike (Kish L. Survey Sampling. 1965).
    """
    unresolved = np.array([(1 - share.most, 1 - share.least) for share in shares])
    n, mean = len(unresolved), unresolved.mean(axis=0)
    with np.errstate(divide="ignore"):
        effective = np.full(2, n**2 / (1 / np.array(known)).sum())
    without = (unresolved.sum(axis=0) - unresolved) / (n - 1)
    bounds = bound_share(mean, without, np.ones(n), np.ones(n), effective)
    least, most = 1 - mean[1], 1 - mean[0]
    note = (
        f"the data allow {least:.3f} to {most:.3f}; the lower is given"
        if most - least >= WORTH_SAYING
        else None
    )
    return PooledShare(float(least), float(1 - bounds.high[1]), float(1 - bounds.low[0]), note)


def _check_left_out(
    sites: dict[str, pd.DataFrame], usable: Container[str], guards: Guards
) -> Refusal | None:
    """A mean over sites that leaves out one with enough episodes is another one: there is none."""
    left_out = any(
        len(rows) >= guards.min_episodes for site, rows in sites.items() if site not in usable
    )
    return MISSING if left_out else None


def _state_smoothed(followed: pd.DataFrame, study: Study) -> Iterator[dict]:
    for day, effects in smooth_sites(followed, study).items():
        pooled = effects.refusal or pool_effects(effects.effect, effects.variance, study.guards)
        yield from state_pool(
            f"smoothed_by_day_{day}",
            pooled,
            effects.counts,
            followed["site"].nunique(),
            study.guards,
        )


class Effects(NamedTuple):
    """Effects of the sites of one pool.

    Attributes
    ----------
    effect, variance
        The log cumulative hazard of each pooled site by a day, and its variance, (sites,).
    counts
        n_episodes, n_events, n_sites and by_site of these sites.
    refusal
        Why there is no pool of them.
    """

    effect: np.ndarray
    variance: np.ndarray
    counts: Fields
    refusal: Refusal | None


def smooth_sites(followed: pd.DataFrame, study: Study) -> dict[int, Effects]:
    """By each day of the plan the smoothed shares of the sites that have one."""
    sites = dict(iter(followed.groupby("site", sort=True)))
    fits = {site: _smooth(rows, study) for site, rows in sites.items()}
    usable = {site: fit for site, fit in fits.items() if isinstance(fit, Hazard)}
    refusal, by_day = _check_left_out(sites, usable, study.guards), {}
    for day in study.site_pooling.days:
        effects, variances = (
            np.array([_place(fit, day) for fit in usable.values()]).reshape(-1, 2).T
        )
        counts = count_known(followed[followed["site"].isin(usable)], day)
        by_day[day] = Effects(effects, variances, counts, refusal)
    return by_day


def _place(fit: Hazard, day: int) -> tuple[float, float]:
    """The log cumulative hazard of a site by the day, and its variance."""
    when = course_basis(np.array([float(day)]), fit.knots)[0]
    return float(when @ fit.coefficients), float(when @ fit.covariance @ when)


def _smooth(rows: pd.DataFrame, study: Study) -> Hazard | Refusal:
    """The course of one site: with an inner knot, or Weibull's where the tests do not tell one.

    None where nobody was seen resolved, or unresolved, since its hazard would be without end: the
    mean of shares has such sites too.
    """
    episodes, *kinds = _count_seen(rows, study)
    if episodes >= study.guards.min_episodes and min(kinds) == 0:
        return Refusal(
            "not_identified",
            "nobody was seen to be resolved" if kinds[1] else "nobody was seen unresolved",
        )
    refusal = check_size(episodes, study.guards.min_events, study.guards)
    if refusal:
        return refusal
    last = float(study.curves.horizon_day)
    bent = _fit_course(rows, (FIRST_KNOT, np.sqrt(FIRST_KNOT * last), last))
    return _fit_course(rows, (FIRST_KNOT, last)) if isinstance(bent, Refusal) else bent


def _fit_course(rows: pd.DataFrame, knots: tuple[float, ...]) -> Hazard | Refusal:
    left, right = rows["left_days"].to_numpy(float), rows["right_days"].to_numpy(float)
    return fit_hazard(left, right, np.empty((len(rows), 0)), knots)


def _count_seen(rows: pd.DataFrame, study: Study) -> tuple[int, int, int]:
    """Episodes, how many of them were seen to be resolved by the horizon,
    and how many were ever seen unresolved."""
    return (
        len(rows),
        int((rows["right_days"] <= study.curves.horizon_day).sum()),
        int((rows["left_days"] > 0).sum()),
    )
