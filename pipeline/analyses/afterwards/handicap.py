"""How the total of the Dizziness Handicap Inventory (0 to 100, more is worse)
moves after the first attempt.

The population are treated positional episodes with a total; time zero is the first attempt; the
last total on or before that day counts as day 0. A total is near a day of the plan if no other, day
0 included, is nearer on a scale of log(1 + day). Estimated are
- the mean total on day 0 and on the days of the plan, and its change since day 0, whole and by
  adjudicated canal, whatever happened in between. A linear mixed model
  (pipeline/statistics/linear_mixed.py) in which the mean is straight between knots, patients have
  an intercept and a slope of their own, and sites an intercept. Knots are these days and, where
  enough totals are there, one half-way between two of them and one at the end: totals fall at once
  after the first attempt, and without a knot there those of the first days would pull down the mean
  of day 0. Totals may be missing for reasons that earlier totals tell, not for others.
- of episodes with a total on day 0 and near a day, the share whose total fell by at least each of
  the important changes: 11 (Tamber AL, Wilhelmsen KT, Strand LI. Health Qual Life Outcomes
  2009;7:109, the minimal important change) and 18 (Jacobson GP, Newman CW. Arch Otolaryngol Head
  Neck Surg 1990;116:424-427, 95 % of retests). Who starts below cannot fall by so much; that share
  is given too.
- the mean total near a day of those whose resolution had been seen by the day of that total, and of
  those in whom it had not: what is seen later plays no part. The two differ in much else. In a
  mixed model this comparison would lean on totals of other days (Pepe MS, Anderson GL. Commun Stat
  Simul Comput 1994;23:939-951, recalled from memory), so each day stands by itself.
- the share at zero, where the scale ends and means say little.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.afterwards.handicap_course import Course, fit_course, lay_out_course
from pipeline.analyses.afterwards.handicap_totals import count_totals, pick_nearest, select_totals
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.jackknife import (
    RESTS_ON_ONE,
    jackknife_covariance,
    refit_without_each_site,
)
from pipeline.statistics.linear_mixed import refit_linear_mixed
from pipeline.statistics.restricted_likelihood import drop_site
from pipeline.statistics.scales import SHARE, differ, limit_by_error, span, state_within
from pipeline.statistics.site_limits import METHOD, bound_share
from pipeline.statistics.tidy import Fields, count_sites, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Followups
from schemas.derived import Adjudications, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Guards, Study

MIXED = "linear mixed model, restricted likelihood, intercepts{slopes} of patients{sites}"
BY_SITE = "intervals by delete-one-site jackknife, t with sites - 1 degrees of freedom"
BY_MODEL = "intervals by the model"
ALONE = "the interval leaves out that sites differ"
LEVEL = "patients' slopes do not vary beyond their intercepts and are left out"
NEAREST = "mean of the totals nearest to the day"
SHARE_OF_TOTALS = f"share of the totals nearest to the day; {METHOD}"
TOTAL, CHANGE = span(0, 100), differ(100)


def estimate_handicap_change(
    episodes: Frame[Episodes],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Estimate how totals move after the first attempt.

    The events of a row are the resolutions seen by the day of the totals near it; of a share, those
    counted in it.

    Returns
    -------
    Frame[Estimates]
        mean_day_<t> and change_by_day_<t>, of all and by canal; share_at_zero_day_<t>,
        fell_by_<points>_by_day_<t> and started_below_<points>; mean_near_day_<t> by whether
        resolution had been seen by then, and difference_near_day_<t>.
    """
    study = config.study
    totals = select_totals(episodes, followups, adjudications, spells, study)
    rows = [row | {"stratum": "all"} for row in describe_course(totals, study)]
    for canal, part in totals.groupby("canal", sort=True):
        rows += [row | {"stratum": f"canal={canal}"} for row in describe_course(part, study)]
    rows += [row | {"stratum": "all"} for row in describe_falls(totals, study)]
    rows += list(compare_by_resolution(totals, study))
    return tidy_estimates(
        rows, analysis="handicap_change", population="positional", endpoint=study.resolution.primary
    )


