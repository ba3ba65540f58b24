"""What is asked of each analysis: simulated tables in, estimates with limits out,
each called honest or naive.

Ratios are answered by their logarithm, so that no effect is 0.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.stats import binomtest, norm

from pipeline.analyses.afterwards.handicap import estimate_handicap_change
from pipeline.analyses.afterwards.handicap_totals import pick_nearest, select_totals
from pipeline.analyses.afterwards.recurrence import estimate_recurrence
from pipeline.analyses.attempts.success import estimate_attempt_success
from pipeline.analyses.order.second_line import estimate_second_line
from pipeline.analyses.resolution.competing_events import estimate_incidences
from pipeline.analyses.resolution.curves import estimate_curves
from pipeline.analyses.resolution.regression import estimate_resolution_regression
from pipeline.analyses.sites.pooling import estimate_site_pooling
from pipeline.derivation.first_events import CAUSES
from schemas.keys import EPISODE
from schemas.study import Config
from tests.recovery.frames import Pool
from tests.recovery.naive import estimate_share, impute

PARTS = {
    "all": None,
    "canal=lateral": "lateral",
    "canal=anterior": "anterior",
}  # the anterior canal is the rare variant
COVARIATES = ("sex=", "prior=", "onset=", "age_decade")


class Answer(NamedTuple):
    """One answer of one analysis on one pool; without a number, `status` says why."""

    term: str
    stance: str
    estimate: float
    lower: float
    upper: float
    status: str = "ok"


def ask_curves(pool: Pool, config: Config) -> Iterator[Answer]:
    """Shares resolved by each reported day: the pipeline's, and those of imputed days."""
    estimates = estimate_curves(pool.spells, pool.adjudications, pool.attempts, config)
    days = [f"resolved_by_day_{day}" for day in config.study.curves.days]
    yield from read_answers(
        estimates[estimates["stratum"].isin(PARTS) & estimates["term"].isin(days)]
    )
    spells = pool.spells[
        pool.spells["spell"].eq(1) & pool.spells["status"].isin(["resolved", "unresolved"])
    ]
    with_canal = spells.merge(pool.adjudications[[*EPISODE, "canal"]], on=EPISODE)
    for part, canal in PARTS.items():
        rows = with_canal if canal is None else with_canal[with_canal["canal"].eq(canal)]
        left, right = rows["left_days"].to_numpy(float), rows["right_days"].to_numpy(float)
        for rule in ("midpoint", "visit"):
            for day in config.study.curves.days:
                share = estimate_share(*impute(left, right, rule), day)
                yield Answer(f"{part} resolved_by_day_{day}", f"naive: {rule}", *share)


def ask_second_line(pool: Pool, config: Config) -> Iterator[Answer]:
    """How much more often those who changed resolve than those who repeated: weighted,
    and without weights."""
    estimates = estimate_second_line(
        pool.episodes, pool.adjudications, pool.attempts, pool.spells, config
    )
    estimates = estimates[estimates["stratum"].isin(["all", "variant=lateral_geotropic"])]
    terms = [f"risk_difference_day_{day}" for day in config.study.second_line.days]
    yield from read_answers(estimates[estimates["term"].isin(terms)])
    naive = estimates.assign(term=estimates["term"].str.removeprefix("naive_"))[
        estimates["term"].str.startswith("naive_")
    ]
    yield from read_answers(naive[naive["term"].isin(terms)], "naive: no weights")


def ask_attempts(pool: Pool, config: Config) -> Iterator[Answer]:
    """Hazard ratios of covariates by the model with patient effects and by the one without, and the
    spread of patients; the raw share of success at the first attempts, and with exact limits, which
    know no sites."""
    estimates = estimate_attempt_success(pool.episodes, pool.adjudications, pool.attempts, config)
    first = estimates[
        estimates["term"].eq("success_raw") & estimates["stratum"].eq("attempt_number=1")
    ]
    yield from read_answers(first)
    for row in first.itertuples():
        exact = binomtest(int(row.n_events), int(row.n_episodes)).proportion_ci(method="exact")
        yield Answer(
            "attempt_number=1 success_raw", "naive: no sites", row.estimate, exact.low, exact.high
        )
    for model, stance in (("mixed", "honest"), ("marginal", "naive: no patients")):
        ratios = estimates[estimates["stratum"].eq(f"model={model}")].assign(
            stratum="log hazard ratio,"
        )
        yield from read_answers(
            _take_logs(ratios[ratios["term"].str.startswith(COVARIATES)]), stance
        )
    yield from read_answers(estimates[estimates["term"].eq("patient_sd")])


