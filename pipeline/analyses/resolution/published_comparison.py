"""The pool beside published trials: the same canal, first maneuver and day,
with no test and no difference claimed.

Estimated is, for the first spells of positional episodes of the trial's canal that began with the
maneuver of the trial's arm, P(resolution by the day of the trial's test), counted from the first
attempt, by the endpoint that comes nearest to what the trial counted. Beside it stands the share of
the trial's arm with its exact interval (Clopper CJ, Pearson ES. Biometrika 1934;26:404-413), and
for published pools of trials the Mantel-Haenszel odds ratio worked out again from their counts.

The populations differ: a trial chooses and tests after its patients by protocol, at one time, after
one or a few maneuvers; here whoever was treated is in, who needed it got further sessions before
the day, and the share is interval-censored.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.stats import binomtest, norm

from pipeline.analyses.covariates import name_first_maneuvers
from pipeline.analyses.resolution.curves import METHOD, ONE_SITE
from pipeline.analyses.resolution.shares import count_known, estimate_shares, select_followed
from pipeline.statistics.guard import Refusal
from pipeline.statistics.meta import pool_odds_ratios
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.published import PROVENANCE, Published, PublishedPool, Trial, TrialArm
from schemas.study import Config, Study

OWN_OF_ONE = METHOD.replace("one-site", "one-patient")
EXACT = "exact (Clopper-Pearson) interval"
RATIO = "Mantel-Haenszel odds ratio; interval: Robins-Breslow-Greenland"
DIFFERENT = (
    "different populations: further sessions may have come before the day, and tests followed no "
    "protocol"
)


def compare_published(
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Put the pool beside published trials.

    Returns
    -------
    Frame[Estimates]
        Two rows for each arm of a trial (stratum trial=...,first_maneuver=...), of the populations
        `published` and `positional`; and the odds ratio of each published pool (stratum pool=...).
    """
    published, study = config.published, config.study
    first = name_first_maneuvers(attempts)
    followed = {
        endpoint: select_followed(spells, adjudications, endpoint).merge(
            first, on=EPISODE, how="left"
        )
        for endpoint in sorted({trial.endpoint for trial in published.trials.values()})
    }
    rows = []
    for name, trial in sorted(published.trials.items()):
        for arm in trial.arms:
            shared = {
                "endpoint": trial.endpoint,
                "stratum": f"trial={name},first_maneuver={arm.family}",
            }
            rows.append(_state_trial(trial, arm) | shared)
            rows.append(_state_pool(trial, arm, followed[trial.endpoint], study) | shared)
    rows += _state_published_pools(published)
    return tidy_estimates(rows, analysis="published_comparison")


def _state_trial(trial: Trial, arm: TrialArm) -> dict:
    limits = binomtest(arm.events, arm.total).proportion_ci(method="exact")
    return state(
        f"resolved_by_day_{trial.day}",
        arm.events / arm.total,
        lower=limits.low,
        upper=limits.high,
        population="published",
        n_episodes=arm.total,
        n_events=arm.events,
        method=EXACT,
        note=f"{trial.citation}; {trial.measured}; {PROVENANCE[trial.provenance]}",
    )


def _state_pool(trial: Trial, arm: TrialArm, followed: pd.DataFrame, study: Study) -> dict:
    alike = followed["canal"].eq(trial.canal) & followed["first_maneuver"].eq(arm.family)
    if trial.canal_arms:
        alike &= followed["arm"].isin(trial.canal_arms)
    members = followed[alike.fillna(False)]
    share = estimate_shares(members, (trial.day,), study)[trial.day]
    counts = count_known(members, trial.day)
    alone = counts["n_sites"] == 1
    term = f"resolved_by_day_{trial.day}"
    fields: Fields = {"population": "positional", "method": OWN_OF_ONE if alone else METHOD}
    fields |= counts
    if isinstance(share, Refusal):
        return withhold(term, share.status, share.note, **fields)
    note = "; ".join(filter(None, [DIFFERENT, share.note, ONE_SITE if alone else None]))
    row_fields = fields | {"std_error": share.std_error, "note": note}
    return state_within(
        term, share.least, share.lower, share.upper, SHARE, study.guards, **row_fields
    )


def _state_published_pools(published: Published) -> Iterator[dict]:
    for name, pool in sorted(published.pools.items()):
        pairs = [_find_arms(published.trials[trial], pool) for trial in pool.trials]
        effect, error = pool_odds_ratios(
            [[(arm.events, arm.total - arm.events) for arm in pair] for pair in pairs]
        )
        low, high = np.exp(effect + np.array([-1, 1]) * norm.ppf(0.975) * error)
        arms = [arm for pair in pairs for arm in pair]
        yield state(
            "odds_ratio",
            np.exp(effect),
            lower=low,
            upper=high,
            population="published",
            endpoint=published.trials[pool.trials[0]].endpoint,
            stratum=f"pool={name},first_maneuver={pool.treatment}",
            comparison=f"first_maneuver={pool.comparator}",
            n_episodes=sum(arm.total for arm in arms),
            n_events=sum(arm.events for arm in arms),
            method=RATIO,
            note=(
                f"{pool.citation}: printed as {pool.odds_ratio:g} ({pool.lower:g} to "
                f"{pool.upper:g}); {PROVENANCE[pool.provenance]}"
            ),
        )


def _find_arms(trial: Trial, pool: PublishedPool) -> list[TrialArm]:
    return [
        next(arm for arm in trial.arms if arm.family == family)
        for family in (pool.treatment, pool.comparator)
    ]
