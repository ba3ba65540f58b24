"""After a failed first session: repeat the same maneuver, or change to another?

Estimated is the target trial of positional episodes whose first session was followed by a positive
deciding test, with the day of the second session as time zero: the share resolved by each day, and
the mean days to resolution up to a horizon, if all had repeated the same families on the same side,
and if all had changed to other families, whatever treatment followed (intention to treat). Whoever
had no second session, or one that was neither of the two, is counted and not compared. Weights make
the arms alike in what was known at the choice (pipeline/analyses/order/propensity.py); without them
the same numbers are naive. One family against repeating is asked of those who did either and whose
first session was of other families. Whoever had next to no probability of one of the two is left
out, and said.

Limits come from leaving out one site at a time, the weights anew each time, each on a scale that it
cannot leave (pipeline/statistics/scales.py), or from what few episodes leave open where that
reaches further (arms.py, pipeline/statistics/two_shares.py): no number is held back for its
outcome, but for a ratio of a share of none. Resolution is only known to lie in an interval.
Associations under the assumption that nothing else moved the choice and the outcome; the E-value
says how strong it would have to be. Who was not seen again says nothing of resolution; if that goes
along with the outcome beyond chance, the shares are off.

Tests are taken to come independently of resolution. They do not where the test that shows a failure
is followed by another session at once: whom that session helps is first seen well at the next test,
maybe weeks later. Just after such a test the shares are then too low, more so in the arm with more
failures. `at_once_` rows show the other end: each resolution between two tests that had a session
between them is taken to be on the day after that session, as if maneuvers acted at once and nobody
recovered without. In large simulated pools the true course lay between (tests/recovery/README.md);
the data cannot tell where.
"""

import re
from collections.abc import Iterator

import numpy as np
import pandas as pd
from statsmodels.stats.multitest import multipletests

from pipeline.analyses.cells import find_members
from pipeline.analyses.order.arms import Arm, Measure, measure_arms
from pipeline.analyses.order.balance import count_compared, state_balance, state_weights
from pipeline.analyses.order.choices import list_choices, list_chosen_families
from pipeline.analyses.order.propensity import Contrast, weigh_choice
from pipeline.analyses.order.ways import WEIGHTED, Way, fit_arms, list_ways, say_late
from pipeline.analyses.resolution.curves import WORTH_SAYING
from pipeline.statistics.e_value import find_e_value, find_limit_e_value
from pipeline.statistics.guard import Refusal
from pipeline.statistics.npmle_search import NotConverged
from pipeline.statistics.scales import RATIO, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas import codes
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.order_plan import SecondLine
from schemas.study import Config, Study

POPULATION = "positional, first session failed"
NAMED_BY_RESPONSE = Refusal(
    "not_identified", "circular: the arm is named by the response that is compared"
)
E_VALUE = "E-value of the ratio of shares resolved"
ARMS = ("repeat", "change")
NEEDED = ("site", "choice", "families", "to_families", "left_days", "right_days", "treated_days")


def estimate_second_line(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    config: Config,
) -> Frame[Estimates]:
    """Compare changing with repeating after a failed first session.

    Returns
    -------
    Frame[Estimates]
        For all (stratum all) and each variant of the plan: how many chose what, the outcomes of
        both arms and their contrasts, weighted and naive, the weights and the balance; then the
        same for each family to which enough changed (change_to=...).
    """
    study, plan = config.study, config.study.second_line
    rows = list_choices(episodes, adjudications, attempts, spells, study.resolution.primary, config)
    stated: list[Fields] = []
    for variant, part in _split_variants(rows, study):
        named = None if variant == "all" else f"variant={variant}"
        circular = named is not None and study.variants[variant].is_circular
        stated += _count_choices(part, named or "all")
        compared = _keep_compared(part, plan)
        stated += _compare(
            compared, named or "all", NAMED_BY_RESPONSE if circular else None, config
        )
        for family in [] if circular else list_chosen_families(compared):
            to_family = _restrict_to_family(compared, family)
            if to_family["choice"].eq("change").sum() >= study.guards.min_episodes:
                stratum = ",".join(filter(None, [named, f"change_to={family}"]))
                stated += _compare(to_family, stratum, None, config)
    _adjust(stated, plan)
    shared = {
        "analysis": "second_line",
        "population": POPULATION,
        "endpoint": study.resolution.primary,
    }
    return tidy_estimates(stated, **shared)


