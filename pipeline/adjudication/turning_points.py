"""What would change a verdict: the one answer that would make an episode positional again, and the
other causes that cannot be decided because an answer is missing."""

import numpy as np
import pandas as pd

from pipeline.adjudication.adjudicate import adjudicate_episodes
from pipeline.adjudication.findings import describe_tests
from pipeline.adjudication.reasons import list_reasons
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.keys import EPISODE, EPISODE_ID

CHANGED = "column"  # the one whose answer differs in a copy of an episode
# what a site itself recorded against it, and what it would have recorded otherwise
RECORDED = {"other_diagnosis": "none", "recorded_canal": "uncertain"}


def find_turning_points(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    criteria: Criteria,
) -> pd.DataFrame:
    """Find the single answers of episodes that were set apart which, given otherwise, would make
    them positional.

    Parameters
    ----------
    episodes
        One row for each.
    examinations, treatments, followups
        Their rows; those of other episodes are left out.
    criteria
        Criteria, flags and other causes.

    Returns
    -------
    pd.DataFrame
        One row for each such answer, by episode: site, episode_id and the column of the answer. No
        row where no single answer would do it, or the tests alone decide.
    """
    spared = {column: a for c in criteria.other_causes.values() for column, a in c.unless.items()}
    asked = dict.fromkeys(_list_answers(criteria), "no") | spared | RECORDED
    pairs = [
        (row, column)
        for column, value in asked.items()
        for row in np.flatnonzero(_differs(episodes[column], value))
    ]
    copies = episodes.iloc[[row for row, _ in pairs]].reset_index(drop=True)
    copies[CHANGED] = pd.Series([column for _, column in pairs], dtype="string")
    for column, value in asked.items():
        copies.loc[copies[CHANGED].eq(column), column] = value
    named = copies[[*EPISODE, CHANGED]]
    if copies.empty:
        return named
    tests, given, contacts = (
        _name_copies(table.merge(named, on=EPISODE))
        for table in (examinations, treatments, followups)
    )
    verdicts = _adjudicate(_name_copies(copies), tests, given, contacts, criteria)
    back = verdicts.set_index(EPISODE)["positional"].eq("yes")
    of_copies = pd.MultiIndex.from_frame(_name_copies(copies)[EPISODE])
    found = named[back.reindex(of_copies).to_numpy(bool)]
    return found.sort_values(EPISODE, kind="stable", ignore_index=True)


def _differs(answer: pd.Series, value: str) -> pd.Series:
    """Whether something was answered, and something else."""
    return answer.notna() & ~answer.isin([value, "unknown"])


def _name_copies(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows of copies under codes of their own: that of the episode and the column that differs."""
    code = rows[EPISODE_ID].astype("string") + " " + rows[CHANGED].astype("string")
    return rows.assign(**{EPISODE_ID: code}).drop(columns=CHANGED)


def list_undecided(episode: pd.Series, criteria: Criteria) -> dict[str, list[str]]:
    """The other causes that no recorded answer rules out and whose answers are not all recorded,
    with the columns that are missing."""
    undecided = {}
    for name, cause in criteria.other_causes.items():
        known = {column: episode[column] for column in cause.answers}
        missing = [c for c, answer in known.items() if pd.isna(answer) or answer == "unknown"]
        ruled_out = any(
            answer != cause.answers[c] for c, answer in known.items() if c not in missing
        ) or any(episode[c] == answer for c, answer in cause.unless.items() if pd.notna(episode[c]))
        if missing and not ruled_out:
            undecided[name] = missing
    return undecided


def _list_answers(criteria: Criteria) -> list[str]:
    fields = [flag.field for flag in criteria.flags.values() if flag.field is not None]
    return fields + [column for cause in criteria.other_causes.values() for column in cause.answers]


def _adjudicate(
    episodes: pd.DataFrame,
    examinations: pd.DataFrame,
    treatments: pd.DataFrame,
    followups: pd.DataFrame,
    criteria: Criteria,
) -> pd.DataFrame:
    """The verdict on each episode."""
    findings = describe_tests(examinations, treatments, criteria)
    reasons = list_reasons(episodes, examinations, findings, treatments, criteria)
    return adjudicate_episodes(
        episodes, examinations, findings, treatments, followups, reasons, criteria
    )