def ask_regression(pool: Pool, config: Config) -> Iterator[Answer]:
    """Logarithms of time ratios."""
    estimates = estimate_resolution_regression(
        pool.episodes, pool.spells, pool.adjudications, pool.attempts, config
    )
    ratios = estimates[
        estimates["term"].str.startswith((*COVARIATES, "canal_arm="))
        & estimates["stratum"].eq("all")
    ]
    yield from read_answers(_take_logs(ratios.assign(stratum="log time ratio,")))


def ask_recurrence(pool: Pool, config: Config) -> Iterator[Answer]:
    """Shares free of recurrence."""
    estimates = estimate_recurrence(pool.spells, pool.adjudications, pool.followups, config)
    terms = [f"recurrence_free_day_{day}" for day in config.study.recurrence.days]
    primary = estimates["stratum"].eq("all") & estimates["endpoint"].eq(
        config.study.resolution.primary
    )
    yield from read_answers(estimates[primary & estimates["term"].isin(terms)])


def ask_competing_events(pool: Pool, config: Config) -> Iterator[Answer]:
    """Incidences of the first event, from test intervals and, as is often done,
    by the days on which events were seen."""
    estimates = estimate_incidences(pool.first_events, config.study)
    estimates = estimates[estimates["stratum"].eq("all")]
    terms = [f"incidence_{cause}_day_{day}" for cause in CAUSES for day in config.study.curves.days]
    yield from read_answers(estimates[estimates["term"].isin(terms)])
    seen = estimates.assign(term=estimates["term"].str.replace("seen_", "incidence_"))[
        estimates["term"].str.startswith("seen_")
    ]
    yield from read_answers(seen[seen["term"].isin(terms)], "naive: day of the test")


def ask_handicap(pool: Pool, config: Config) -> Iterator[Answer]:
    """Mean totals and their changes by the mixed model, and the raw means of totals near a day,
    whose limits know no sites; shares that fell; and the difference by whether resolution had been
    seen."""
    followups = pool.followups
    estimates = estimate_handicap_change(
        pool.episodes, followups, pool.adjudications, pool.spells, config
    )
    days, parts = config.study.handicap.days, ("all", "canal=lateral")
    terms = ["mean_day_0", *(f"{kind}_day_{day}" for kind in ("mean", "change_by") for day in days)]
    terms += [
        f"fell_by_{fall}_by_day_{day}"
        for fall in config.study.handicap.important_changes
        for day in days
    ]
    chosen = estimates[
        estimates["stratum"].isin(parts)
        & estimates["term"].isin([*terms, "difference_near_day_30"])
    ]
    yield from read_answers(chosen.assign(comparison=pd.NA))
    totals = select_totals(pool.episodes, followups, pool.adjudications, pool.spells, config.study)
    for day in (0, *days):
        nearest = pick_nearest(totals, day)["total"].to_numpy(float)
        reach = norm.ppf(0.975) * nearest.std(ddof=1) / np.sqrt(len(nearest))
        yield Answer(
            f"all mean_day_{day}",
            "naive: mean of totals",
            nearest.mean(),
            nearest.mean() - reach,
            nearest.mean() + reach,
        )


def ask_site_pooling(pool: Pool, config: Config) -> Iterator[Answer]:
    """Shares of the mean site, its course taken for any or for a smooth one."""
    estimates = estimate_site_pooling(
        pool.episodes, pool.spells, pool.adjudications, pool.attempts, config
    )
    terms = [
        f"{kind}_by_day_{day}"
        for kind in ("resolved", "smoothed")
        for day in config.study.site_pooling.days
    ]
    yield from read_answers(
        estimates[estimates["stratum"].eq("all") & estimates["term"].isin(terms)]
    )


def read_answers(rows: pd.DataFrame, stance: str = "honest") -> Iterator[Answer]:
    """The rows of an analysis as answers; the term begins with the stratum and ends with what is
    compared with."""
    numbers = rows[["estimate", "lower", "upper"]].to_numpy(float, na_value=np.nan)
    against = np.where(rows["comparison"].notna(), " against " + rows["comparison"].fillna(""), "")
    for row, triple, end in zip(rows.itertuples(), numbers, against, strict=True):
        yield Answer(f"{row.stratum} {row.term}{end}", stance, *triple, row.status)


def _take_logs(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.assign(
        **{name: np.log(rows[name].astype(float)) for name in ("estimate", "lower", "upper")}
    )


ADAPTERS: dict[str, Callable[[Pool, Config], Iterator[Answer]]] = {
    "curves": ask_curves,
    "recurrence": ask_recurrence,
    "site_pooling": ask_site_pooling,
    "attempts": ask_attempts,
    "regression": ask_regression,
    "second_line": ask_second_line,
    "competing_events": ask_competing_events,
    "handicap": ask_handicap,
}