def estimate_primary_difference(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    config: Config,
) -> tuple[dict, np.ndarray]:
    """Estimate the weighted difference of the shares resolved by the primary day, of all.

    Returns
    -------
    tuple
        The row of change minus repeat, or of why there is none, and the difference without each
        site, (sites,), empty where there is none.
    """
    study, plan = config.study, config.study.second_line
    rows = list_choices(episodes, adjudications, attempts, spells, study.resolution.primary, config)
    compared, term = _keep_compared(rows, plan), name_primary(plan)
    fields = {
        "stratum": "all",
        "method": WEIGHTED,
        "population": POPULATION,
        "endpoint": study.resolution.primary,
    }
    refused = fields | count_compared(compared) | {"comparison": "repeat"}
    contrast = weigh_choice(compared, plan.terms, plan.truncate, study.guards, calibrated=True)
    if isinstance(contrast, Refusal):
        return withhold(term, contrast.status, contrast.note, **refused), np.array([])
    way = next(list_ways(contrast))
    try:
        arms = fit_arms(contrast, way, plan.horizon_day)
    except NotConverged as failure:
        return withhold(term, "not_converged", str(failure), **refused), np.array([])
    row = next(
        row for row in _state_outcomes(contrast, arms, way, fields, config) if row["term"] == term
    )
    row.pop("p_value", None)
    measure = next(
        each for each in measure_arms(*arms, plan.days, plan.horizon_day) if each.term == term
    )
    return row, measure.values[1:] if row["status"] == "ok" else np.array([])


def _keep_compared(rows: pd.DataFrame, plan: SecondLine) -> pd.DataFrame:
    """Those who repeated or changed, with what a comparison needs of them."""
    columns = list(dict.fromkeys((*NEEDED, *plan.terms)))
    return rows.loc[rows["choice"].isin(ARMS), columns].reset_index(drop=True)


def _split_variants(rows: pd.DataFrame, study: Study) -> Iterator[tuple[str, pd.DataFrame]]:
    yield "all", rows
    for name in study.second_line.variants:
        yield name, rows[find_members(rows, study.variants[name])]


def _restrict_to_family(compared: pd.DataFrame, family: str) -> pd.DataFrame:
    """Those who changed to a session of this family, and those who repeated another."""
    changed = compared["choice"].eq("change") & compared["to_families"].eq(family)
    repeated = compared["choice"].eq("repeat") & ~compared["families"].str.split().map(
        lambda names: family in names
    )
    return compared[changed | repeated].reset_index(drop=True)


def _count_choices(rows: pd.DataFrame, stratum: str) -> Iterator[dict]:
    """How many stood at the choice, what they did, and how many of those compared were not seen
    again."""
    groups = {"failed_first_session": rows} | {
        f"choice_{choice}": rows[rows["choice"].eq(choice)] for choice in codes.CHOICE
    }
    unseen = rows["left_days"].eq(0) & np.isinf(rows["right_days"])
    groups |= {f"not_seen_again_{arm}": rows[rows["choice"].eq(arm) & unseen] for arm in ARMS}
    groups |= {
        f"changed_to_{name}": rows[rows["choice"].eq("change") & rows["to_families"].eq(name)]
        for name in list_chosen_families(rows)
    }
    for term, members in groups.items():
        fields = {"n_episodes": len(members), **count_sites(members)}
        yield state(term, len(members), stratum=stratum, method="count", **fields)


def _compare(
    rows: pd.DataFrame, stratum: str, refusal: Refusal | None, config: Config
) -> list[dict]:
    """All rows of one comparison, or why there is none."""
    plan, fields = config.study.second_line, {"stratum": stratum} | count_compared(rows)
    contrast = refusal or weigh_choice(
        rows, plan.terms, plan.truncate, config.study.guards, calibrated=True
    )
    if isinstance(contrast, Refusal):
        refused = fields | {"method": WEIGHTED, "comparison": "repeat"}
        return [
            withhold(term, contrast.status, contrast.note, **refused)
            for term in _name_contrasts(plan)
        ]
    stated = []
    for way in list_ways(contrast):
        way_fields = {"stratum": stratum, "method": way.method}
        try:
            arms = fit_arms(contrast, way, plan.horizon_day)
        except NotConverged as failure:
            way_fields |= count_compared(contrast.rows) | {"comparison": "repeat"}
            terms = [
                way.prefix + term for term in _name_contrasts(plan) if re.match(way.pattern, term)
            ]
            stated += [
                withhold(term, "not_converged", str(failure), **way_fields) for term in terms
            ]
            continue
        stated += [
            row | {"term": way.prefix + row["term"]}
            for row in _state_outcomes(contrast, arms, way, way_fields, config)
        ]
    return [*stated, *state_weights(contrast, stratum), *state_balance(contrast, stratum, plan)]


