"""What the estimators answer where clinics test by habits of their own: pools by scenario and seed,
from delivered tables to shares resolved by a day and how far sites differ; by intervals between
tests, and by the model that takes the days of tests as evidence."""

import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.curves import estimate_curves
from pipeline.analyses.resolution.joint import estimate_joint
from pipeline.analyses.resolution.shares import select_followed
from pipeline.analyses.sites.monitoring import estimate_site_monitoring
from pipeline.analyses.sites.pooling import smooth_sites
from pipeline.derivation.tables import derive_rows
from pipeline.statistics.meta import Pool, pool_random_effects
from schemas.study import Config
from tests.recovery.adapters import Answer, read_answers
from tests.recovery.habits import HABITS, HABITS_BY_NAME, SITES
from tests.recovery.pools import DAYS, draw_pool, expect_parts, expect_shares
from tests.recovery.scenarios import SEED
from tests.recovery.study import name_commit, read_plan, round_number
from tests.recovery.study import read_answers as read_lines
from tests.recovery.table import tabulate

SPREAD_DAYS = (7, 30)
MODEL = "tests_as_evidence"
PARTS = ("canal", "mechanism")  # of which the model's shares are judged too
OF_SITES = {
    "rate_ratio_tau2": "tau2 of the rate",
    "sites_outside_95": "outside 95 %",
    "sites_outside_998": "outside 99.8 %",
}
AGAIN = [("all_together", 0), ("debris", 0)]  # pools that tests answer again
Job = tuple[str, int]  # scenario, seed


@cache
def read_curves_plan() -> Config:
    """The plan of the study without parts of the pool."""
    plan = read_plan()
    curves = plan.study.curves.model_copy(update={"strata": ()})
    return plan.model_copy(update={"study": plan.study.model_copy(update={"curves": curves})})


def answer_pool(job: Job) -> dict:
    """The answers on one pool."""
    config, (scenario, seed) = read_curves_plan(), job
    delivered, _ = draw_pool(scenario, seed)
    derived = derive_rows(delivered, config, [config.study.resolution.primary])
    asked = [*ask(derived, config), *ask_model(delivered | derived, config)]
    answers = [[answer.term, *map(round_number, answer[2:5]), answer.status] for answer in asked]
    return {"scenario": scenario, "pool": seed, "answers": answers}


def ask(derived: dict[str, pd.DataFrame], config: Config) -> Iterator[Answer]:
    """Shares resolved by each reported day, and how far sites differ in them: the variance that is
    withdrawn from what the pipeline tells (pipeline/analyses/sites/pooled.py)."""
    spells, adjudications = derived["spells"], derived["adjudications"]
    found = estimate_curves(spells, adjudications, derived["attempts"], config)
    terms = [f"resolved_by_day_{day}" for day in DAYS]
    whole = found["endpoint"].eq(config.study.resolution.primary) & found["stratum"].eq("all")
    for answer in read_answers(found[whole & found["term"].isin(terms)]):
        yield answer._replace(term=answer.term.removeprefix("all "))
    followed = select_followed(spells, adjudications, config.study.resolution.primary)
    for day, effects in smooth_sites(followed, config.study).items():
        term = f"tau2_by_day_{day}"
        if effects.refusal:
            yield Answer(term, "honest", np.nan, np.nan, np.nan, effects.refusal.status)
        else:
            pool = pool_random_effects(effects.effect, effects.variance)
            yield Answer(term, "honest", pool.tau2, pool.tau2_lower, pool.tau2_upper)


def ask_model(tables: dict[str, pd.DataFrame], config: Config) -> Iterator[Answer]:
    """The same shares by the model with the days of tests as evidence, of all and of PARTS; the
    variance between sites of the logarithm of the rate of resolution, and how many lie outside
    control limits."""
    names = ("examinations", "findings", "treatments", "followups", "adjudications", "spells")
    rows = {name: tables[name] for name in names}
    strata = tuple((part,) for part in PARTS)
    curves = config.study.curves.model_copy(update={"strata": strata})
    by_part = config.model_copy(
        update={"study": config.study.model_copy(update={"curves": curves})}
    )
    found = estimate_joint(**rows, attempts=tables["attempts"], config=by_part)
    terms = [f"resolved_by_day_{day}" for day in DAYS]
    for answer in read_answers(found[found["term"].isin(terms)]):
        yield answer._replace(term=f"{MODEL} {answer.term.removeprefix('all ')}")
    found = estimate_site_monitoring(**rows, config=config)
    for answer in read_answers(found[found["term"].isin(OF_SITES)]):
        yield answer._replace(term=f"{MODEL} {answer.term.removeprefix('all ')}")


def find_truths(scenario: str) -> dict[str, float]:
    """The truth of each term: over very many sites, from the true days. Of their variance, sites'
    own luck is taken off as where each patient were seen daily."""
    told = expect_shares(scenario)
    shares = {
        f"resolved_by_day_{day}": float(np.average(told[day, "mean"], weights=told[day, "size"]))
        for day in DAYS
    }
    spread = {f"tau2_by_day_{day}": _spread(told[day]).tau2 for day in SPREAD_DAYS}
    by_part = expect_parts(scenario, PARTS)
    by_model = {f"{MODEL} {term}": share for term, share in (shares | by_part).items()}
    planted = HABITS_BY_NAME[scenario].site_sd ** 2  # of debris it is no variance of a rate
    of_sites = dict(zip(OF_SITES, (planted, 0.0, 0.0), strict=True))
    return shares | spread | by_model | {f"{MODEL} {term}": v for term, v in of_sites.items()}


