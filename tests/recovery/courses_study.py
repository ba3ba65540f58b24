"""What is answered of the courses after first maneuvers, and of orders by day 1 and in sessions
with an adverse event, beside the truth of simulated pools."""

import json
from pathlib import Path

import pandas as pd

from pipeline.analyses.order.first_courses import estimate_first_courses
from pipeline.analyses.order.session_harm import HARM
from pipeline.analyses.order.strategies import estimate_strategies
from pipeline.derivation.tables import derive_rows
from tests.recovery.adapters import read_answers
from tests.recovery.first_courses import find_course_truths, harm_sessions
from tests.recovery.pools import draw_pool
from tests.recovery.scenarios import SEED
from tests.recovery.strategies import SCENARIOS, find_strategy_truths, read_strategies_plan
from tests.recovery.study import name_commit
from tests.recovery.study import read_answers as read_lines
from tests.recovery.table import tabulate

CHOSEN = "chosen_first"  # what is recorded, and the site, decide on the first maneuver
SEEN = ("episodes", "examinations", "findings", "followups", "treatments")
DERIVED = ("adjudications", "spells")
# of a table for a document: which answers, by the end or the beginning of their term
COLUMNS = {
    "as they are, days 1 to 30": r"family=\w+ resolved_by_day_\d+$",
    "as they are, mean days": r"family=\w+ mean_days",
    "standardised, days 1 to 30": r"family=\w+ standardised_resolved",
    "standardised, mean days": r"family=\w+ standardised_mean_days",
    "orders, day 1": r"strategy=.* resolved_by_day_1$",
    "orders, sessions with an event": rf"strategy=.* {HARM}$",
    "orders, difference of these": rf"strategy=.* difference_{HARM}$",
}


def answer_courses(scenario: str, seed: int) -> dict:
    """The answers on one pool."""
    config = read_strategies_plan()
    delivered, _ = draw_pool(scenario, seed)
    delivered["treatments"] = harm_sessions(delivered["treatments"], seed)
    tables = delivered | derive_rows(delivered, config, [config.study.resolution.primary])
    given = {name: tables[name] for name in (*SEEN, *DERIVED)}
    found = [
        estimate_strategies(**given, config=config),
        estimate_first_courses(**given, attempts=tables["attempts"], config=config),
    ]
    answers = [
        list(answer) for rows in found for answer in read_answers(rows.assign(comparison=pd.NA))
    ]
    return {"scenario": scenario, "pool": seed, "answers": answers}


def run_courses(pools: int, path: Path) -> list[dict]:
    """Answer what is missing of the first `pools` pools of each scenario, and append it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    done = {(line["scenario"], line["pool"]) for line in read_lines(path)}
    commit = name_commit()
    with path.open("a", encoding="utf-8") as file:
        for seed in range(pools):
            for scenario in (*SCENARIOS, CHOSEN):
                if (scenario, seed) not in done:
                    line = answer_courses(scenario, seed) | {"commit": commit}
                    file.write(json.dumps(line) + "\n")
                    file.flush()
    return list(read_lines(path))


def tabulate_courses(lines: list[dict]) -> pd.DataFrame:
    """Bias and coverage by scenario and term, of those that are in the table for a document."""
    plan = read_strategies_plan().study.first_choice
    truths = {
        name: find_strategy_truths(name) | find_course_truths(name, plan)
        for name in (*SCENARIOS, CHOSEN)
    }
    columns = ["scenario", "term", "stance", "estimate", "lower", "upper", "status"]
    answers = pd.DataFrame(
        [(line["scenario"], *answer) for line in lines for answer in line["answers"]],
        columns=columns,
    ).astype({"estimate": float, "lower": float, "upper": float})
    wanted = answers["term"].str.contains("|".join(f"(?:{each})" for each in COLUMNS.values()))
    answers = answers[wanted & answers["stance"].eq("honest")]
    keys = zip(answers["scenario"], answers["term"], strict=True)
    truth = [truths[scenario].get(term) for scenario, term in keys]
    answers = answers.assign(analysis="first_courses", truth=truth).dropna(subset=["truth"])
    return tabulate(answers).drop(columns=["analysis", "stance", "type_i_error"])


def write_courses(lines: list[dict], path: Path) -> None:
    """The table as .csv below a line that names the seed and the commits of the answers."""
    commits = " ".join(sorted({line["commit"] for line in lines}))
    text = tabulate_courses(lines).to_csv(index=False, float_format="%.4f")
    path.write_text(f"# seed {SEED}; answers of commit {commits}\n{text}", "utf-8")


def show_courses(found: pd.DataFrame) -> str:
    """The table for a document: by scenario the mean and the greatest absolute bias over cells or
    orders that have a number, and the mean coverage."""
    rows = [["scenario", *COLUMNS], ["---"] * (len(COLUMNS) + 1)]
    for scenario in (*SCENARIOS, CHOSEN):
        of_scenario = found[found["scenario"].eq(scenario)]
        cells = []
        for pattern in COLUMNS.values():
            told = of_scenario[of_scenario["term"].str.contains(pattern)].dropna(subset=["bias"])
            bias, cover = told["bias"].abs(), told["coverage"].mean()
            cells.append(
                f"{bias.mean():.2f}, {bias.max():.2f}, {cover:.2f}" if len(told) else "none"
            )
        rows.append([f"`{scenario}`", *cells])
    return "".join(f"| {' | '.join(row)} |\n" for row in rows)
