"""What the second line answers where the severity at the failed examination prompts the change."""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pandas as pd

from pipeline.analyses.order.arms import measure_arms
from pipeline.analyses.order.choices import list_choices
from pipeline.analyses.order.propensity import weigh_choice
from pipeline.analyses.order.ways import fit_arms, list_ways
from pipeline.derivation.tables import derive_rows
from pipeline.statistics.guard import Refusal
from pipeline.statistics.scales import check_range
from schemas.study import Config
from tests.recovery.scenarios import SEED
from tests.recovery.severity import PLANTED, Plan, draw_pools, find_effect, tell_truths
from tests.recovery.study import name_commit, read_answers, read_plan, round_number
from tests.recovery.table import tabulate

VARIANT = "adherent_debris"
STANCES = ("weighted", "naive")
DEBRIS = "cupulolithiasis"
BATCH = 20  # pools that are drawn and derived together


@cache
def list_plans() -> dict[str, Plan]:
    """The pools by name: small ones without an effect, where severity works in proportion and by
    thresholds, and two sizes with one planted in adherent debris."""
    effect = find_effect(PLANTED)
    plans = (
        Plan("no_effect", 8, 35),
        Plan("threshold", 8, 35, by_threshold=True),
        Plan("planted", 8, 60, effect),
        Plan("planted_few", 6, 25, effect),
    )
    return {plan.name: plan for plan in plans}


def answer_batch(name: str, seed: int, pools: int = BATCH) -> Iterator[dict]:
    """The answers of each pool of a batch, one line a pool: of all, and of adherent debris."""
    config = read_plan()
    endpoint = config.study.resolution.primary
    delivered, pool_of = draw_pools(list_plans()[name], pools, seed)
    derived = derive_rows(delivered, config, [endpoint])
    tables = [derived[table] for table in ("adjudications", "attempts", "spells")]
    rows = list_choices(delivered["episodes"], *tables, endpoint, config)
    rows = rows[rows["choice"].isin(["repeat", "change"])]
    for pool, members in rows.groupby(rows["site"].map(pool_of)):
        parts = {"all": members, VARIANT: members[members["mechanism"].eq(DEBRIS)]}
        answers = [
            [f"{stratum} {term}", *answer]
            for stratum, part in parts.items()
            for term, *answer in compare(part.reset_index(drop=True), config)
        ]
        yield {"scenario": name, "pool": seed * pools + int(pool), "answers": answers}


def compare(rows: pd.DataFrame, config: Config) -> Iterator[tuple]:
    """The difference of shares resolved by each day, change minus repeat, weighted and naive:
    term, stance, estimate, limits and status."""
    study, line = config.study, config.study.second_line
    contrast = weigh_choice(rows, line.terms, line.truncate, study.guards, calibrated=True)
    terms = [f"risk_difference_day_{day}" for day in line.days]
    if isinstance(contrast, Refusal):
        yield from ((t, s, None, None, None, contrast.status) for t in terms for s in STANCES)
        return
    for stance, way in zip(STANCES, list_ways(contrast), strict=False):
        for measure in measure_arms(*fit_arms(contrast, way, line.horizon_day), line.days, 30):
            if measure.term in terms:
                value = measure.values[0]
                low, high = measure.limit()[1:3]
                refusal = measure.check() or check_range(low, high, measure.scale, study.guards)
                numbers = map(round_number, (value, low, high))
                yield (measure.term, stance, *numbers, refusal.status if refusal else "ok")


def run_severity(pools: int, path: Path) -> list[dict]:
    """Answer what is missing of the first batches of each plan, and append it; of a plan with an
    effect a fifth of the pools."""
    path.parent.mkdir(parents=True, exist_ok=True)
    done = {(line["scenario"], line["pool"]) for line in read_answers(path)}
    commit = name_commit()
    with path.open("a", encoding="utf-8") as file:
        for name, plan in list_plans().items():
            asked = pools if plan.effect == 0 else pools // 5
            for seed in range(-(-asked // BATCH)):
                if (name, seed * BATCH + BATCH - 1) not in done:
                    lines = [line | {"commit": commit} for line in answer_batch(name, seed)]
                    file.write("".join(json.dumps(line) + "\n" for line in lines))
                    file.flush()
    return list(read_answers(path))


def tabulate_severity(lines: list[dict]) -> pd.DataFrame:
    """Bias, coverage and false alarms of each plan, term and stance, of pools with a number."""
    days = read_plan().study.second_line.days
    truths = {
        (name, f"{part} risk_difference_day_{day}"): truth
        for name, plan in list_plans().items()
        for (part, day), truth in tell_truths(plan, days).items()
    }
    columns = ["scenario", "term", "stance", "estimate", "lower", "upper", "status"]
    answers = pd.DataFrame(
        [(line["scenario"], *answer) for line in lines for answer in line["answers"]],
        columns=columns,
    ).astype({"estimate": float, "lower": float, "upper": float})
    keys = zip(answers["scenario"], answers["term"], strict=True)
    answers["truth"] = [truths[key] for key in keys]
    told = answers["status"].eq("ok")
    numbers = ["estimate", "lower", "upper"]
    answers[numbers] = answers[numbers].where(told)
    return tabulate(answers.assign(analysis="second_line")).drop(columns="analysis")


def write_severity(lines: list[dict], path: Path) -> None:
    """The table as .csv below one line that names the seed and the commits."""
    commits = " ".join(sorted({line["commit"] for line in lines}))
    text = tabulate_severity(lines).to_csv(index=False, float_format="%.4f")
    path.write_text(f"# seed {SEED}; answers of commit {commits}\n{text}", "utf-8")
