"""The model of resolution and of tests (pipeline/analyses/resolution/joint.py) with rates by the
variants of the plan, and with jumps by family and by kind of session: the first one, a later one of
the same family, or of another family than the first.

All episodes of a variant lend strength, not only those who were treated by a whole strategy, and
the days on which they were tested are evidence. Each rate is drawn to that of its canal and kind of
session, as if SHARED_ENDS resolutions had been seen at that rate; so are two families to each
other.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.cells import find_members
from pipeline.analyses.resolution.courses import (
    ANOTHER,
    BETWEEN,
    FIRST,
    SAME,
    Days,
    classify_canals,
    lay_out_days,
    list_members,
)
from pipeline.analyses.resolution.fitted import Fitted, fit_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.guard import Refusal, check_sites
from pipeline.statistics.hidden_end_model import NOT_SEEN
from pipeline.statistics.npmle_search import NotConverged
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, Spells
from schemas.study import Config, Study


class VariantCourses(NamedTuple):
    """Episodes day by day.

    Attributes
    ----------
    members
        As list_members of pipeline/analyses/resolution/courses.py gives them.
    days
        What was seen of each member on each day, and its sessions by kind.
    variants
        The variant of the plan of each member; missing where it is none.
    """

    members: pd.DataFrame
    days: Days
    variants: pd.Series

    @property
    def sites(self) -> np.ndarray:
        """The site of each member."""
        return self.members["site"].to_numpy(str)

    def count_heard(self, rows: np.ndarray) -> np.ndarray:
        """How many of these members had been tested or asked by each day from 1 on, (days,)."""
        seen = (self.days.result[rows] != NOT_SEEN) | (self.days.report[rows] != NOT_SEEN)
        return np.cumsum(seen, axis=1).astype(bool).sum(axis=0)


def lay_out_variants(
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
    config: Config,
) -> VariantCourses:
    """Lay out the first spells of treated positional episodes day by day."""
    members = list_members(adjudications, spells)
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    reasons = list_examined_days(examinations)
    days = relate_to_first(lay_out_days(members, tests, reasons, treatments, followups, config))
    return VariantCourses(members, days, name_variants(members, config.study))


def relate_to_first(days: Days) -> Days:
    """The same days with each later session's kind by the family of the first session: the same
    one, or another."""
    sessions = days.sessions
    first = sessions[sessions["kind"].eq(FIRST)].set_index("row")["family"]
    same = sessions["family"].eq(sessions["row"].map(first))
    kind = sessions["kind"].where(sessions["kind"].eq(FIRST), np.where(same, SAME, ANOTHER))
    return replace(days, sessions=sessions.assign(kind=kind))


def name_variants(members: pd.DataFrame, study: Study) -> pd.Series:
    """The variant of the plan to which each member belongs; missing where it is none."""
    named = pd.Series(pd.NA, index=members.index, dtype="string")
    for name in study.strategies.variants:
        named = named.mask(find_members(members, study.variants[name]), name)
    return named


def fit_variants(laid: VariantCourses, study: Study) -> Fitted | Refusal:
    """The fit of all, or why there is none."""
    refusal = check_sites(len(np.unique(laid.sites)), study.guards)
    if refusal:
        return refusal
    canals = pd.Series(classify_canals(laid.members), index=laid.members.index)
    named = canals.where(laid.variants.isna(), canals + BETWEEN + laid.variants.fillna(""))
    try:
        return fit_courses(
            laid.members, laid.days, study, named.to_numpy(str), study.guards.min_episodes
        )
    except NotConverged as failure:
        return Refusal("not_converged", str(failure))
