"""Planted faults: what coordinators get wrong, put into cells that were right,
with a list of what went where.

Identifiers are invented beyond doubt: names are 'Example Person' and a number, telephone numbers
lie in 555-0100 to 555-0199, which are kept for fiction.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

Cells = dict[str, pd.DataFrame]
Fits = Callable[[pd.DataFrame], pd.Series]  # which rows of a table a fault can go to
NOBODY = "EP-ZZ999"  # an episode that no site has


def any_row(rows: pd.DataFrame) -> pd.Series:
    """Every row fits."""
    return pd.Series(True, index=rows.index)


def is_last_attempt(rows: pd.DataFrame) -> pd.Series:
    """True for the last attempt of each episode: a fault there leaves no gap behind it."""
    return rows["attempt"] == rows.groupby("episode_id")["attempt"].transform("max")


def is_last_of_several(rows: pd.DataFrame) -> pd.Series:
    """True for the last attempt where there are two or more."""
    return is_last_attempt(rows) & (rows["attempt"] > 1)


@dataclass
class Faults:
    """The cells of one delivery while faults are planted, and the list of them.

    Every fault goes to an episode of its own, so that no fault hides another. A fault for which no
    episode is left, as in a very small pool, is not planted and not listed. Rows keep their index
    label until `list_faults` turns labels into spreadsheet rows.
    """

    rng: np.random.Generator
    cells: Cells
    used: set[str] = field(default_factory=set)
    planted: list[tuple[str, object, str, str, str]] = field(default_factory=list)

    def take(self, table: str, fits: Fits) -> object | None:
        """The label of a row of `table` that fits and whose episode has no fault yet;
        None if there is none."""
        rows = self.cells[table]
        labels = rows.index[fits(rows) & ~rows["episode_id"].isin(self.used)]
        if labels.empty:
            return None
        label = labels[self.rng.integers(len(labels))]
        self.used.add(rows.at[label, "episode_id"])
        return label

    def note(self, table: str, label: object, column: str, rule: str) -> None:
        """Enter a fault in the list: in which cell it is, and which rule of `schemas.rules` or
        `schemas.delivery` it breaks.
        """
        self.planted.append((table, label, self.cells[table].at[label, "episode_id"], column, rule))

    def spoil(
        self, table: str, column: str, value: object, rule: str, fits: Fits = any_row
    ) -> None:
        """Put a wrong value into one cell of one fitting row."""
        label = self.take(table, fits)
        if label is not None:
            self.cells[table].at[label, column] = value
            self.note(table, label, column, rule)

    def orphan(self, table: str, fits: Fits = any_row) -> None:
        """Give one fitting row the code of an episode that does not exist."""
        label = self.take(table, fits)
        if label is not None:
            self.cells[table].at[label, "episode_id"] = NOBODY
            self.note(table, label, "episode_id", "episode_not_found")

    def double_episode(self) -> None:
        """Enter one episode twice: neither row can be told to be the right one."""
        label = self.take("episodes", any_row)
        if label is not None:
            rows = self.cells["episodes"]
            copy = rows.loc[[label]].set_axis([rows.index.max() + 1])
            self.cells["episodes"] = pd.concat([rows, copy])
            for place in (label, copy.index[0]):
                self.note("episodes", place, "episode_id", "same_key_twice")

    def lose_attempt(self) -> None:
        """Leave out attempt 2 of an episode with more: the later ones are numbered with a gap."""
        rows = self.cells["treatments"]
        label = self.take(
            "treatments", lambda rows: (rows["attempt"] == 2) & ~is_last_attempt(rows)
        )
        if label is not None:
            later = rows.index[
                (rows["episode_id"] == rows.at[label, "episode_id"]) & (rows["attempt"] > 2)
            ]
            for place in later:
                self.note("treatments", place, "attempt", "attempts_have_a_gap")
            self.cells["treatments"] = rows.drop(index=label)

    def list_faults(self) -> pd.DataFrame:
        """One row per planted fault: table, row as the spreadsheet shows it (header is 1), episode,
        column, rule broken.
        """
        listed = [
            (table, self.cells[table].index.get_loc(label) + 2, episode, column, rule)
            for table, label, episode, column, rule in self.planted
        ]
        return pd.DataFrame(listed, columns=["table", "row", "episode_id", "column", "rule"])


def plant_many(rng: np.random.Generator, cells: Cells, spared: str) -> tuple[Cells, pd.DataFrame]:
    """The kinds of fault a first delivery can have, one or two of each, in a copy of `cells`;
    returns it and the list.

    The episode `spared` gets none.
    """
    faults = Faults(rng, {name: rows.copy() for name, rows in cells.items()}, used={spared})
    for column, value, rule in (
        ("sex", "femal", "not_in_list"),
        ("recorded_canal", None, "not_filled"),
        ("age_years", "6O", "not_a_whole_number"),
        ("cause", "trauma", "not_in_list"),
        ("onset_day", 12, "too_large"),
    ):
        faults.spoil("episodes", column, value, rule)
    no_other = faults.take("episodes", lambda rows: rows["other_diagnosis"] == "none")
    if no_other is not None:
        faults.cells["episodes"].at[no_other, "other_diagnosis"] = "orthostatic"
        faults.note("episodes", no_other, "other_diagnosis_day", "other_diagnosis_needs_day")
    no_basis = faults.take(
        "episodes", lambda rows: (rows["recorded_canal"] == "posterior") & rows["arm_basis"].isna()
    )
    if no_basis is not None:
        faults.cells["episodes"].at[no_basis, "recorded_arm"] = "short"
        faults.note("episodes", no_basis, "arm_basis", "short_arm_needs_basis")
    faults.double_episode()
    faults.spoil("examinations", "vertical", "upbeat", "not_in_list")
    faults.spoil("examinations", "duration_s", "20 s", "not_a_number")
    faults.spoil("examinations", "day", None, "not_filled")
    faults.spoil(
        "examinations",
        "side",
        "none",
        "sided_test_needs_side",
        lambda rows: rows["test"] == "dix_hallpike",
    )
    faults.orphan("examinations")
    faults.spoil("treatments", "maneuver", "eply", "maneuver_unknown", is_last_of_several)
    faults.spoil("treatments", "completed", None, "not_filled", is_last_of_several)
    faults.spoil(
        "treatments",
        "day",
        2,
        "first_attempt_on_day_0",
        lambda r: is_last_attempt(r) & (r["attempt"] == 1),
    )
    faults.spoil(
        "treatments",
        "side",
        "none",
        "maneuver_side",
        lambda r: is_last_attempt(r) & (r["maneuver"] == "epley"),
    )
    faults.lose_attempt()
    faults.orphan("treatments", is_last_of_several)
    faults.spoil("followups", "dhi_total", 37, "dhi_is_even")
    faults.spoil("followups", "vas_0_10", 45, "too_large")
    faults.spoil("followups", "end_of_followup", "finished", "not_in_list")
    faults.spoil("followups", "positional_symptoms", "sometimes", "not_in_list")
    faults.orphan("followups")
    return faults.cells, faults.list_faults()


def plant_few(rng: np.random.Generator, cells: Cells) -> tuple[Cells, pd.DataFrame]:
    """Five rows that are set aside, each alone, in a delivery that is otherwise in order."""
    faults = Faults(rng, {name: rows.copy() for name, rows in cells.items()})
    faults.spoil(
        "examinations", "horizontal", "apogeo", "not_in_list", lambda rows: rows["examination"] == 1
    )
    faults.spoil("examinations", "latency_s", "3 s", "not_a_number")
    faults.spoil(
        "treatments",
        "side",
        "none",
        "maneuver_side",
        lambda r: is_last_of_several(r) & (r["side"] == "right"),
    )
    faults.spoil("followups", "dhi_total", 51, "dhi_is_even")
    faults.orphan("followups")
    return faults.cells, faults.list_faults()


def plant_identifiers(rng: np.random.Generator, cells: Cells) -> tuple[Cells, pd.DataFrame]:
    """Three columns that must never be handed in, and one age above 89 as a number,
    in a copy of `cells`; returns it and the list.

    The list has one row per cell and rule; row 1 is the header.
    """
    rows = cells["episodes"].copy()
    count = len(rows)
    dates = pd.Timestamp("2021-01-04") + pd.to_timedelta(rng.integers(0, 1800, count), unit="D")
    rows["patient_name"] = [f"Example Person {number}" for number in range(1, count + 1)]
    rows["telephone"] = [f"555-01{number:02d}" for number in rng.integers(0, 100, count)]
    rows["first_visit"] = dates.strftime("%Y-%m-%d")
    rows.iat[count - 1, rows.columns.get_loc("age_years")] = 93
    listed = [
        ("episodes", 1, "", column, "identifier_column") for column in ("patient_name", "telephone")
    ]
    by_column = {
        "patient_name": "free_text",
        "telephone": "telephone_number",
        "first_visit": "calendar_date",
    }
    for column, rule in by_column.items():
        listed += [
            ("episodes", place + 2, rows.iloc[place]["episode_id"], column, rule)
            for place in range(count)
        ]
    listed.append(("episodes", count + 1, rows.iloc[-1]["episode_id"], "age_years", "age_above_89"))
    faults = pd.DataFrame(listed, columns=["table", "row", "episode_id", "column", "rule"])
    return cells | {"episodes": rows}, faults
