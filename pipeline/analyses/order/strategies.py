"""Which maneuver in which order: strategies compared by the g-formula.

Estimated is, for patients of one variant, what would become of them had all been treated by a
strategy: the first session on day 0, a test on every `retest_days`-th day of the plan, a further
session on the day of each positive test, `sessions` at the most. A strategy names the family of the
first sessions, and after how many failures which other family takes its place: the same again until
negative; another after one failure, or after two. Each is compared with the usual one, the same
again with the family that most of the variant's first sessions used.

The rates of resolution are those of the model of resolution and of tests
(pipeline/analyses/resolution/joint.py), fitted here with rates by the variants of the plan and with
jumps by family and by kind of session: the first one, a later one of the same family, or of
another family than the first. So all episodes of a variant lend strength, not only those who were
treated by a whole strategy, and the days on which they were tested are evidence. Each rate is drawn
to that of its canal and kind of session, as if SHARED_ENDS resolutions had been seen at that rate;
so are two families to each other. The g-formula (pipeline/statistics/g_formula.py) takes those who
failed under the same sessions to be alike, whatever was done next: who was changed to another
maneuver because the vertigo was strong, or the debris looked stuck, makes changing look worse than
it is. The same differences by clones and weights (weighted_strategies) and the comparison after a
failed first session (second_line) weigh for what was recorded of that.

A strategy has a number where each of its kinds of session was given to as many episodes, at as many
sites, as the plan wants. Limits are by leaving out one site at a time, one Newton step from the fit
of all (refit_without of pipeline/statistics/hidden_end_influence.py), and by the information of the
model, taking people to be independent; the wider count.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.analyses.cells import find_members
from pipeline.analyses.order.needed import METHOD as NEEDED_BY
from pipeline.analyses.order.needed import count_years, state_needed
from pipeline.analyses.order.strategy import (
    COMPARED,
    DIFFERENCE,
    Measure,
    Strategy,
    find_strategies,
    list_measures,
)
from pipeline.analyses.resolution.courses import (
    ANOTHER,
    BANDS,
    BETWEEN,
    FIRST,
    SAME,
    Classes,
    Days,
    classify_canals,
    lay_out_days,
    list_members,
)
from pipeline.analyses.resolution.fitted import fit_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.g_formula import Course, Functional, count_exposure, follow
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.hidden_end_influence import know_rates, refit_without
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import (
    Scale,
    limit_by_error,
    limit_by_sites,
    state_within,
)
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.order_plan import Strategies
from schemas.study import Config, Study

METHOD = (
    "g-formula from the model of resolution and of tests; limits by leaving out each site, or by "
    "the information of the model where wider"
)
NO_USUAL = Refusal("not_identified", "the usual strategy has no number to compare with")


@dataclass(frozen=True)
class Samples:
    """The rates of all and without each site, and how well those of all are known.

    Attributes
    ----------
    classes
        What the rates are of.
    rates
        Natural rates, then jumps; the first row of all, each other one without a site, (1 + sites,
        rates).
    covariance
        Of the logarithms of the rates of all, (rates, rates).
    """

    classes: Classes
    rates: np.ndarray
    covariance: np.ndarray


def estimate_strategies(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Compare strategies by variant.

    Returns
    -------
    Frame[Estimates]
        For each variant of the plan and each strategy of families in use there: how many were given
        its rarest kind of session, which says whether there are further numbers; the shares
        resolved by the days of the plan and after one session, two, and so on, the mean days with
        vertigo and the mean number of sessions; by how much each differs from the usual one; and
        about how many further episodes are needed until a difference on the last of those days is
        known to as many points as the plan calls an answer.
    """
    members = list_members(adjudications, spells)
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    reasons = list_examined_days(examinations)
    days = relate_to_first(lay_out_days(members, tests, reasons, treatments, followups, config))
    return tidy_estimates(
        list(_estimate(members, days, count_years(episodes), config.study)),
        analysis="strategies",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


def relate_to_first(days: Days) -> Days:
    """The same days with each later session's kind by the family of the first session: the same
    one, or another."""
    sessions = days.sessions
    first = sessions[sessions["kind"].eq(FIRST)].set_index("row")["family"]
    same = sessions["family"].eq(sessions["row"].map(first))
    kind = sessions["kind"].where(sessions["kind"].eq(FIRST), np.where(same, SAME, ANOTHER))
    return replace(days, sessions=sessions.assign(kind=kind))


def name_variants(members: pd.DataFrame, study: Study) -> pd.Series:
    """The variant of the plan to which each member belongs; missing where it is none."""
    named = pd.Series(pd.NA, index=members.index, dtype="string")
    for name in study.strategies.variants:
        named = named.mask(find_members(members, study.variants[name]), name)
    return named


def _estimate(members: pd.DataFrame, days: Days, years: int, study: Study) -> Iterator[Fields]:
    variants = name_variants(members, study)
    samples = _fit_samples(members, days, variants, study)
    sessions = days.sessions.assign(
        variant=variants.to_numpy()[days.sessions["row"]],
        site=members["site"].to_numpy(str)[days.sessions["row"]],
    )
    for variant in study.strategies.variants:
        of_variant = sessions[sessions["variant"].eq(variant).fillna(False)]
        strategies = find_strategies(of_variant, study.guards.min_episodes)
        if strategies:
            yield from _compare(variant, strategies, of_variant, samples, years, study)


def _fit_samples(
    members: pd.DataFrame, days: Days, variants: pd.Series, study: Study
) -> Samples | Refusal:
    """The fit of all, and what it would be without each site."""
    sites = members["site"].to_numpy(str)
    refusal = check_sites(len(np.unique(sites)), study.guards)
    if refusal:
        return refusal
    canals = pd.Series(classify_canals(members), index=members.index)
    named = canals.where(variants.isna(), canals + BETWEEN + variants.fillna("")).to_numpy(str)
    try:
        fitted = fit_courses(members, days, study, named, study.guards.min_episodes)
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))
    samples = [fitted.fit.rates, *refit_without(fitted.courses, fitted.fit, sites)]
    rates = np.array([np.r_[each.natural, each.jump[1:]] for each in samples])
    return Samples(fitted.classes, rates, know_rates(fitted.courses, fitted.fit))


