"""What a strategy is, an order of maneuvers for one variant, and what is told of it."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.resolution.courses import ANOTHER, FIRST, SAME
from pipeline.statistics.g_formula import Course, Functional
from pipeline.statistics.scales import SHARE, Scale, differ, span
from schemas.order_plan import Strategies
from schemas.strata import THEN

DIFFERENCE = "difference_"  # before the term of a number less that of the usual strategy
COMPARED = {"comparison": "usual strategy"}
TOGETHER = " "  # between families of one session


class Strategy(NamedTuple):
    """The family of the first sessions, and the one that takes its place after `failures` of
    them."""

    first: str
    then: str
    failures: int

    @property
    def name(self) -> str:
        """Its families in order, the last of them again until negative."""
        same = self.first == self.then
        return THEN.join([self.then] if same else [self.first] * self.failures + [self.then])

    def list_families(self, sessions: int) -> list[str]:
        """The family of each session from the first on."""
        return [self.first if k < self.failures else self.then for k in range(sessions)]

    def list_sessions(self, sessions: int) -> list[tuple[str, str]]:
        """The kind and the family of each session from the first on."""
        families = self.list_families(sessions)
        kinds = [FIRST] + [SAME if family == self.first else ANOTHER for family in families[1:]]
        return list(zip(kinds, families, strict=True))


@dataclass(frozen=True)
class Measure:
    """A number told of each strategy: the weights of the shares unresolved after each day from 0
    on, whether it is one less their sum, and where it and its differences live."""

    weight: np.ndarray
    is_complement: bool
    scale: Scale
    difference: Scale

    @property
    def last_day(self) -> int:
        """The last day of which it tells."""
        return int(np.flatnonzero(self.weight)[-1])

    def of_course(self, course: Course) -> Functional:
        """The number under one strategy."""
        functional = course.add_up(self.weight)
        return functional.complement() if self.is_complement else functional


def list_strategies(usual: str, others: list[str]) -> list[Strategy]:
    """The usual strategy, then those of each other family: from the first session on, after one
    failure of the usual one, after two; and the other first, then the usual one."""
    listed = [Strategy(usual, usual, 1)]
    for other in others:
        listed += [
            Strategy(other, other, 1),
            Strategy(usual, other, 1),
            Strategy(usual, other, 2),
            Strategy(other, usual, 1),
        ]
    return listed


def find_strategies(sessions: pd.DataFrame, least: int) -> list[Strategy]:
    """Find the strategies of a variant that are compared, the usual one first.

    Parameters
    ----------
    sessions
        Those of its episodes: `kind` and `family`. A session of several families is of none.
    least
        From how many sessions on a family is in use.

    Returns
    -------
    list[Strategy]
        Of the families in use; none where no first session is of one family.
    """
    alone = sessions[~sessions["family"].str.contains(TOGETHER, regex=False).astype(bool)]
    firsts = alone.loc[alone["kind"].eq(FIRST), "family"].value_counts()
    if firsts.empty:
        return []
    usual, sizes = str(firsts.index[0]), alone["family"].value_counts()
    in_use = sizes.index[sizes >= least].sort_values()
    return list_strategies(usual, [family for family in in_use if family != usual])


def list_measures(plan: Strategies, last: int) -> dict[str, Measure]:
    """What is told of each strategy, by its term."""
    on_day = np.eye(last + 1)
    shares = {f"resolved_by_day_{day}": on_day[day] for day in plan.days}
    shares |= {
        f"resolved_after_{n}_sessions": on_day[n * plan.retest_days]
        for n in range(1, plan.sessions)
    }
    until = on_day[: plan.horizon_day].sum(axis=0)
    given = on_day[np.arange(plan.sessions) * plan.retest_days].sum(axis=0)
    horizon, most = plan.horizon_day, plan.sessions
    return {term: Measure(weight, True, SHARE, differ(1.0)) for term, weight in shares.items()} | {
        "mean_days_with_vertigo": Measure(until, False, span(0, horizon), differ(horizon)),
        "mean_sessions": Measure(given, False, span(0, most), differ(most)),
    }
