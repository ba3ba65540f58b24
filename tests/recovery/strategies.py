"""Whether strategies come back: which order of maneuvers resolves a variant soonest.

What became of simulated patients under any order is known, since their hazards are. The pipeline
answers in two ways, by the g-formula and by clones with weights. Beside them stands what is often
done instead: episodes by the maneuvers that they happened to get, those of one family alone against
those who were changed, by what tests had shown by day 30. Who got only one session is then mostly
who was well after it.
"""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.analyses.order.session_harm import HARM
from pipeline.analyses.order.strategies import estimate_strategies
from pipeline.analyses.order.strategy import Strategy
from pipeline.analyses.order.weighted_strategies import estimate_weighted_strategies
from pipeline.derivation.tables import derive_rows
from pipeline.reports.readings import Reading, disagree
from schemas.order_plan import Strategies
from schemas.study import Config
from tests.recovery.adapters import Answer, read_answers
from tests.recovery.days_of_tests import read_curves_plan
from tests.recovery.first_courses import (
    PLACES,
    expect_harm,
    harm_sessions,
)
from tests.recovery.habits import HABITS_BY_NAME
from tests.recovery.pools import draw_pool
from tests.recovery.scenarios import SEED, VARIANTS
from tests.recovery.study import name_commit
from tests.recovery.study import read_answers as read_lines
from tests.recovery.table import tabulate
from tests.recovery.visits import draw_group

SCENARIOS = (
    "treated_at_test",
    "site_days_treated",
    "all_together",
    "drifting_wish",
    "channelled_changes",
    "prompted_changes",
)
GROUPS = 200  # of patients whose hazards are averaged: a standard error of the truth below .001
NAIVE_DAY = 30
G_FORMULA, WEIGHTS = "honest", "weights"  # the stances of both ways
Job = tuple[str, int]  # scenario, seed


@cache
def read_strategies_plan() -> Config:
    """The plan of the study with the variants that are planted."""
    plan = read_curves_plan()
    strategies = plan.study.strategies.model_copy(update={"variants": tuple(PLACES)})
    return plan.model_copy(
        update={"study": plan.study.model_copy(update={"strategies": strategies})}
    )


def list_planted() -> dict[str, list[Strategy]]:
    """The strategies of each variant, of both its families."""
    planted = {}
    for variant, place in PLACES.items():
        first, second = VARIANTS[place].families
        planted[variant] = [
            Strategy(a, b, failures)
            for a in (first, second)
            for b in (first, second)
            for failures in ((1,) if a == b else (1, 2))
        ]
    return planted


@cache
def follow_truly(scenario: str, variant: str, strategy: Strategy) -> np.ndarray:
    """The share unresolved after each day under a strategy, from day 0 to the horizon."""
    config, place = read_strategies_plan(), VARIANTS[PLACES[variant]]
    plan, habits = config.study.strategies, HABITS_BY_NAME[scenario]
    horizon = config.study.curves.horizon_day
    spent = place.rate * np.arange(horizon + 1.0)
    for k, family in enumerate(strategy.list_families(plan.sessions)):
        if k == 0:
            ratio = place.second_family * (family == place.families[1])
        else:
            ratio = place.changed * (family != strategy.first)
        spent[k * plan.retest_days + 1 :] += place.jump * np.exp(ratio)
    total, n = np.zeros(horizon + 1), 0
    for seed in range(GROUPS):
        rng = np.random.default_rng([SEED, seed])
        people = draw_group(habits.site_sd, habits.patient_sd, rng)
        strength = np.exp(people.effect[people.variant == PLACES[variant]])
        total += np.exp(-strength[:, None] * spent).sum(axis=0)
        n += len(strength)
    return total / n


def find_strategy_truths(scenario: str) -> dict[str, float]:
    """Of each term, by its stratum and name."""
    plan = read_strategies_plan().study.strategies
    truths = {}
    for variant, strategies in list_planted().items():
        courses = {s: follow_truly(scenario, variant, s) for s in strategies}
        told = {
            s: _tell(share, plan) | {HARM: expect_harm(variant, s, share, plan)}
            for s, share in courses.items()
        }
        usual = next(
            s for s in strategies if s.first == s.then == VARIANTS[PLACES[variant]].families[0]
        )
        for strategy, numbers in told.items():
            stratum = f"variant={variant},strategy={strategy.name}"
            for term, value in numbers.items():
                truths[f"{stratum} {term}"] = value
                truths[f"{stratum} difference_{term}"] = value - told[usual][term]
    return truths


