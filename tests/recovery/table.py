"""The table of the study: for each scenario, analysis, term and stance how far the answers lie from
the truth, and how often limits cover it."""

import io
import json
from pathlib import Path

import numpy as np
import pandas as pd

from tests.recovery.scenarios import SEED
from tests.recovery.truth import find_truths

# pools that tests run again: one of each scenario where that is quick
SLICE = {"curves": range(11)}
OTHERS = (9, 10)  # of each other analysis
KEY = ["analysis", "term", "scenario", "stance"]


def write_table(lines: list[dict], path: Path) -> None:
    """The table as .csv below one line that names the seed.

    Analyses that were not run keep the rows that `path` has.
    """
    tabulated = tabulate(list_answers(lines))
    commits = (
        pd.DataFrame(lines)
        .groupby("analysis")["commit"]
        .agg(lambda each: " ".join(sorted(set(each))))
    )
    tabulated = tabulated.assign(commit=tabulated["analysis"].map(commits))
    text = tabulated.to_csv(index=False, float_format="%.4f")
    if path.exists():
        before = pd.read_csv(path, comment="#", dtype="string", keep_default_na=False)
        tabulated = pd.read_csv(io.StringIO(text), dtype="string", keep_default_na=False)
        kept = before[~before["analysis"].isin(tabulated["analysis"])]
        text = pd.concat([kept, tabulated]).sort_values(KEY, kind="stable").to_csv(index=False)
    path.write_text(f"# seed {SEED}; a plus beside a commit: with later changes\n{text}", "utf-8")


def write_slice(lines: list[dict], path: Path) -> None:
    """The answers of a few pools, one line a pool and analysis.

    Analyses that were not run keep the lines that `path` has.
    """
    chosen = [line for line in lines if line["pool"] in SLICE.get(line["analysis"], OTHERS)]
    before = (
        [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []
    )
    kept = [line for line in before if line["analysis"] not in {line["analysis"] for line in lines}]
    ordered = sorted(kept + chosen, key=lambda line: (line["analysis"], line["pool"]))
    path.write_text("".join(json.dumps(line) + "\n" for line in ordered), "utf-8")


def list_answers(lines: list[dict]) -> pd.DataFrame:
    """One row for each answer, with its truth; answers without a known truth are left out."""
    columns = [
        "pool",
        "scenario",
        "analysis",
        "term",
        "stance",
        "estimate",
        "lower",
        "upper",
        "status",
    ]
    rows = [
        (line["pool"], line["scenario"], line["analysis"], *answer)
        for line in lines
        for answer in line["answers"]
    ]
    answers = pd.DataFrame(rows, columns=columns).astype(
        {"estimate": float, "lower": float, "upper": float}
    )
    truths = pd.Series(
        {
            (name, *key): truth
            for name in answers["scenario"].unique()
            for key, truth in find_truths(name).items()
        },
        name="truth",
    ).rename_axis(["scenario", "analysis", "term"])
    return answers.join(truths, on=truths.index.names, how="inner")


def tabulate(answers: pd.DataFrame) -> pd.DataFrame:
    """One row for each analysis, term, scenario and stance.

    `answered` of `pools` gave a number; `bias` is the mean of estimate - truth, `coverage` the
    share of limits around the truth, each with its Monte-Carlo standard error. `type_i_error` is
    the share of limits that leave out 0 where the truth is no effect.
    """
    scored = answers.assign(
        off=answers["estimate"] - answers["truth"],
        covers=(
            (answers["lower"] <= answers["truth"]) & (answers["truth"] <= answers["upper"])
        ).where(answers["lower"].notna() & answers["upper"].notna()),
        width=answers["upper"] - answers["lower"],
    )
    return pd.DataFrame(
        [
            dict(zip(KEY, key, strict=True)) | _sum_up(rows)
            for key, rows in scored.groupby(KEY, sort=True)
        ]
    )


def _sum_up(rows: pd.DataFrame) -> dict[str, float]:
    off, covers = rows["off"].dropna(), rows["covers"].dropna().astype(float)
    coverage = covers.mean() if len(covers) else np.nan
    return {
        "pools": len(rows),
        "answered": len(off),
        "truth": rows["truth"].iloc[0],
        "bias": off.mean(),
        "bias_error": off.std(ddof=1) / np.sqrt(len(off)) if len(off) > 1 else np.nan,
        "coverage": coverage,
        "coverage_error": np.sqrt(coverage * (1 - coverage) / len(covers))
        if len(covers)
        else np.nan,
        "mean_width": rows["width"].mean(),
        "type_i_error": 1 - coverage if rows["truth"].iloc[0] == 0 else np.nan,
    }
