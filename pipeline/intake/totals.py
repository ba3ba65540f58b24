"""Totals that a site counted itself, against the rows that it handed in: where they differ,
one of the two is wrong, and only the site knows.

Published tables do not always close either: an episode counted as a patient, a denominator of all
in place of those who were tested.
"""

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from pipeline.intake.problem import Problem

Rows = Mapping[str, pd.DataFrame]


def find_differing_totals(fields: Mapping[str, Any], rows: Rows) -> list[Problem]:
    """Find the totals of the submission table that are not what the rows show.

    A total that is not given is not asked for.

    Parameters
    ----------
    fields
        What the submission table says, typed.
    rows
        All handed-in rows by table, typed, wrong cells missing: the site counted before anything
        was set aside.
    """
    problems = []
    for field, count in COUNTS.items():
        if fields.get(field) is not None:
            difference = count(rows) - int(fields[field])
            if difference:
                more = "more" if difference > 0 else "fewer"
                also = f"The rows show {abs(difference):,} {more}."
                problems.append(Problem("total_differs", "submission", None, field, also))
    return problems


def _count_episodes(rows: Rows) -> int:
    return len(rows["episodes"])


def _count_patients(rows: Rows) -> int:
    return rows["episodes"]["patient_id"].nunique()


def _count_treated(rows: Rows) -> int:
    return rows["treatments"]["episode_id"].nunique()


def _count_followed(rows: Rows) -> int:
    """Treated episodes with a test after their first attempt, or a contact on a later day."""
    first_day = rows["treatments"].groupby("episode_id")["day"].min()
    tests, contacts = rows["examinations"], rows["followups"]
    starts = tests["episode_id"].map(first_day)
    tested = tests["day"].gt(starts) | (tests["day"].eq(starts) & tests["after_attempt"].ge(1))
    met = contacts["day"].gt(contacts["episode_id"].map(first_day))
    followed = [
        tests.loc[tested.fillna(False), "episode_id"],
        contacts.loc[met.fillna(False), "episode_id"],
    ]
    return pd.concat(followed).nunique()


def _count_recurrences(rows: Rows) -> int:
    contacts = rows["followups"]
    return contacts.loc[
        contacts["recurrence_reported"].eq("yes").fillna(False), "episode_id"
    ].nunique()


def _count_canal(canal: str) -> Callable[[Rows], int]:
    return lambda rows: int(rows["episodes"]["recorded_canal"].eq(canal).sum())


COUNTS: dict[str, Callable[[Rows], int]] = {
    "counted_episodes": _count_episodes,
    "counted_patients": _count_patients,
    "counted_treated": _count_treated,
    "counted_followed": _count_followed,
    "counted_recurrences": _count_recurrences,
    "counted_posterior": _count_canal("posterior"),
    "counted_lateral": _count_canal("lateral"),
    "counted_anterior": _count_canal("anterior"),
}