def _compare(
    variant: str,
    strategies: list[Strategy],
    sessions: pd.DataFrame,
    samples: Samples | Refusal,
    years: int,
    study: Study,
) -> Iterator[Fields]:
    """All rows of one variant; `sessions` are those of its episodes, and the first of the
    strategies is the usual one."""
    measures = list_measures(study.strategies, study.curves.horizon_day)
    usual: list[Course] | None = None
    for strategy in strategies:
        counted, refusal = _find_rarest(variant, strategy, sessions, study)
        counted["stratum"] = f"variant={variant},strategy={strategy.name}"
        yield state("rarest_session", counted["n_episodes"], **counted | {"method": "count"})
        fields = {name: counted[name] for name in ("stratum", "n_sites", "by_site")}
        is_usual = strategy == strategies[0]
        if isinstance(samples, Refusal) or refusal:
            reason = samples if isinstance(samples, Refusal) else refusal or NO_USUAL
            yield from _withhold(measures, "", reason, fields)
            if not is_usual:
                yield from _withhold(measures, DIFFERENCE, reason, fields | COMPARED)
            continue
        courses = _follow(variant, strategy, samples, study.strategies)
        for term, measure in measures.items():
            numbers = [measure.of_course(course) for course in courses]
            yield _state(term, numbers, measure.scale, samples, fields, study)
        if is_usual:
            usual = courses
        elif usual is None:
            yield from _withhold(measures, DIFFERENCE, NO_USUAL, fields | COMPARED)
        else:
            rows = list(_state_differences(measures, courses, usual, samples, fields, study))
            yield from rows
            if counted["n_episodes"] >= study.disclosure.least_shown:
                yield from _state_needed(rows, counted | COMPARED, years, study)


