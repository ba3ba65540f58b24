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
    Regression,
    RegressionEstimates,
    compare_with_none,
    design_regression,
    estimate_regression,
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
    """Estimate the time ratios.

    Returns
    -------
    Frame[Estimates]
        aic_<family> of each distribution; <term>=<class>, the ratio of each class against its
        reference; scale; effect_of_<term>, the test of each covariate as a whole; and
        fitted_share_less_observed_by_day_<t>.
    """
    study = config.study
    rows = select_covered(episodes, spells, adjudications, attempts, study.resolution.primary)
    stated = list(regress_resolution(rows, config))
    return tidy_estimates(
        stated,
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
    covariates = describe_covariates(episodes, adjudications, attempts)
    rows = followed[[*EPISODE, "left_days", "right_days"]].merge(
        covariates, on=EPISODE, validate="one_to_one"
    )
    return rows.sort_values(EPISODE, ignore_index=True)


def fit_families(
    regression: Regression, families: tuple[str, ...]
) -> tuple[dict[str, AftFit | Refusal], str | None]:
    """The fit of each distribution, and the one of least AIC; none where no distribution fits."""
    fits = {family: fit_aft(regression.patterns, family) for family in families}
    usable = {family: fit for family, fit in fits.items() if isinstance(fit, AftFit)}
    return fits, min(usable, key=lambda family: usable[family].aic, default=None)


def regress_resolution(rows: pd.DataFrame, config: Config) -> Iterator[dict]:
    """State all numbers of the regression; the order of the rows changes nothing.

    Fewer than `min_events` resolutions are too few for any ratio, which would rest on a handful of
    times; the shares stay (pipeline/analyses/resolution/curves.py).

    Parameters
    ----------
    rows
        Spells by `select_covered`.
    config
        Terms, distributions, days and thresholds.
    """
    study = config.study
    counts = count_known(rows, EVER)
    fields = {"stratum": "all", "method": FIT.format(family="no"), **counts}
    refusal = check_size(counts["n_episodes"], counts["n_events"], study.guards)
    if refusal:
        yield from _withhold_all(study.regression.terms, refusal, fields)
        return
    regression = design_regression(
        rows.sort_values(EPISODE, ignore_index=True),
        study.regression.terms,
        study.curves.days,
        study.guards,
    )
    fits, chosen = fit_families(regression, study.regression.families)
    yield from _state_aic(fits, chosen, fields)
    fit = fits[chosen or next(iter(fits))]
    if isinstance(fit, Refusal):
        yield from _withhold_all(study.regression.terms, fit, fields)
        return
    estimates = estimate_regression(regression, fit, study.guards)
    method = f"{FIT.format(family=chosen)}; {BY_SITE if estimates.by_site else BY_MODEL}"
    fields |= {"method": method}
    yield from _state_terms(regression, estimates, fields, study.guards)
    yield from _state_factors(regression, estimates, study.regression.terms, fields)
    yield from _state_fit(regression, estimates, fields, study.guards)


def _state_aic(
    fits: dict[str, AftFit | Refusal], chosen: str | None, fields: dict
) -> Iterator[dict]:
    for family, fit in fits.items():
        row_fields = fields | {"method": f"{family}, maximum likelihood"}
        if isinstance(fit, Refusal):
            yield withhold(f"aic_{family}", fit.status, fit.note, **row_fields)
        else:
            yield state(
                f"aic_{family}",
                fit.aic,
                note="the least: reported" if family == chosen else None,
                **row_fields,
            )


def _state_terms(
    regression: Regression, estimates: RegressionEstimates, fields: dict, guards: Guards
) -> Iterator[dict]:
    """Time ratios against the reference, or for one more of a numeric term; the scale;
    and what has no coefficient."""
    for k, name in enumerate(regression.names):
        if name == "intercept" or name in regression.design.unnamed:
            continue
        alone = None if estimates.by_site else ALONE
        note = "; ".join(filter(None, [ERROR_SCALE, alone, say_shared(regression.design, name)]))
        term = name.split("=")[0]
        against = (
            "one less" if term in NUMERIC else f"{term}={regression.design.references.get(term)}"
        )
        row_fields = fields | {"comparison": against if name != "scale" else None}
        if name in regression.design.counts.index:
            row_fields |= regression.design.counts.loc[[name]].to_dict("records")[0]
        refusal = estimates.check(k, row_fields["n_sites"], guards)
        if refusal:
            yield withhold(name, refusal.status, refusal.note, **row_fields)
            continue
        low, high = np.exp(estimates.limit(k, row_fields["n_sites"]))
        row_fields |= {"std_error": estimates.error(k), "note": note}
        if name != "scale":
            row_fields |= {"p_value": estimates.compare(k, row_fields["n_sites"])}
        yield state_within(name, np.exp(estimates.full[k]), low, high, RATIO, guards, **row_fields)
    for name, refusal in regression.design.refused.items():
        if name not in regression.design.matrix:
            yield withhold(
                name, refusal.status, refusal.note, **fields | _count_class(regression.rows, name)
            )


def _state_factors(
    regression: Regression, estimates: RegressionEstimates, terms: tuple[str, ...], fields: dict
) -> Iterator[dict]:
    """Each covariate as a whole: the statistic of no difference between its classes,
    p-values adjusted over the covariates (Holm)."""
    row_fields = fields | {"comparison": "no difference between classes"}
    tests: dict[str, tuple[float, float] | Refusal] = {}
    notes: dict[str, str | None] = {}
    for term in terms:
        names = [
            name for name in regression.design.matrix if name == term or name.startswith(f"{term}=")
        ]
        columns = [regression.names.index(name) for name in names]
        usable = [
            k for k in columns if np.isfinite(estimates.full[k]) and np.isfinite(estimates.error(k))
        ]
        notes[term] = "of the classes that have a number" if len(usable) < len(columns) else None
        if usable:
            covariance = estimates.covariance[np.ix_(usable, usable)]
            tests[term] = compare_with_none(
                estimates.full[usable], covariance, estimates.n_sites if estimates.by_site else None
            )
        else:
            tests[term] = RESTS_ON_ONE if columns else regression.design.refused.get(term, FOLLOWS)
    tested = {term: result[1] for term, result in tests.items() if not isinstance(result, Refusal)}
    holm = multipletests(list(tested.values()), method="holm")[1] if tested else []
    adjusted = dict(zip(tested, holm, strict=True))
    for term, result in tests.items():
        if isinstance(result, Refusal):
            yield withhold(f"effect_of_{term}", result.status, result.note, **row_fields)
        else:
            numbers = {"p_value": result[1], "p_adjusted": adjusted[term], "note": notes[term]}
            test = (
                "F statistic (Hotelling)" if estimates.by_site else "chi-squared statistic (Wald)"
            )
            yield state(
                f"effect_of_{term}",
                result[0],
                **row_fields | numbers | {"method": f"{fields['method']}; {test}; Holm"},
            )


def _state_fit(
    regression: Regression, estimates: RegressionEstimates, fields: dict, guards: Guards
) -> Iterator[dict]:
    """The fitted share of the whole less the one that needs no distribution,
    however many are resolved by then."""
    for k, day in enumerate(regression.days, start=len(regression.names)):
        row_fields = (
            fields
            | count_known(regression.rows, day)
            | {"comparison": "estimate without a distribution (NPMLE)"}
        )
        refusal = check_sites(estimates.n_sites, guards) or estimates.check(
            k, estimates.n_sites, guards
        )
        term = f"fitted_share_less_observed_by_day_{day}"
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **row_fields)
        else:
            low, high = _limit_fit(regression, estimates, k, day, guards)
            row_fields |= {"std_error": estimates.error(k)}
            yield state_within(term, estimates.full[k], low, high, DIFFERENCE, guards, **row_fields)