class Numbers(NamedTuple):
    """Means or differences of totals with their covariance.

    Attributes
    ----------
    full
        The numbers, (numbers,), in points of the inventory.
    covariance
        (numbers, numbers); nan where a number rests on one site.
    by_site
        Whether the covariance is by leaving out each site, or by the model.
    method, note
        What is said of them, where it is the same for all.
    """

    full: np.ndarray
    covariance: np.ndarray
    by_site: bool
    method: str | None = None
    note: str | None = None


def describe_course(totals: pd.DataFrame, study: Study) -> Iterator[dict]:
    """Means on the reported days and changes since day 0 of the episodes in `totals`."""
    days = [0, *study.handicap.days]
    counts = {day: count_totals(totals[totals["plan_day"].eq(day)]) for day in days}
    refused = {day: check_size(n["n_episodes"], None, study.guards) for day, n in counts.items()}
    kept = [day for day in days if not refused[day]]
    course = lay_out_course(totals, kept, study.guards)
    course_numbers = _estimate_course(course) if course else next(filter(None, refused.values()))
    place = {term: k for k, term in enumerate(_name_terms(kept))}
    for term in _name_terms(days):
        day = int(term.rsplit("_", 1)[1])
        fields: Fields = {"method": MIXED.format(slopes="", sites=""), **counts[day]}
        answer = refused[day] or course_numbers
        if term.startswith("change"):
            fields |= {"comparison": "day 0"}
        if isinstance(answer, Refusal):
            yield withhold(term, answer.status, answer.note, **fields)
        else:
            yield _state_number(term, place[term], answer, fields, study.guards)


def describe_falls(totals: pd.DataFrame, study: Study) -> Iterator[dict]:
    """Shares at zero near each day, shares whose total fell enough since day 0,
    and shares that started too low to fall so much."""
    picked = {day: pick_nearest(totals, day) for day in (0, *study.handicap.days)}
    start = picked[0].set_index(EPISODE)["total"].rename("start")
    for day, rows in picked.items():
        yield _state_share(f"share_at_zero_day_{day}", rows, rows["total"].eq(0), study.guards)
    for change in study.handicap.important_changes:
        yield _state_share(
            f"started_below_{change}", picked[0], picked[0]["total"].lt(change), study.guards
        )
        for day in study.handicap.days:
            both = picked[day].merge(start, left_on=EPISODE, right_index=True)
            fell = (both["start"] - both["total"]).ge(change)
            yield _state_share(f"fell_by_{change}_by_day_{day}", both, fell, study.guards)


def compare_by_resolution(totals: pd.DataFrame, study: Study) -> Iterator[dict]:
    """Mean totals near each day of those with and without resolution seen by the day of the total,
    and their difference."""
    for day in study.handicap.days:
        rows = pick_nearest(totals, day)
        sites, seen, total = (
            rows["site"].to_numpy(str),
            rows["seen"].to_numpy(bool),
            rows["total"].to_numpy(float),
        )
        groups = {"yes": seen, "no": ~seen}
        by_site = not check_sites(len(np.unique(sites)), study.guards)
        averages: dict[str, Numbers | Refusal] = {
            name: check_size(int(g.sum()), None, study.guards)
            or _average(total, sites, (g,), by_site)
            for name, g in groups.items()
        }
        refusals = [answer for answer in averages.values() if isinstance(answer, Refusal)]
        averages["both"] = (
            refusals[0] if refusals else _average(total, sites, tuple(groups.values()), by_site)
        )
        method = f"{NEAREST}; {BY_SITE if by_site else BY_MODEL}"
        for name, group in groups.items():
            fields: Fields = {
                "stratum": f"resolution_seen_by_then={name}",
                "method": method,
                **count_totals(rows[group]),
            }
            yield _state_only_number(f"mean_near_day_{day}", averages[name], fields, study.guards)
        fields = {
            "stratum": "all",
            "comparison": "resolution not seen by then",
            "method": method,
            **count_totals(rows),
        }
        yield _state_only_number(
            f"difference_near_day_{day}", averages["both"], fields, study.guards
        )


