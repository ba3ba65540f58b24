"""Which maneuver in which order: strategies compared by the g-formula.

Estimated is, for patients of one variant, what would become of them had all been treated by a
strategy: the first session on day 0, a test on every `retest_days`-th day of the plan, a further
session on the day of each positive test, `sessions` at the most. A strategy names the family of the
first sessions, and after how many failures which other family takes its place: the same again until
negative; another after one failure, or after two. Each is compared with the usual one, the same
again with the family that most of the variant's first sessions used.

The rates of resolution are those of the model of resolution and of tests with rates by variant
(pipeline/analyses/order/variant_fit.py). The g-formula (pipeline/statistics/g_formula.py) takes
those who failed under the same sessions to be alike, whatever was done next: who was changed to
another maneuver because the vertigo was strong, or the debris looked stuck, makes changing look
worse than it is. The same differences by clones and weights (weighted_strategies) and the
comparison after a failed first session (second_line) weigh for what was recorded of that. How many
sessions with an adverse event an order would bring is found in
pipeline/analyses/order/session_harm.py.

A strategy has a number where each of its kinds of session was given to as many episodes, at as many
sites, as the plan wants; and none of a day by which fewer of those who began with its family were
tested or asked, or that the form of the natural rate alone would tell, as in
pipeline/analyses/resolution/joint.py. Limits are by leaving out one site at a time, one Newton step
from the fit of all (refit_without of pipeline/statistics/hidden_end_influence.py), and by the
information of the model, taking people to be independent; the wider count.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.analyses.order.needed import METHOD as NEEDED_BY
from pipeline.analyses.order.needed import count_years, state_needed
from pipeline.analyses.order.session_harm import (
    HARM,
    HarmShare,
    Kind,
    compare_harm,
    list_kinds,
    list_session_events,
    share_harm,
    state_harm,
)
from pipeline.analyses.order.strategy import (
    COMPARED,
    DIFFERENCE,
    Measure,
    Strategy,
    find_strategies,
    list_measures,
)
from pipeline.analyses.order.strategy_samples import (
    Followed,
    Samples,
    fit_samples,
    follow_strategy,
    limit_numbers,
)
from pipeline.analyses.order.variant_fit import VariantCourses, lay_out_variants
from pipeline.analyses.resolution.courses import FIRST
from pipeline.analyses.resolution.curves import NOBODY
from pipeline.analyses.resolution.fitted import FORM_ALONE
from pipeline.statistics.g_formula import Functional
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.scales import Scale, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.estimate import Estimates
from schemas.study import Config, Study

METHOD = (
    "g-formula from the model of resolution and of tests; limits by leaving out each site, or by "
    "the information of the model where wider"
)
NO_USUAL = Refusal("not_identified", "the usual strategy has no number to compare with")


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
    laid = lay_out_variants(
        examinations, findings, treatments, followups, adjudications, spells, config
    )
    return tidy_estimates(
        list(_estimate(laid, treatments, count_years(episodes), config.study)),
        analysis="strategies",
        population="positional",
        endpoint=config.study.resolution.primary,
        method=METHOD,
    )


def _estimate(
    laid: VariantCourses, treatments: Frame[Treatments], years: int, study: Study
) -> Iterator[Fields]:
    samples = fit_samples(laid, study)
    sessions = list_session_events(laid.days.sessions, laid.members, treatments)
    sessions = sessions.assign(variant=laid.variants.to_numpy()[sessions["row"]])
    harm = share_harm(sessions, np.unique(laid.sites), study)
    for variant in study.strategies.variants:
        of_variant = sessions[sessions["variant"].eq(variant).fillna(False)]
        strategies = find_strategies(of_variant, study.guards.min_episodes)
        if strategies:
            begun = of_variant[of_variant["kind"].eq(FIRST)].groupby("family")["row"]
            heard = {family: laid.count_heard(rows.to_numpy()) for family, rows in begun}
            yield from _compare(variant, strategies, of_variant, samples, heard, harm, years, study)


def _compare(
    variant: str,
    strategies: list[Strategy],
    sessions: pd.DataFrame,
    samples: Samples | Refusal,
    heard: dict[str, np.ndarray],
    harm: dict[Kind, HarmShare],
    years: int,
    study: Study,
) -> Iterator[Fields]:
    """All rows of one variant; `sessions` are those of its episodes, and the first of the
    strategies is the usual one. `heard` says how many who began with a family had been tested or
    asked by each day from 1 on."""
    measures = list_measures(study.strategies, study.curves.horizon_day)
    usual: tuple[Followed, np.ndarray] | None = None
    usual_kinds = list_kinds(strategies[0], study.strategies)
    for strategy in strategies:
        counted, refusal = _find_rarest(strategy, sessions, study)
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
        followed = follow_strategy(variant, strategy, samples, study.strategies)
        watched = followed, heard[strategy.first]
        for term, measure in measures.items():
            numbers = [measure.of_course(course) for course in followed.courses]
            unknown = _find_unknown(measure, samples, study, watched)
            yield _state(term, numbers, measure.scale, samples, unknown, fields, study)
        kinds = list_kinds(strategy, study.strategies)
        stratum: Fields = {"stratum": counted["stratum"]}
        yield state_harm(kinds, followed, samples, harm, stratum, study)
        if is_usual:
            usual = watched
        elif usual is None:
            yield from _withhold(measures, DIFFERENCE, NO_USUAL, fields | COMPARED)
        else:
            rows = list(_state_differences(measures, watched, usual, samples, fields, study))
            yield from rows
            pair = (kinds, followed), (usual_kinds, usual[0])
            yield compare_harm(*pair, samples, harm, stratum | COMPARED, study)
            if counted["n_episodes"] >= study.disclosure.least_shown:
                yield from _state_needed(rows, counted | COMPARED, years, study)


def _withhold(
    measures: dict[str, Measure], prefix: str, reason: Refusal, fields: Fields
) -> Iterator[Fields]:
    for term in (*measures, HARM):
        yield withhold(prefix + term, reason.status, reason.note, **fields)


def _state_differences(
    measures: dict[str, Measure],
    watched: tuple[Followed, np.ndarray],
    usual: tuple[Followed, np.ndarray],
    samples: Samples,
    fields: Fields,
    study: Study,
) -> Iterator[Fields]:
    """By how much a strategy differs from the usual one; nothing of days until which it is the
    same."""
    for term, measure in measures.items():
        days = measure.weight != 0
        courses, of_usual = watched[0].courses, usual[0].courses
        if (courses[0].share[days] == of_usual[0].share[days]).all():
            continue
        pairs = zip(courses, of_usual, strict=True)
        numbers = [measure.of_course(one).minus(measure.of_course(other)) for one, other in pairs]
        unknown = _find_unknown(measure, samples, study, watched, usual)
        row_fields = fields | COMPARED
        name, scale = DIFFERENCE + term, measure.difference
        yield _state(name, numbers, scale, samples, unknown, row_fields, study)


def _find_unknown(
    measure: Measure, samples: Samples, study: Study, *watched: tuple[Followed, np.ndarray]
) -> Refusal | None:
    """Refuse what nobody was tested early enough to tell of, or what the form of the natural rate
    alone would tell, under any of these strategies."""
    least = study.guards.min_episodes
    if any(heard[measure.last_day - 1] < least for _, heard in watched):
        return NOBODY
    alone = min(followed.count_people(measure, samples) for followed, _ in watched) < least
    return FORM_ALONE if alone else None


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
    strategy: Strategy, sessions: pd.DataFrame, study: Study
) -> tuple[Fields, Refusal | None]:
    """How many episodes, at how many sites, were given the rarest kind of session of a strategy,
    and whether they are too few."""
    counts = []
    for kind, family in dict.fromkeys(strategy.list_sessions(study.strategies.sessions)):
        given = sessions[sessions["kind"].eq(kind) & sessions["family"].eq(family)]
        counts.append(given.drop_duplicates("row"))
    rarest = min(counts, key=len)
    fields: Fields = {"n_episodes": len(rarest), **count_sites(rarest)}
    least_sites = min(given["site"].nunique() for given in counts)
    refusal = check_size(len(rarest), None, study.guards) or check_sites(least_sites, study.guards)
    return fields, refusal


def _state(
    term: str,
    numbers: list[Functional],
    scale: Scale,
    samples: Samples,
    refusal: Refusal | None,
    fields: Fields,
    study: Study,
) -> Fields:
    """A row with a number and its limits, or with why there is none."""
    if refusal:
        return withhold(term, refusal.status, refusal.note, **fields)
    error, low, high = limit_numbers(numbers, scale, samples)
    value = numbers[0].value
    return state_within(term, value, low, high, scale, study.guards, std_error=error, **fields)
