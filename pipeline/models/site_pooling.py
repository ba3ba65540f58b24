"""What sites share: shares resolved by a day and success of the first session, pooled over sites.

Estimated is, over the clinics that these stand for, the mean of two quantities of a site:
- P(resolution by the day) of a first spell of positional vertigo, counted from the first attempt, not adjusted;
- success of the first session, adjusted (pipeline/models/first_sessions.py).
Both are pooled on the complementary log-log scale in two stages: one estimate and variance from each site, then restricted likelihood
and Hartung-Knapp limits (pipeline/models/meta.py). How far sites differ is withdrawn: pipeline/models/site_pool.py says why.

The share of a site is found twice. `resolved_by_day` takes nothing for granted of its course (NPMLE; variance from leaving out its
patients by the delta method), but has no number where few are known to be resolved by the day, or to be unresolved. That depends on how
well a site's patients do: where a site of enough episodes would be missing for it, there is no pool. `smoothed_by_day` takes the site's
course for a spline of log time with one inner knot (Weibull's where the looks do not tell a bend), and so learns from all of its looks.
In simulated pools that resolve in steps Weibull's course alone lay .035 too high by day 7, with a bend .014. A site with few who are seen
resolved, or unresolved, is in that pool: where such sites were left out, a planted .94 became .88.

Episodes without a look tell nothing.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.models.case_mix import FIRST_KNOT, Hazard, course_basis, fit_hazard
from pipeline.models.first_sessions import select_first_sessions, tell_first_sessions
from pipeline.models.guard import Refusal, check_size
from pipeline.models.shares import Share, count_known, estimate_shares, select_followed
from pipeline.models.site_pool import MISSING, Effects, slope_of_share, tell_pool, to_scale
from pipeline.models.tidy import tidy_estimates
from schemas.study import Config, Guards, Study


def estimate_site_pooling(
    episodes: pd.DataFrame, spells: pd.DataFrame, adjudications: pd.DataFrame, attempts: pd.DataFrame, config: Config
) -> pd.DataFrame:
    """Of each term (stratum all): the mean over sites, numbers of sites, and why nothing is said of how they differ."""
    study = config.study
    followed = select_followed(spells, adjudications, study.resolution.primary)
    sessions = select_first_sessions(episodes, adjudications, attempts)
    rows = [
        *_tell_shares(followed, study),
        *_tell_smoothed(followed, study),
        *tell_first_sessions(sessions, study.site_monitoring.terms, study.guards),
    ]
    return tidy_estimates(rows, analysis="site_pooling", population="positional", endpoint=study.resolution.primary)


def _tell_shares(followed: pd.DataFrame, study: Study) -> Iterator[dict]:
    days, sites = study.site_pooling.days, dict(iter(followed.groupby("site", sort=True)))
    found = {site: estimate_shares(rows, days, study) for site, rows in sites.items()}
    for day in days:
        term = f"resolved_by_day_{day}"
        enough = {site for site, rows in sites.items() if not _check_known(rows, day, study.guards)}
        usable = {site: found[site][day] for site in sites if site in enough and isinstance(found[site][day], Share)}
        least, most = (np.array([getattr(s, edge) for s in usable.values()]) for edge in ("least", "most"))
        errors = np.array([share.std_error for share in usable.values()])
        counts = count_known(followed[followed["site"].isin(usable)], day)
        effects = Effects(to_scale(least), to_scale(most), (errors / slope_of_share(least)) ** 2, counts)
        missing = any(len(sites[site]) >= study.guards.min_episodes for site in sites if site not in usable)
        refusal = Refusal("not_identified", MISSING) if missing else None
        yield from tell_pool(term, effects, len(sites), study.guards, refusal)


def _check_known(rows: pd.DataFrame, day: int, guards: Guards) -> Refusal | None:
    """Whether so much is known of a site by the day that its share has a variance."""
    unresolved = int((rows["left_days"] >= day).sum())
    return check_size(len(rows), int((rows["right_days"] <= day).sum()), guards, n_without=unresolved)


def _tell_smoothed(followed: pd.DataFrame, study: Study) -> Iterator[dict]:
    for day, effects in smooth_sites(followed, study).items():
        yield from tell_pool(f"smoothed_by_day_{day}", effects, followed["site"].nunique(), study.guards)


def smooth_sites(followed: pd.DataFrame, study: Study) -> dict[int, Effects]:
    """By each day of the plan the smoothed shares of the sites that have one."""
    sites = dict(iter(followed.groupby("site", sort=True)))
    fits = {site: _smooth(rows, study) for site, rows in sites.items()}
    usable = {site: fit for site, fit in fits.items() if isinstance(fit, Hazard)}
    missing = any(len(sites[site]) >= study.guards.min_episodes for site in sites if site not in usable)
    found = {}
    for day in study.site_pooling.days:
        placed = [_place(fit, day) for fit in usable.values()]
        effects, variances = np.array(placed).reshape(-1, 2).T
        counts = count_known(followed[followed["site"].isin(usable)], day)
        found[day] = Effects(effects, effects, variances, counts, MISSING if missing else None)
    return found


def _place(fit: Hazard, day: int) -> tuple[float, float]:
    """The log cumulative hazard of a site by the day, and its variance."""
    when = course_basis(np.array([float(day)]), fit.knots)[0]
    return float(when @ fit.coefficients), float(when @ fit.covariance @ when)


def _smooth(rows: pd.DataFrame, study: Study) -> Hazard | Refusal:
    """The course of one site: with an inner knot, or Weibull's where the looks do not tell one. None where nobody was seen resolved, or
    unresolved."""
    episodes, *kinds = _count_seen(rows, study)
    if episodes >= study.guards.min_episodes and min(kinds) == 0:
        return Refusal("not_identified", "nobody was seen to be resolved" if kinds[1] else "nobody was seen unresolved")
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
    """Episodes, how many of them were seen to be resolved by the horizon, and how many were ever seen unresolved."""
    return len(rows), int((rows["right_days"] <= study.curves.horizon_day).sum()), int((rows["left_days"] > 0).sum())
