"""The eyes of one site: it knows its own rows, takes its people off the pool's numbers,
and looks at what is left of the others.

A site can run the workflow on its own delivery. So it knows of every group how many of its people
are in it.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import describe_covariates
from pipeline.analyses.plan import run_analysis
from pipeline.analyses.resolution.shares import select_followed
from pipeline.warehouse import Warehouse, open_warehouse
from schemas.study import Config, read_config
from tests.attack.groups import name_group, read_name
from tests.attack.program import Answer, Program
from tests.attack.readings import EVER
from tests.attack.readings_courses import KNOWN, PLAN, name_followed
from tests.attack.released import Release, read_release
from tests.attack.solve import know
from tests.attack.system import EVERYBODY, System, build_system

COUNTED = (
    "episode_flow",
    "pool_description",
    "non_positional",
    "diagnosis_agreement",
    "failure_reasons",
    "sequence_paths",
)
NOT_FITTED = ("competing_events", "second_line")
ENDS = (
    "resolved_at_next_test",
    "resolved_at_later_test",
    "no_further_session",
    "never_tested_again",
)
LISTED = (
    "stored",
    "positional",
    "treated",
    "probable_non_positional",
    "complete",
    "informative",
    "stood at a choice",
)
NOBODY_FITS = 10**6  # episodes that a fit would need: counts alone


class OwnRows:
    """The rows of one site in a warehouse, read as the whole is."""

    def __init__(self, warehouse: Warehouse, site: str) -> None:
        self._warehouse, self._site = warehouse, site

    def read(self, name: str, *, current: bool = False) -> pd.DataFrame:
        """The site's rows of a table."""
        rows = self._warehouse.read(name, current=current)
        return rows[rows["site"].eq(self._site)].reset_index(drop=True) if "site" in rows else rows


def find_others(release: Release, site: str) -> list[Answer]:
    """The groups of 1 to 10 people of other sites that a site can tell from the released tables and
    its own rows."""
    system, program = know(release)
    own_counts = count_own(release.folder, site, system)
    for name, number in own_counts.items():
        system.bound({name: 1, f"others: {name}": -1}, number, number, f"own people in {name}")
    for row, reading in system.readings:
        group = reading.sites or {}
        if row.sites and set(group) <= own_counts.keys():
            others = {f"others: {name}": times for name, times in group.items()}
            mine = sum(own_counts[name] * times for name, times in group.items())
            system.bound(others, row.sites - (mine > 0), EVERYBODY, f"other sites of {row.name}")
    asked = list(system.questions.values())
    system.questions.clear()
    for name in sorted(own_counts):
        system.ask({f"others: {name}": 1}, "others of a site", name)
    for question in asked:
        if set(question.total) <= own_counts.keys():
            system.ask(
                {f"others: {n}": times for n, times in question.total.items()},
                "others of a site",
                question.source,
            )
    return Program(system, program).solve(list(system.questions.values()))


def count_own(results: Path, site: str, system: System) -> dict[str, int]:
    """How many of a site's own people are in each group that it can count."""
    plan = read_config(PLAN)
    with open_warehouse(results / "warehouse.duckdb") as warehouse:
        rows = OwnRows(warehouse, site)
        own_counts = _run_counts(rows, plan)
        own_counts |= _count_followed(rows, plan, system)
    bases = {read_name(name)[0] for name in own_counts}
    for name in system.names:
        base, narrowed = read_name(name)
        listed = base in LISTED or base.endswith("named twice")
        if name not in own_counts and base in bases and listed and "site" not in narrowed:
            own_counts[name] = 0
    _count_rarer(own_counts, system)
    return {name: number for name, number in own_counts.items() if name in system.names}


