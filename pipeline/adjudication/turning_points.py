"""What would change a verdict: the one answer that would make an episode positional again, and the
other causes that cannot be decided because an answer is missing."""

import pandas as pd

from pipeline.adjudication.adjudicate import adjudicate_episodes
from pipeline.adjudication.findings import describe_tests
from pipeline.adjudication.reasons import list_reasons
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.keys import EPISODE_ID

# what a site itself recorded against it, and what it would have recorded otherwise
RECORDED = {"other_diagnosis": "none", "recorded_canal": "uncertain"}


def find_turning_points(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    criteria: Criteria,
) -> list[str]:
    """Find the single answers of an episode that was set apart which, given otherwise, would make
    it positional.

    Parameters
    ----------
    episodes
        One row.
    examinations, treatments, followups
        Its rows.
    criteria
        Criteria, flags and other causes.

    Returns
    -------
    list of str
        Columns of the episode; none where no single answer would, or the tests alone decide.
    """
    spared = {column: a for c in criteria.other_causes.values() for column, a in c.unless.items()}
    asked = dict.fromkeys(_list_answers(criteria), "no") | spared | RECORDED
    given = episodes.iloc[0]
    changed = {
        column: value
        for column, value in asked.items()
        if pd.notna(given[column]) and given[column] not in (value, "unknown")
    }
    if not changed:
        return []
    copies = [
        episodes.assign(**{EPISODE_ID: column, column: value}) for column, value in changed.items()
    ]
    tests, given_maneuvers, contacts = (
        pd.concat([table.assign(**{EPISODE_ID: column}) for column in changed], ignore_index=True)
        for table in (examinations, treatments, followups)
    )
    verdicts = _adjudicate(
        pd.concat(copies, ignore_index=True), tests, given_maneuvers, contacts, criteria
    )
    return [column for column in changed if verdicts[column] == "yes"]


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
) -> pd.Series:
    """Whether each episode is positional, by its code."""
    findings = describe_tests(examinations, treatments, criteria)
    reasons = list_reasons(episodes, examinations, findings, treatments, criteria)
    verdicts = adjudicate_episodes(
        episodes, examinations, findings, treatments, followups, reasons, criteria
    )
    return verdicts.set_index(EPISODE_ID)["positional"]