def _tell(share: np.ndarray, plan: Strategies) -> dict[str, float]:
    by_day = {f"resolved_by_day_{day}": 1 - share[day] for day in plan.days}
    after = {
        f"resolved_after_{n}_sessions": 1 - share[n * plan.retest_days]
        for n in range(1, plan.sessions)
    }
    means = {
        "mean_days_with_vertigo": share[: plan.horizon_day].sum(),
        "mean_sessions": share[np.arange(plan.sessions) * plan.retest_days].sum(),
    }
    return {term: float(value) for term, value in (by_day | after | means).items()}


def answer_strategies(job: Job) -> dict:
    """The answers on one pool, those of the pipeline in both ways and the naive ones."""
    config, (scenario, seed) = read_strategies_plan(), job
    delivered, _ = draw_pool(scenario, seed)
    delivered["treatments"] = harm_sessions(delivered["treatments"], seed)
    tables = delivered | derive_rows(delivered, config, [config.study.resolution.primary])
    shared, seen = ("episodes", "treatments", "adjudications", "spells"), ("examinations",)
    seen += ("findings", "followups")
    ways = (
        (G_FORMULA, estimate_strategies, seen),
        (WEIGHTS, estimate_weighted_strategies, ("attempts",)),
    )
    answers = []
    for stance, estimate, others in ways:
        found = estimate(**{name: tables[name] for name in (*shared, *others)}, config=config)
        answers += read_answers(found.assign(comparison=pd.NA), stance)  # the term says it
    answers += answer_naively(tables, config)
    return {"scenario": scenario, "pool": seed, "answers": [list(answer) for answer in answers]}


def answer_naively(tables: dict[str, pd.DataFrame], config: Config) -> Iterator[Answer]:
    """By the families that episodes happened to get: changed less unchanged."""
    spells = tables["spells"]
    first = spells[spells["endpoint"].eq(config.study.resolution.primary) & spells["spell"].eq(1)]
    key = ["site", "episode_id"]
    attempts = tables["attempts"].sort_values([*key, "session"])
    paths = attempts.groupby(key)["family"].agg(lambda given: " ".join(dict.fromkeys(given)))
    rows = first.merge(paths.rename("path").reset_index(), on=key)
    rows = rows.merge(tables["adjudications"][[*key, "canal", "arm", "mechanism"]], on=key)
    negative = rows["right_days"].le(NAIVE_DAY)
    for variant, place in PLACES.items():
        of = VARIANTS[place]
        inside = rows["canal"].eq(of.canal) & rows["mechanism"].eq(of.mechanism)
        arms = [inside & rows["path"].eq(" ".join(path)) for path in (of.families[:1], of.families)]
        name = Strategy(*of.families, 1).name
        term = f"variant={variant},strategy={name} difference_resolved_by_day_{NAIVE_DAY}"
        difference = negative[arms[1]].mean() - negative[arms[0]].mean()
        yield Answer(term, "naive", float(difference), np.nan, np.nan)