def _limit_fit(
    regression: Regression, estimates: RegressionEstimates, k: int, day: int, guards: Guards
) -> tuple[float, float]:
    """By leaving out each site.

    Where few are known to be resolved by the day, or not to be, that tells little: then the limits
    are at least those of the observed share, as if the fitted one were known.
    """
    low, high, _ = limit_by_error(
        estimates.full[k], estimates.error(k), DIFFERENCE, estimates.n_sites
    )
    left, right = (regression.rows[end].to_numpy(float) for end in ("left_days", "right_days"))
    if min((right <= day).sum(), (left >= day).sum()) >= guards.min_events:
        return low, high
    # of several sites whole sites are left out
    clusters = regression.rows.assign(patient_id=regression.rows["episode_id"])
    curve = bound_curve(clusters, np.array([day]))
    below = curve.upper.share[0] - curve.lower.low[0]
    above = curve.upper.high[0] - curve.lower.share[0]
    return max(min(low, estimates.full[k] - below), -1.0), min(
        max(high, estimates.full[k] + above), 1.0
    )


def _withhold_all(terms: tuple[str, ...], refusal: Refusal, fields: dict) -> Iterator[dict]:
    for term in terms:
        yield withhold(f"effect_of_{term}", refusal.status, refusal.note, **fields)


def _count_class(rows: pd.DataFrame, name: str) -> Fields:
    """Episodes, events and sites of a class `term=class`, or of all where the term has no
    coefficient at all."""
    term, _, value = name.partition("=")
    members = rows[rows[term].astype(str).eq(value)] if value and value != OTHER else rows
    return count_known(members, EVER)
