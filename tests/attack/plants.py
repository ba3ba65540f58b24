"""Small releases with a planted leak of one kind each, and others that keep what they hide.

Nobody in them exists.
"""

import csv
from pathlib import Path

COLUMNS = [
    "analysis",
    "population",
    "endpoint",
    "stratum",
    "term",
    "comparison",
    "estimate",
    "std_error",
    "lower",
    "upper",
    "p_value",
    "p_adjusted",
    "n_episodes",
    "n_events",
    "n_sites",
    "largest_share",
    "method",
    "status",
    "note",
]
SHORT = {"n": "n_episodes", "events": "n_events", "sites": "n_sites"}
HIDDEN = {
    "n": "",
    "events": "",
    "status": "suppressed",
    "note": "hidden: it would show a group of 1 to 10 people",
}
FEW = {"status": "too_few", "note": "fewer than 5 events"}
COUNT, EXACT = "count", "share of episodes; exact (Clopper-Pearson) intervals"
SEEN = "Aalen-Johansen on the days on which events were seen"
CURVE = "interval-censored NPMLE; intervals: delete-one-site jackknife"
Plant = dict[str, object]


def write_release(folder: Path, rows: list[Plant], columns: list[str] = COLUMNS) -> Path:
    """The rows as tables of a results folder, one file for each analysis."""
    (folder / "estimates").mkdir(parents=True, exist_ok=True)
    for analysis in {str(row["analysis"]) for row in rows}:
        with (folder / "estimates" / f"{analysis}.csv").open(
            "w", newline="", encoding="utf-8"
        ) as file:
            writer = csv.DictWriter(file, columns, extrasaction="ignore", lineterminator="\n")
            writer.writeheader()
            of_analysis = [row for row in rows if row["analysis"] == analysis]
            writer.writerows(
                {"status": "ok", **{SHORT.get(key, key): value for key, value in row.items()}}
                for row in of_analysis
            )
    return folder


def share(value: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A share of all stored episodes with one value of a variable."""
    row = {
        "analysis": "pool_description",
        "population": "stored",
        "stratum": value,
        "term": "share",
        "sites": 4,
    }
    return row | {"method": "share of episodes", "n": n, "events": events} | more


def reason(value: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A reason for which cases are kept apart; several can hold for one."""
    key = {"analysis": "non_positional", "population": "probable_non_positional"}
    return share(f"reason={value}", n, events, **more) | key


def curve(stratum: str, term: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A row of the curves by the primary endpoint."""
    row = {
        "analysis": "resolution_curves",
        "population": "positional",
        "endpoint": "objective",
        "stratum": stratum,
    }
    return row | {"term": term, "n": n, "events": events, "sites": 4, "method": CURVE} | more


def first_event(term: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A row of the first events."""
    row = {
        "analysis": "competing_events",
        "population": "positional",
        "endpoint": "objective",
        "stratum": "all",
    }
    return row | {"term": term, "n": n, "events": events, "sites": 4, "method": SEEN} | more


def path(stratum: str, term: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A row of the paths."""
    row = {
        "analysis": "sequence_paths",
        "population": "positional",
        "stratum": stratum,
        "term": term,
        "sites": "",
    }
    return row | {"n": n, "events": events, "method": COUNT} | more


def agreement(term: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A row of recorded against adjudicated diagnoses."""
    row = {
        "analysis": "diagnosis_agreement",
        "population": "positional",
        "stratum": "all",
        "term": term,
        "sites": "",
    }
    return row | {"n": n, "events": events, "method": COUNT} | more


def choice(term: str, n: object = "", events: object = "", **more: object) -> Plant:
    """A row of the second line."""
    row = {
        "analysis": "second_line",
        "population": "positional, first session failed",
        "endpoint": "objective",
    }
    return (
        row
        | {"stratum": "all", "term": term, "n": n, "events": events, "sites": 4, "method": COUNT}
        | more
    )


# What keeps its secrets: nothing of 1 to 10 people may be claimed.
KEPT: dict[str, list[Plant]] = {
    "two hidden classes with room": [
        share("sex=female", 100, 61),
        share("sex=male", **HIDDEN),
        share("sex=unknown", **HIDDEN),
    ],
    "counts rounded to five": [share(f"cause={k}", 2200, 5 * k) for k in range(3, 30)]
    + [share("cause=x", **HIDDEN)],
    "nobody": [
        share("sex=other", 100, 0, sites=0),
        share("sex=female", 100, 50),
        share("sex=male", 100, 50),
    ],
    "a rounded share of unknown people": [
        agreement(
            "arm_agreement",
            "",
            "",
            stratum="site=A",
            sites=1,
            method=EXACT,
            estimate=0.92,
            lower=0.87,
            upper=0.95,
        )
    ],
    "joined classes with room": [share("sex=female", 100, 61), share("sex=male|unknown", 100, 39)],
}