def _run_counts(rows: OwnRows, plan: Config) -> dict[str, int]:
    own_counts: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        for names, least in ((COUNTED, 1), (NOT_FITTED, NOBODY_FITS)):
            guards = plan.study.guards.model_copy(
                update={"min_episodes": least, "min_events": 1 if least == 1 else least}
            )
            given = plan.model_copy(
                update={"study": plan.study.model_copy(update={"guards": guards})}
            )
            (Path(folder) / "estimates").mkdir(exist_ok=True)
            for name in names:
                run_analysis(name, rows, given).to_csv(
                    Path(folder) / "estimates" / f"{name}.csv", index=False
                )
        for row, reading in build_system(read_release(Path(folder))).readings:
            for counted, group in ((row.n, reading.n), (row.events, reading.events)):
                if counted and group and len(group) == 1:
                    own_counts[next(iter(group))] = int(counted.low)
    return {name: number for name, number in own_counts.items() if "site" not in read_name(name)[1]}


def _count_followed(rows: OwnRows, plan: Config, system: System) -> dict[str, int]:
    """Own first spells by everything that the tables tell of them."""
    tables = {
        name: rows.read(name, current=name == "episodes")
        for name in ("episodes", "spells", "adjudications", "attempts")
    }
    covariates = describe_covariates(
        tables["episodes"], tables["adjudications"], tables["attempts"]
    )
    covariates = covariates.drop(columns=["patient_id", "mechanism", "canal_arm"]).rename(
        columns={"first_family": "first_maneuver"}
    )
    own_counts = {}
    for endpoint in sorted(tables["spells"]["endpoint"].unique()):
        spells = select_followed(tables["spells"], tables["adjudications"], endpoint)
        spells = spells.merge(covariates, on=["site", "episode_id"])
        short = spells["arm"].eq("short") & spells["arm_basis"].notna()
        spells["arm"] = spells["arm"].where(
            ~short, "short by " + spells["arm_basis"].astype("string")
        )
        for name in system.names:
            base, words = read_name(name)
            if base == name_followed(endpoint) and words.keys() <= {
                *spells.columns,
                *KNOWN.values(),
                "at_risk",
            } - {"site"}:
                own_counts[name] = (
                    int(
                        np.logical_and.reduce(
                            [_holds(spells, *pair) for pair in words.items()]
                        ).sum()
                    )
                    if words
                    else len(spells)
                )
    return own_counts


def _holds(spells: pd.DataFrame, word: str, value: str) -> np.ndarray:
    left, right, last = (
        spells[name].to_numpy(float) for name in ("left_days", "right_days", "last_test_days")
    )
    events: dict[str, Callable[[float], np.ndarray]] = {
        "resolved_by": lambda day: right <= day,
        "at_risk": lambda day: (last >= day) & (right > day),
        "between_tests_on": lambda day: (left < day) & (right > day) & np.isfinite(right),
        "positive_from": lambda day: left >= day,
        "untested_from": lambda day: (left < day) & ~np.isfinite(right),
    }
    if word in events:
        return events[word](np.finfo(float).max if value == EVER else float(value))
    return spells[word].astype("string").eq(value).fillna(False).to_numpy(bool)


def _count_rarer(own_counts: dict[str, int], system: System) -> None:
    """What is rare in the pool is told by what the pool names:
    all who went on but those who took a named path."""
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        if base != "complete" or narrowed.get("next") != "rarer":
            continue
        here = {word: value for word, value in narrowed.items() if word != "next"}
        path = here.get("path", "")
        named = [n for n in system.names if _goes_on(n, here, path)]
        ended = (
            sum(own_counts.get(name_group(base, here | {"end": end}), 0) for end in ENDS)
            if path
            else 0
        )
        own_counts[name] = (
            own_counts.get(name_group(base, here), 0)
            - ended
            - sum(own_counts.get(n, 0) for n in named)
        )


def _goes_on(name: str, here: dict[str, str], path: str) -> bool:
    base, narrowed = read_name(name)
    if (
        base != "complete"
        or set(narrowed) != {*here, "path"}
        or any(narrowed[w] != v for w, v in here.items() if w != "path")
    ):
        return False
    before, _, _ = narrowed["path"].rpartition(" > ")
    return before == path and narrowed["path"] != path