def _name_terms(days: list[int]) -> list[str]:
    return [f"mean_day_{day}" for day in days] + [f"change_by_day_{day}" for day in days[1:]]


def _estimate_course(course: Course) -> Numbers | Refusal:
    """Means and changes with their covariance, and what is said of them."""
    course, fit = fit_course(course, sites=course.by_site)
    if isinstance(fit, Refusal):
        return fit
    by_site, contrasts, products = course.by_site, course.contrasts, course.products
    full, covariance = contrasts @ fit.coef, contrasts @ fit.covariance @ contrasts.T
    if by_site:
        refits = [
            refit_linear_mixed(drop_site(products, k), fit, sites=True)
            for k in range(len(products.site_products))
        ]
        unknown = np.full(len(full), np.nan)
        without = [
            unknown if isinstance(again, Refusal) else contrasts @ again.coef for again in refits
        ]
        covariance = jackknife_covariance(full, np.array(without))
    level = course.effects.shape[1] == 1
    method = MIXED.format(
        slopes="" if level else " and slopes", sites=" and intercepts of sites" if by_site else ""
    )
    return Numbers(
        full,
        covariance,
        by_site,
        f"{method}; {BY_SITE if by_site else BY_MODEL}",
        LEVEL if level else None,
    )


def _average(
    total: np.ndarray, sites: np.ndarray, groups: tuple[np.ndarray, ...], by_site: bool
) -> Numbers:
    """The mean of one group, or of the first less that of the second, with its variance."""

    def mean(stay: np.ndarray) -> np.ndarray:
        parts = [total[group & stay] for group in groups]
        means = [part.mean() if len(part) else np.nan for part in parts]
        return np.array([means[0] - sum(means[1:])])

    full = mean(np.ones(len(total), dtype=bool))
    if by_site:
        covariance = jackknife_covariance(full, refit_without_each_site(sites, mean))
    else:
        covariance = np.array([[sum(total[group].var(ddof=1) / group.sum() for group in groups)]])
    return Numbers(full, covariance, by_site)


def _state_only_number(
    term: str, answer: Numbers | Refusal, fields: Fields, guards: Guards
) -> Fields:
    """The only one of the numbers, or why there is none."""
    if isinstance(answer, Refusal):
        return withhold(term, answer.status, answer.note, **fields)
    return _state_number(term, 0, answer, fields, guards)


def _state_number(term: str, k: int, numbers: Numbers, fields: Fields, guards: Guards) -> Fields:
    """A mean, within the scale, or a difference with its p-value."""
    full, covariance, by_site, method, note = numbers
    fields |= {"method": method or fields["method"]}
    error = float(np.sqrt(covariance[k, k]))
    refusal = (None if np.isfinite(error) else RESTS_ON_ONE) or (
        check_sites(fields["n_sites"], guards) if by_site else None
    )
    if refusal:
        return withhold(term, refusal.status, refusal.note, **fields)
    scale = CHANGE if fields.get("comparison") else TOTAL
    low, high, p = limit_by_error(
        float(full[k]), error, scale, fields["n_sites"] if by_site else None
    )
    fields |= {
        "note": "; ".join(filter(None, [note, None if by_site else ALONE])) or None,
        "std_error": error,
    }
    if fields.get("comparison"):
        fields |= {"p_value": p}
    return state_within(term, full[k], low, high, scale, guards, **fields)


def _state_share(term: str, rows: pd.DataFrame, counted: pd.Series, guards: Guards) -> dict:
    """A share with the limits of pipeline/statistics/site_limits.py."""
    hit = counted.to_numpy(bool)
    fields: Fields = {
        "n_episodes": len(hit),
        "n_events": int(hit.sum()),
        **count_sites(rows, events=rows[hit]),
    }
    refusal = check_size(len(hit), None, guards)
    if refusal:
        return withhold(term, refusal.status, refusal.note, method=SHARE_OF_TOTALS, **fields)
    low, high = bound_share(hit, rows["site"].to_numpy(str), guards)
    note = ALONE if check_sites(fields["n_sites"], guards) else None
    return state_within(
        term, hit.mean(), low, high, SHARE, guards, method=SHARE_OF_TOTALS, note=note, **fields
    )
