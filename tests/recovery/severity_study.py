"""What the second line answers where the severity at the failed examination prompts the change."""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.analyses.order.second_line import estimate_second_line
from pipeline.derivation.tables import derive_rows
from schemas.study import Config
from tests.recovery.adapters import read_answers
from tests.recovery.severity import PLANTED, Plan, draw_pools, find_effect, tell_truths
from tests.recovery.study import read_plan, round_number

VARIANT = "adherent_debris"
STRATA = ("all", f"variant={VARIANT}")
STANCES = {"": "weighted", "naive_": "naive"}
BATCH = 20  # pools that are drawn and derived together
ASKED = ("episodes", "adjudications", "attempts", "spells")


@cache
def list_plans() -> dict[str, Plan]:
    """The pools by name: small ones without an effect, and two sizes with one planted in adherent
    debris."""
    effect = find_effect(PLANTED)
    plans = (
        Plan("no_effect", 8, 35),
        Plan("planted", 8, 60, effect),
        Plan("planted_few", 6, 25, effect),
    )
    return {plan.name: plan for plan in plans}


@cache
def read_choice_plan() -> Config:
    """The plan of the project with adherent debris as the only variant."""
    plan = read_plan()
    variants = {VARIANT: {"mechanism": "cupulolithiasis"}}
    line = plan.study.second_line.model_copy(update={"variants": variants})
    return plan.model_copy(update={"study": plan.study.model_copy(update={"second_line": line})})


def answer_batch(name: str, seed: int, pools: int = BATCH) -> Iterator[dict]:
    """The answers of each pool of a batch, one line a pool."""
    config = read_choice_plan()
    delivered, pool_of = draw_pools(list_plans()[name], pools, seed)
    tables = delivered | derive_rows(delivered, config, [config.study.resolution.primary])
    for pool, sites in pool_of.groupby(pool_of):
        part = {table: tables[table] for table in ASKED}
        part = {table: rows[rows["site"].isin(sites.index)] for table, rows in part.items()}
        found = estimate_second_line(**part, config=config)
        answers = [
            [answer.term, answer.stance, *map(round_number, answer[2:5]), answer.status]
            for answer in _ask(found, config)
        ]
        yield {"scenario": name, "pool": seed * pools + int(pool), "answers": answers}


def _ask(found: pd.DataFrame, config: Config) -> Iterator:
    """The differences of shares resolved, weighted and naive, of all and of the variant."""
    asked = found[found["stratum"].isin(STRATA)]
    for prefix, stance in STANCES.items():
        terms = [f"{prefix}risk_difference_day_{day}" for day in config.study.second_line.days]
        for answer in read_answers(asked[asked["term"].isin(terms)], stance):
            term = answer.term.replace(prefix, "").removesuffix(" against repeat")
            yield answer._replace(term=term)