def _withhold(
    measures: dict[str, Measure], prefix: str, reason: Refusal, fields: Fields
) -> Iterator[Fields]:
    for term in measures:
        yield withhold(prefix + term, reason.status, reason.note, **fields)


def _state_differences(
    measures: dict[str, Measure],
    courses: list[Course],
    usual: list[Course],
    samples: Samples,
    fields: Fields,
    study: Study,
) -> Iterator[Fields]:
    """By how much a strategy differs from the usual one; nothing of days until which it is the
    same."""
    for term, measure in measures.items():
        days = measure.weight != 0
        if (courses[0].share[days] == usual[0].share[days]).all():
            continue
        pairs = zip(courses, usual, strict=True)
        numbers = [measure.of_course(one).minus(measure.of_course(other)) for one, other in pairs]
        row_fields = fields | COMPARED
        yield _state(DIFFERENCE + term, numbers, measure.difference, samples, row_fields, study)


def _state_needed(rows: list[Fields], fields: Fields, years: int, study: Study) -> Iterator[Fields]:
    """About how many further episodes would tell the difference on the last day of the plan, given
    how many had the rarest kind of session."""
    last = f"{DIFFERENCE}resolved_by_day_{study.strategies.days[-1]}"
    for row in rows:
        if row["term"] == last and row.get("lower") is not None:
            yield from state_needed(
                fields["n_episodes"],
                row["upper"] - row["lower"],
                study.first_choice.answer_points / 100,
                years,
                study.disclosure,
                **fields | {"method": NEEDED_BY},
            )


def _find_rarest(
    variant: str, strategy: Strategy, sessions: pd.DataFrame, study: Study
) -> tuple[Fields, Refusal | None]:
    """How many episodes, at how many sites, were given the rarest kind of session of a strategy,
    and whether they are too few."""
    counts = []
    for jump in dict.fromkeys(strategy.list_jumps(variant, study.strategies.sessions)):
        given = sessions[sessions["kind"].eq(jump.kind) & sessions["family"].eq(jump.family)]
        counts.append(given.drop_duplicates("row")["site"])
    rarest = min(counts, key=len)
    fields: Fields = {"n_episodes": len(rarest), **count_sites(rarest)}
    least_sites = min(sites.nunique() for sites in counts)
    refusal = check_size(len(rarest), None, study.guards) or check_sites(least_sites, study.guards)
    return fields, refusal


def _follow(variant: str, strategy: Strategy, samples: Samples, plan: Strategies) -> list[Course]:
    """The course under a strategy by each sample."""
    classes = samples.classes
    name = next(each for each in classes.variants if each.split(BETWEEN)[-1] == variant)
    horizon = classes.natural.shape[1]
    band = np.searchsorted(BANDS, np.arange(1, horizon + 1), side="right") - 1
    natural = classes.variants.index(name) * len(BANDS) + band
    actions = {
        k * plan.retest_days: 1 + classes.jumps.index(jump)
        for k, jump in enumerate(strategy.list_jumps(name, plan.sessions))
    }
    n_natural = len(classes.variants) * len(BANDS)
    exposure = count_exposure(natural, actions, n_natural, samples.rates.shape[1])
    return [follow(exposure, rates) for rates in samples.rates]


def _state(
    term: str,
    numbers: list[Functional],
    scale: Scale,
    samples: Samples,
    fields: Fields,
    study: Study,
) -> Fields:
    """A row with a number, and the wider limits of the two kinds."""
    value, without = numbers[0].value, np.array([number.value for number in numbers[1:]])
    error, *by_sites = limit_by_sites(value, without, scale)
    of_model = np.sqrt(numbers[0].variance(samples.covariance))
    by_model = limit_by_error(value, of_model, scale, None)
    low, high = np.fmin(by_sites[0], by_model[0]), np.fmax(by_sites[1], by_model[1])
    return state_within(
        term, value, low, high, scale, study.guards, std_error=max(error, of_model), **fields
    )
