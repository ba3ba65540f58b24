"""Time ratios: by how much each covariate stretches the time to resolution, the others held alike.

Estimated are, over the first spells of positional episodes that were followed (the primary
endpoint, counted from the first attempt), exp(coef) of log T = x'coef + scale * W
(pipeline/statistics/interval_regression.py): 2 means that any share of a class is resolved in twice
the time of the reference. Resolution lies between two tests. Every covariate is known at the first
attempt, and the first maneuver is one of them: the ratios describe who resolved when, they do not
say what a maneuver did. Also estimated is how far the fitted share of the whole lies from the one
without a distribution (0 where the data allow the fitted one). The distribution is the one of least
AIC; that it was chosen from the same data is not in the limits.

No shares had everybody begun with one maneuver come from this model: it has no interaction of
maneuver and variant, and would put the same maneuver first in every variant, whatever suits it.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from statsmodels.stats.multitest import multipletests

from pipeline.analyses.covariates import NUMERIC, describe_covariates
from pipeline.analyses.resolution.regression_fit import (
    Answers,
    Question,
    answer,
    ask,
    compare_with_none,
)
from pipeline.analyses.resolution.shares import count_known, select_followed
from pipeline.statistics.bounded_curve import bound_curve
from pipeline.statistics.design import FOLLOWS, OTHER, say_shared
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.interval_regression import AftFit, fit_aft
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.scales import DIFFERENCE, RATIO, limit_by_error, state_within
from pipeline.statistics.tidy import Fields, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Guards

FIT = "{family} accelerated-failure regression of intervals, the family by least AIC"
BY_SITE = (
    "intervals by delete-one-site jackknife, t with one degree of freedom less than sites with the "
    "class"
)
BY_MODEL = "intervals by the model"
EVER = np.finfo(float).max  # the last day that is not infinite
ALONE = "the interval leaves out that sites differ"
ERROR_SCALE = "the standard error is that of the logarithm"


def estimate_resolution_regression(
    episodes: Frame[Episodes],
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """A row for each class of each covariate, each covariate as a whole, AIC, the scale,
    and the fit."""
    study = config.study
    rows = select_covered(episodes, spells, adjudications, attempts, study.resolution.primary)
    found = list(regress_resolution(rows, config))
    return tidy_estimates(
        found,
        analysis="resolution_regression",
        population="positional",
        endpoint=study.resolution.primary,
    )


def select_covered(
    episodes: Frame[Episodes],
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    endpoint: str,
) -> pd.DataFrame:
    """The first spells that were followed, with left_days, right_days and the covariates,
    by key."""
    followed = select_followed(spells, adjudications, endpoint)
    told = describe_covariates(episodes, adjudications, attempts)
    rows = followed[[*EPISODE, "left_days", "right_days"]].merge(
        told, on=EPISODE, validate="one_to_one"
    )
    return rows.sort_values(EPISODE, ignore_index=True)


def fit_families(
    question: Question, families: tuple[str, ...]
) -> tuple[dict[str, AftFit | Refusal], str | None]:
    """The fit of each distribution, and the one of least AIC; none where no distribution fits."""
    fits = {family: fit_aft(question.patterns, family) for family in families}
    usable = {family: fit for family, fit in fits.items() if isinstance(fit, AftFit)}
    return fits, min(usable, key=lambda family: usable[family].aic, default=None)


def regress_resolution(rows: pd.DataFrame, config: Config) -> Iterator[dict]:
    """The estimates of rows with site, left_days, right_days and the covariates of the plan;
    their order changes nothing.

    Fewer than `min_events` resolutions are too few for any ratio, which would rest on a handful of
    times; the shares stay (pipeline/analyses/resolution/curves.py).
    """
    study = config.study
    counts = count_known(rows, EVER)
    where = {"stratum": "all", "method": FIT.format(family="no"), **counts}
    refusal = check_size(counts["n_episodes"], counts["n_events"], study.guards)
    if refusal:
        yield from _withhold_all(study.regression.terms, refusal, where)
        return
    question = ask(
        rows.sort_values(EPISODE, ignore_index=True),
        study.regression.terms,
        study.curves.days,
        study.guards,
    )
    fits, chosen = fit_families(question, study.regression.families)
    yield from _state_aic(fits, chosen, where)
    fit = fits[chosen or next(iter(fits))]
    if isinstance(fit, Refusal):
        yield from _withhold_all(study.regression.terms, fit, where)
        return
    answers = answer(question, fit, study.guards)
    method = f"{FIT.format(family=chosen)}; {BY_SITE if answers.by_site else BY_MODEL}"
    where |= {"method": method}
    yield from _state_terms(question, answers, where, study.guards)
    yield from _state_factors(question, answers, study.regression.terms, where)
    yield from _state_fit(question, answers, where, study.guards)


def _state_aic(
    fits: dict[str, AftFit | Refusal], chosen: str | None, where: dict
) -> Iterator[dict]:
    for family, fit in fits.items():
        own = where | {"method": f"{family}, maximum likelihood"}
        if isinstance(fit, Refusal):
            yield withhold(f"aic_{family}", fit.status, fit.note, **own)
        else:
            yield state(
                f"aic_{family}",
                fit.aic,
                note="the least: reported" if family == chosen else None,
                **own,
            )


def _state_terms(
    question: Question, answers: Answers, where: dict, guards: Guards
) -> Iterator[dict]:
    """Time ratios against the reference, or for one more of a numeric term; the scale;
    and what has no coefficient."""
    for k, name in enumerate(question.names):
        if name == "intercept" or name in question.design.unnamed:
            continue
        alone = None if answers.by_site else ALONE
        note = "; ".join(filter(None, [ERROR_SCALE, alone, say_shared(question.design, name)]))
        term = name.split("=")[0]
        against = (
            "one less" if term in NUMERIC else f"{term}={question.design.references.get(term)}"
        )
        own = where | {"comparison": against if name != "scale" else None}
        if name in question.design.counts.index:
            own |= question.design.counts.loc[[name]].to_dict("records")[0]
        refusal = answers.check(k, own["n_sites"], guards)
        if refusal:
            yield withhold(name, refusal.status, refusal.note, **own)
            continue
        low, high = np.exp(answers.limit(k, own["n_sites"]))
        own |= {"std_error": answers.error(k), "note": note}
        if name != "scale":
            own |= {"p_value": answers.compare(k, own["n_sites"])}
        yield state_within(name, np.exp(answers.full[k]), low, high, RATIO, guards, **own)
    for name, refusal in question.design.refused.items():
        if name not in question.design.matrix:
            yield withhold(
                name, refusal.status, refusal.note, **where | _count_class(question.rows, name)
            )


def _state_factors(
    question: Question, answers: Answers, terms: tuple[str, ...], where: dict
) -> Iterator[dict]:
    """Each covariate as a whole: the statistic of no difference between its classes,
    p-values adjusted over the covariates (Holm)."""
    own = where | {"comparison": "no difference between classes"}
    tests: dict[str, tuple[float, float] | Refusal] = {}
    notes: dict[str, str | None] = {}
    for term in terms:
        told = [
            name for name in question.design.matrix if name == term or name.startswith(f"{term}=")
        ]
        columns = [question.names.index(name) for name in told]
        usable = [
            k for k in columns if np.isfinite(answers.full[k]) and np.isfinite(answers.error(k))
        ]
        notes[term] = "of the classes that have a number" if len(usable) < len(columns) else None
        if usable:
            covariance = answers.covariance[np.ix_(usable, usable)]
            tests[term] = compare_with_none(
                answers.full[usable], covariance, answers.n_sites if answers.by_site else None
            )
        else:
            tests[term] = RESTS_ON_ONE if columns else question.design.refused.get(term, FOLLOWS)
    tested = {term: found[1] for term, found in tests.items() if not isinstance(found, Refusal)}
    holm = multipletests(list(tested.values()), method="holm")[1] if tested else []
    adjusted = dict(zip(tested, holm, strict=True))
    for term, found in tests.items():
        if isinstance(found, Refusal):
            yield withhold(f"effect_of_{term}", found.status, found.note, **own)
        else:
            said = {"p_value": found[1], "p_adjusted": adjusted[term], "note": notes[term]}
            test = "F statistic (Hotelling)" if answers.by_site else "chi-squared statistic (Wald)"
            yield state(
                f"effect_of_{term}",
                found[0],
                **own | said | {"method": f"{where['method']}; {test}; Holm"},
            )


def _state_fit(question: Question, answers: Answers, where: dict, guards: Guards) -> Iterator[dict]:
    """The fitted share of the whole less the one that needs no distribution,
    however many are resolved by then."""
    for k, day in enumerate(question.days, start=len(question.names)):
        own = (
            where
            | count_known(question.rows, day)
            | {"comparison": "estimate without a distribution (NPMLE)"}
        )
        refusal = check_sites(answers.n_sites, guards) or answers.check(k, answers.n_sites, guards)
        term = f"fitted_share_less_observed_by_day_{day}"
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **own)
        else:
            low, high = _limit_fit(question, answers, k, day, guards)
            own |= {"std_error": answers.error(k)}
            yield state_within(term, answers.full[k], low, high, DIFFERENCE, guards, **own)


def _limit_fit(
    question: Question, answers: Answers, k: int, day: int, guards: Guards
) -> tuple[float, float]:
    """By leaving out each site.

    Where few are known to be resolved by the day, or not to be, that tells little: then the limits
    are at least those of the observed share, as if the fitted one were known.
    """
    low, high, _ = limit_by_error(answers.full[k], answers.error(k), DIFFERENCE, answers.n_sites)
    left, right = (question.rows[end].to_numpy(float) for end in ("left_days", "right_days"))
    if min((right <= day).sum(), (left >= day).sum()) >= guards.min_events:
        return low, high
    # of several sites whole sites are left out
    clusters = question.rows.assign(patient_id=question.rows["episode_id"])
    curve = bound_curve(clusters, np.array([day]))
    below = curve.upper.share[0] - curve.lower.low[0]
    above = curve.upper.high[0] - curve.lower.share[0]
    return max(min(low, answers.full[k] - below), -1.0), min(
        max(high, answers.full[k] + above), 1.0
    )


def _withhold_all(terms: tuple[str, ...], refusal: Refusal, where: dict) -> Iterator[dict]:
    for term in terms:
        yield withhold(f"effect_of_{term}", refusal.status, refusal.note, **where)


def _count_class(rows: pd.DataFrame, name: str) -> Fields:
    """Episodes, events and sites of a class `term=class`, or of all where the term has no
    coefficient at all."""
    term, _, value = name.partition("=")
    members = rows[rows[term].astype(str).eq(value)] if value and value != OTHER else rows
    return count_known(members, EVER)