def _state_outcomes(
    contrast: Contrast, arms: tuple[Arm, Arm], way: Way, fields: dict, config: Config
) -> Iterator[dict]:
    """What became of both arms and how they differ, whatever the outcome;
    E-values of the ratios."""
    plan = config.study.second_line
    left_out = (
        "without those whose probability of one choice was next to none"
        if contrast.left_out
        else None
    )
    for measure in measure_arms(*arms, plan.days, plan.horizon_day):
        if not re.match(way.pattern, measure.term):
            continue
        row_fields = fields | _count_behind(contrast, measure, arms)
        refusal = measure.check()
        if refusal:
            yield withhold(measure.term, refusal.status, refusal.note, **row_fields)
            continue
        error, low, high, p = measure.limit()
        honest = way.method == WEIGHTED
        late = (
            say_late(contrast, measure.day) if honest and measure.term.startswith("risk_") else None
        )
        note = "; ".join(filter(None, [_say_vague(measure), late, left_out])) or None
        tested = {"p_value": p} if honest and measure.term == name_primary(plan) else {}
        bounds = {"std_error": error if error > 0 else None, "note": note} | tested
        row = state_within(
            measure.term,
            measure.values[0],
            low,
            high,
            measure.scale,
            config.study.guards,
            **bounds,
            **row_fields,
        )
        yield row
        if honest and measure.scale is RATIO and row["status"] == "ok":
            pair = find_e_value(measure.values[0]), find_limit_e_value(low, high)
            for term, value in zip(("e_value", "e_value_limit"), pair, strict=True):
                yield state(f"{term}_day_{measure.day}", value, **row_fields | {"method": E_VALUE})


def _say_vague(measure: Measure) -> str | None:
    """What the data of each arm allow by the day, where they do not say it."""
    allowed = [arm.allow(measure.day) for arm in measure.arms]
    ranges = [
        f"{least:.3f} to {most:.3f}" for least, most in allowed if most - least >= WORTH_SAYING
    ]
    return (
        f"by day {measure.day} the data allow shares of {' and of '.join(ranges)}"
        if ranges
        else None
    )


def _count_behind(contrast: Contrast, measure: Measure, arms: tuple[Arm, Arm]) -> dict:
    """Episodes and sites of the arms behind a number, how many are known to be resolved by its day,
    and what it is compared with."""
    inside = [arm in measure.arms for arm in arms]
    members = contrast.rows[np.where(contrast.changed, inside[1], inside[0])]
    events = sum(arm.count(measure.day)[0] for arm in measure.arms)
    counts = {"n_episodes": len(members), "n_events": events, **count_sites(members)}
    return counts | {"comparison": "repeat" if all(inside) else None}


def _adjust(stated: list[dict], plan: SecondLine) -> None:
    """P-values adjusted over the pre-specified family: the primary difference of each variant that
    has one (Holm S. Scand J Stat 1979;6:65-70). Other comparisons are exploratory and keep none."""
    family = {f"variant={name}" for name in plan.variants}
    tested = [row for row in stated if "p_value" in row]
    usable = [row for row in tested if row["stratum"] in family]
    adjusted = multipletests([row["p_value"] for row in usable], method="holm")[1] if usable else []
    for row in tested:
        if row["stratum"] not in family:
            del row["p_value"]
    for row, p in zip(usable, adjusted, strict=True):
        row["p_adjusted"] = p


def name_primary(plan: SecondLine) -> str:
    """The term of the difference that the plan names as primary."""
    return f"risk_difference_day_{plan.primary_day}"


def _name_contrasts(plan: SecondLine) -> list[str]:
    return [
        *(f"risk_{kind}_day_{day}" for day in plan.days for kind in ("difference", "ratio")),
        "mean_days_difference",
    ]
