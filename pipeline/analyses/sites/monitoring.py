"""How far sites differ in how soon vertigo resolves, whenever they test.

Estimated is, for each site that is large enough (site_monitoring of the plan), the ratio of its
rate of resolution to the mean of such sites, for episodes of the same variants under the same
sessions, by the model of resolution and of tests (pipeline/analyses/resolution/joint.py) with a
multiplier for each site; smaller sites share one. The days on which a site tests are evidence
there, so that no site is judged by when it tests: in six pools of twelve equal simulated sites
that test first on day 1, 3, 7, 14 or 28, 1 % of sites lay outside 95 % limits, and none outside
99.8 % (tests/recovery/README.md). Limits of a ratio are Wald's on the scale of logarithms by the
information left for it once all else is estimated; the variance between sites is pooled by
restricted likelihood (pipeline/statistics/meta.py).
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.stats import norm

from pipeline.analyses.resolution.courses import Days, lay_out_days, list_members
from pipeline.analyses.resolution.fitted import fit_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.guard import Refusal, check_sites
from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_influence import know_multipliers
from pipeline.statistics.meta import Pool, pool_random_effects
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Study

METHOD = (
    "hidden state with the days of tests as evidence and a multiplier of each site; intervals by "
    "the information left for it"
)
POOLED = "restricted likelihood; Q-profile interval of the variance, prediction interval"
COUNT = "count"
# control limits: Spiegelhalter DJ. Stat Med 2005;24:1185-1202
LEVELS = {"sites_outside_95": 0.95, "sites_outside_998": 0.998}
RATIO = "rate_ratio"
POOL_TERMS = (
    *LEVELS,
    f"{RATIO}_tau2",
    f"{RATIO}_further_site",
)


def estimate_site_monitoring(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Each large site's ratio (stratum its site); and of them all how many lie outside control
    limits, the variance between them, and where a further one is expected (stratum all)."""
    study = config.study
    members = list_members(adjudications, spells)
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    reasons = list_examined_days(examinations)
    days = lay_out_days(members, tests, reasons, treatments, followups, config)
    sizes = members.groupby("site").size()
    large = sizes.index[sizes >= study.site_monitoring.min_episodes]
    is_large = members["site"].isin(large)
    rows = [
        _count_sites("sites_large_enough", members[is_large], study),
        _count_sites("sites_below_minimum", members[~is_large], study),
        *_compare(members, days, list(large), study),
    ]
    return tidy_estimates(
        rows,
        analysis="site_monitoring",
        population="positional",
        endpoint=study.resolution.primary,
        method=METHOD,
    )


def _compare(members: pd.DataFrame, days: Days, large: list[str], study: Study) -> Iterator[dict]:
    is_large = members["site"].isin(large)
    fields: Fields = {"stratum": "all", "n_episodes": int(is_large.sum())}
    fields |= count_sites(members[is_large])
    effects = check_sites(len(large), study.guards) or _find_effects(members, days, large, study)
    if isinstance(effects, Refusal):
        for term in POOL_TERMS:
            yield withhold(term, effects.status, effects.note, **fields)
        return
    logs, variances, pool = effects
    for k, site in enumerate(large):
        size: Fields = {"n_episodes": int(members["site"].eq(site).sum()), "n_sites": 1}
        error = float(np.sqrt(variances[k]))
        reach = norm.ppf(0.975) * error
        low, high = np.exp(logs[k] - reach), np.exp(logs[k] + reach)
        interval = {"lower": low, "upper": high, "std_error": error}
        yield state(RATIO, np.exp(logs[k]), stratum=f"site={site}", **interval, **size)
    scores = np.abs(logs) / np.sqrt(variances)
    for term, level in LEVELS.items():
        outside = int((scores > norm.ppf(0.5 + level / 2)).sum())
        yield state(term, outside, **fields)
    between = {"lower": pool.tau2_lower, "upper": pool.tau2_upper, "p_value": pool.p_value}
    yield state(f"{RATIO}_tau2", pool.tau2, **between, **fields | {"method": POOLED})
    ends = {"lower": np.exp(pool.predicted_lower), "upper": np.exp(pool.predicted_upper)}
    mean = np.exp(pool.estimate)
    yield state(f"{RATIO}_further_site", mean, **ends, **fields | {"method": POOLED})


def _find_effects(
    members: pd.DataFrame, days: Days, large: list[str], study: Study
) -> tuple[np.ndarray, np.ndarray, Pool] | Refusal:
    """The logarithms of the ratios of the large sites, their variances, and their pool."""
    group = members["site"].map({site: k for k, site in enumerate(large)})
    number = group.fillna(len(large)).to_numpy(int)  # the smaller ones share the last
    try:
        fitted = fit_courses(members, days, study)
        courses, fit = fitted.courses, fitted.fit
        sizes = replace(courses.sizes, groups=number.max() + 1)
        by_site = replace(courses, group=number, sizes=sizes)
        start = replace(fit.rates, multiplier=np.ones(sizes.groups))
        fit = fit_hidden_end(by_site, start)
        covariance = know_multipliers(by_site, fit)
        # against the mean of the large sites
        centre = np.eye(sizes.groups)[: len(large)]
        centre = centre - centre.mean(axis=0)
        logs = centre @ np.log(fit.rates.multiplier)
        variances = np.diag(centre @ covariance @ centre.T)
        return logs, variances, pool_random_effects(logs, variances)
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))


def _count_sites(term: str, rows: pd.DataFrame, study: Study) -> dict:
    sites = count_sites(rows)
    least = f"the least is {study.site_monitoring.min_episodes} episodes"
    fields = {"stratum": "all", "method": COUNT, "note": least, **sites}
    return state(term, sites["n_sites"], n_episodes=len(rows), **fields)