def run_strategies(pools: int, path: Path) -> list[dict]:
    """Answer what is missing of the first `pools` pools of each scenario, and append it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    done = {(line["scenario"], line["pool"]) for line in read_lines(path)}
    commit = name_commit()
    with path.open("a", encoding="utf-8") as file:
        for seed in range(pools):
            for scenario in SCENARIOS:
                if (scenario, seed) not in done:
                    line = answer_strategies((scenario, seed)) | {"commit": commit}
                    file.write(json.dumps(line) + "\n")
                    file.flush()
    return list(read_lines(path))


def tabulate_strategies(lines: list[dict]) -> pd.DataFrame:
    """Bias, coverage and type I error by scenario, strategy, term and stance, and of the pools with
    a number both ways the part in which the two disagree."""
    truths = {scenario: find_strategy_truths(scenario) for scenario in SCENARIOS}
    columns = ["scenario", "pool", "term", "stance", "estimate", "lower", "upper", "status"]
    rows = [
        (line["scenario"], line["pool"], *answer)
        for line in lines
        for answer in line["answers"]
        if answer[0] in truths[line["scenario"]]
    ]
    answers = pd.DataFrame(rows, columns=columns).astype(
        {"estimate": float, "lower": float, "upper": float}
    )
    truth = [truths[row.scenario][row.term] for row in answers.itertuples()]
    table = tabulate(answers.assign(analysis="strategies", truth=truth))
    return table.merge(_count_disagreeing(answers), on=["scenario", "term", "stance"], how="left")


def _count_disagreeing(answers: pd.DataFrame) -> pd.DataFrame:
    """The part of pools in which both ways disagree, beside the second way."""
    key, numbers = ["scenario", "pool", "term"], ["estimate", "lower", "upper"]
    told = answers[answers["status"].eq("ok")].set_index(key)
    ways = [told.loc[told["stance"].eq(stance), numbers] for stance in (G_FORMULA, WEIGHTS)]
    both = ways[0].join(ways[1], how="inner", lsuffix="_g", rsuffix="_w").reset_index()
    apart = [
        disagree(*(Reading(*row[k : k + 3], status="ok") for k in (0, 3)))
        for row in both.drop(columns=key).to_numpy(float)
    ]
    part = both.assign(disagree=apart).groupby(["scenario", "term"])["disagree"].mean()
    return part.reset_index().assign(stance=WEIGHTS)


def write_strategies(lines: list[dict], path: Path) -> None:
    """The table as .csv below a line that names the seed and the commits of the answers."""
    commits = " ".join(sorted({line["commit"] for line in lines}))
    text = tabulate_strategies(lines).drop(columns="analysis")
    head = f"# seed {SEED}; answers of commit {commits}\n"
    path.write_text(head + text.to_csv(index=False, float_format="%.4f"), "utf-8")


COLUMNS = {  # of the table for a document: what is compared with the usual order
    "after two sessions": r" difference_resolved_after_2_sessions$",
    "by day 30": r" difference_resolved_by_day_30$",
}


def show_strategies(found: pd.DataFrame) -> str:
    """The table for a document, of differences from the usual order by the g-formula: the mean and
    the greatest absolute bias over orders, the mean coverage, the type I error where none was
    planted, and the bias of the naive way by day 30."""
    head = [f"{name}: bias, greatest, coverage" for name in COLUMNS]
    rows = [["scenario", *head, "type I error", "naive bias"], ["---"] * (len(COLUMNS) + 3)]
    for scenario in SCENARIOS:
        of_scenario = _select(found, scenario, G_FORMULA)
        cells = [_sum_up(of_scenario, pattern) for pattern in COLUMNS.values()]
        differences = of_scenario[of_scenario["term"].str.contains("difference_")]
        naive = _select(found, scenario, "naive")["bias"]
        error, low, high = differences["type_i_error"].mean(), naive.min(), naive.max()
        rows.append([f"`{scenario}`", *cells, f"{error:.2f}", f"{low:+z.2f} to {high:+z.2f}"])
    return _lay_out(rows)


def show_both_ways(found: pd.DataFrame) -> str:
    """The table of differences by day 30 in both ways: the mean and the greatest absolute bias over
    orders that the second way answers, the mean coverage and width, the type I error, how many of
    the second way have a number, and in how many pools with both the two disagree."""
    rows = [
        [
            "scenario",
            *(
                f"{way}: bias, greatest, coverage, width, type I error"
                for way in ("g-formula", "weights")
            ),
            "answered by weights",
            "disagree",
        ],
        ["---"] * 5,
    ]
    by_day_30 = found[found["term"].str.contains(COLUMNS["by day 30"])]
    for scenario in SCENARIOS:
        second = _select(by_day_30, scenario, WEIGHTS)
        answered = second["answered"].sum() / second["pools"].sum()
        second = second[second["answered"].ge(second["pools"] / 2)]
        first = _select(by_day_30, scenario, G_FORMULA)
        first = first[first["term"].isin(second["term"])]
        cells = [
            f"{_sum_up(way, COLUMNS['by day 30'])}, {way['mean_width'].mean():.2f}, "
            f"{way['type_i_error'].mean():.2f}"
            for way in (first, second)
        ]
        apart = np.average(second["disagree"], weights=second["answered"])
        rows.append([f"`{scenario}`", *cells, f"{answered:.2f}", f"{apart:.2f}"])
    return _lay_out(rows)


def _select(found: pd.DataFrame, scenario: str, stance: str) -> pd.DataFrame:
    return found[found["scenario"].eq(scenario) & found["stance"].eq(stance)]


def _sum_up(found: pd.DataFrame, pattern: str) -> str:
    told = found[found["term"].str.contains(pattern)]
    bias = told["bias"].abs()
    return f"{bias.mean():.3f}, {bias.max():.3f}, {told['coverage'].mean():.2f}"


def _lay_out(rows: list[list[str]]) -> str:
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)