def _spread(sites: pd.DataFrame) -> Pool:
    n = sites["size"].to_numpy(float)
    share = sites["mean"].clip(0.5 / n, 1 - 0.5 / n).to_numpy(float)
    log_unresolved = np.log1p(-share)
    return pool_random_effects(
        np.log(-log_unresolved), share / ((1 - share) * n * log_unresolved**2)
    )


def run_days_of_tests(pools: int, path: Path) -> list[dict]:
    """Answer what is missing of the first `pools` pools of each scenario, and append it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    done = {(line["scenario"], line["pool"]) for line in read_lines(path)}
    jobs = [(habits.name, seed) for seed in range(pools) for habits in HABITS]
    commit = name_commit()
    with path.open("a", encoding="utf-8") as file:
        for job in jobs:
            if job not in done:
                file.write(json.dumps(answer_pool(job) | {"commit": commit}) + "\n")
                file.flush()
    return list(read_lines(path))


BY_INTERVALS, BY_MODEL, OF_PARTS = "days_of_tests", "tests_as_evidence", "tests_as_evidence_parts"


def write_days_of_tests(lines: list[dict], folder: Path) -> None:
    """The tables as .csv below one line that names the seed, by intervals, by the model, and by the
    model of parts; and the answers of AGAIN."""
    truths = {habits.name: find_truths(habits.name) for habits in HABITS}
    rows = [
        (line["scenario"], line["pool"], *answer, truths[line["scenario"]][answer[0]])
        for line in lines
        for answer in line["answers"]
        if answer[0] in truths[line["scenario"]]  # no part that is read and was not planted
    ]
    columns = ["scenario", "pool", "term", "estimate", "lower", "upper", "status", "truth"]
    answers = pd.DataFrame(rows, columns=columns)
    numbers = answers.astype({"estimate": float, "lower": float, "upper": float})
    commits = " ".join(sorted({line["commit"] for line in lines}))
    model, of_part = (numbers["term"].str.contains(word) for word in (MODEL, "="))
    chosen_by = {BY_INTERVALS: ~model, BY_MODEL: model & ~of_part, OF_PARTS: of_part}
    for name, rows_of in chosen_by.items():
        chosen = numbers[rows_of]
        terms = list(dict.fromkeys(t for t in truths[HABITS[0].name] if t in set(chosen["term"])))
        text = _tabulate(chosen, terms).to_csv(float_format="%.4f")
        head = f"# seed {SEED}; answers of commit {commits}\n"
        (folder / f"{name}.csv").write_text(head + text, "utf-8")
    kept = [line for line in lines if (line["scenario"], line["pool"]) in AGAIN]
    (folder / "days_of_tests_slice.jsonl").write_text(
        "".join(json.dumps(line) + "\n" for line in kept), "utf-8"
    )


def _tabulate(answers: pd.DataFrame, terms: list[str]) -> pd.DataFrame:
    told = tabulate(answers.assign(analysis="tests", stance="honest"))
    told = told.drop(columns=["analysis", "stance", "type_i_error"])
    scenarios = [habits.name for habits in HABITS]
    index = pd.MultiIndex.from_product([scenarios, terms], names=["scenario", "term"])
    told = told.set_index(["scenario", "term"]).reindex(index).reset_index()
    told["term"] = told["term"].str.removeprefix(f"{MODEL} ")
    return told.set_index(["scenario", "term"])


def show_days_of_tests(found: pd.DataFrame) -> str:
    """The table for a document: of shares the bias, its Monte-Carlo error and the coverage; of
    variances the truth and the mean answer; of sites outside limits their share."""
    names = {"resolved": "day", "tau2": "tau2, day"} | OF_SITES
    head = ["scenario", *(_head(term, names) for term in found["term"].unique())]
    rows = [head, ["---"] * len(head)]
    for scenario, part in found.groupby("scenario", sort=False):
        rows.append([f"`{scenario}`", *(_show(row) for row in part.itertuples())])
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def show_parts(found: pd.DataFrame) -> str:
    """The table of parts for a document: by day the least, the mean and the greatest bias over
    scenarios, and the mean coverage."""
    told = found["term"].str.extract(r"^(?P<part>.+) resolved_by_day_(?P<day>\d+)$").join(found)
    told = told[told["answered"].gt(0)]
    rows = [["part", *(f"day {day}" for day in DAYS)], ["---"] * (1 + len(DAYS))]
    for part, of_part in told.groupby("part", sort=True):
        by_day = {int(day): group for day, group in of_part.groupby("day")}
        cells = [_show_range(by_day[day]) if day in by_day else "none" for day in DAYS]
        rows.append([f"`{part}`", *cells])
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _show_range(of_day: pd.DataFrame) -> str:
    weight, bias = of_day["answered"], of_day["bias"]
    mean, coverage = (np.average(of_day[name], weights=weight) for name in ("bias", "coverage"))
    return f"{bias.min():+z.2f} / {mean:+z.2f} / {bias.max():+z.2f}, {coverage:.2f}"


def _head(term: str, names: dict[str, str]) -> str:
    what, _, day = term.partition("_by_day_")
    return f"{names[what]} {day}" if day else names[term]


def _show(row: NamedTuple) -> str:
    if not row.answered:
        return "none"
    some = "" if row.answered == row.pools else f", {row.answered} pools"
    if row.term.startswith("sites"):
        return f"{(row.truth + row.bias) / SITES:.3f}"
    if "tau2" in row.term:
        return f"{row.truth:.2f}, {row.truth + row.bias:.2f}{some}"
    return f"{row.bias:+z.3f} ± {row.bias_error:.3f}, {row.coverage:.2f}{some}"
