"""Clones of the patients of one variant, one a strategy, and their weights.

Everybody is cloned into each strategy. A clone is censored at the first decision at which what was
given departs from its strategy, the first session being a decision too; a clone that is not has the
weight

    1 / (product over its decisions of P(what the strategy asks for | what was known then)),

so that those who kept to a strategy stand for those who did not (Robins JM, Finkelstein DM.
Biometrics 2000;56:779-788; Hernan MA, Robins JM. Am J Epidemiol 2016;183:758-764; both from
memory). At each decision the weights of those who keep to the strategy are made to add up to those
of all who stand there: as they do on average, so that a strategy has the same weight before and
after. What was seen of a censored clone until then counts through those who stand for it. Where
nobody keeps to the strategy, nobody can: the clones keep their weight, and are known to be
unresolved until then. No probability asks what came after its decision.

What two strategies share until they differ has the same weight in both and says nothing of their
difference. With a and b their weights, each divided by its sum, and m the lesser of both, the
difference of two means is (1 - sum of m) times that of the means with weights b - m and a - m.
"""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import pandas as pd

from pipeline.analyses.order.choice_probabilities import find_probabilities
from pipeline.analyses.order.strategy import Strategy
from pipeline.statistics.guard import Refusal
from schemas.study import Study

ROUNDING = 1e-12  # of a weight, whose sum is 1


class Kept(NamedTuple):
    """The clones that keep to a strategy at the decisions after one session: their members and
    their decisions; `standing` are the members of all who stood there."""

    latest: str
    asked: str
    rows: np.ndarray
    at: np.ndarray
    standing: np.ndarray


@dataclass(frozen=True)
class Clones:
    """The clones of one strategy.

    Attributes
    ----------
    strategy
        The strategy.
    begun
        Whose first session kept to it, (members,) of bool.
    alive
        Who has weight: was never censored, or where nobody could go on, (members,) of bool.
    until
        The day after which nothing is told of those where nobody could go on; infinite for all
        others, (members,).
    kept
        The decisions in order of sessions.
    switched
        Who was given the first session of the second family, or, where there is none, the second
        session, in keeping with the strategy, (members,) of bool.
    """

    strategy: Strategy
    begun: np.ndarray
    alive: np.ndarray
    until: np.ndarray
    kept: list[Kept]
    switched: np.ndarray


@dataclass(frozen=True)
class Choices:
    """The choices that were made for the patients of one variant.

    Attributes
    ----------
    members
        As describe_first of pipeline/analyses/order/decisions.py gives them, numbered from 0 on.
    decisions
        As list_decisions gives them, `row` being that of `members`.
    study
        The plan.
    """

    members: pd.DataFrame
    decisions: pd.DataFrame
    study: Study
    _found: dict[tuple[str, ...], np.ndarray | Refusal] = field(default_factory=dict)

    def clone(self, strategy: Strategy) -> Clones:
        """Clone everybody into a strategy, and censor at the first departure."""
        begun = self.members["family"].eq(strategy.first).fillna(False).to_numpy(bool)
        alive, switched, kept = begun.copy(), np.zeros(len(begun), bool), []
        until = np.full(len(begun), np.inf)
        row_of, day_of = self.decisions["row"].to_numpy(int), self.decisions["day"].to_numpy(float)
        number_of = self.decisions["number"].to_numpy(int)
        families = strategy.list_families(self.study.strategies.sessions)
        for number, (latest, asked) in enumerate(pairwise(families), start=1):
            goes_on = alive & np.isinf(until)
            at = np.flatnonzero((number_of == number) & goes_on[row_of])
            given = self.decisions["given"].eq(asked).to_numpy(bool)[at]
            keeps = given | self.decisions["ended"].to_numpy(bool)[at]
            if number == strategy.failures:
                switched[row_of[at[given]]] = True
            if not keeps.any():
                until[row_of[at]] = day_of[at]
                continue
            alive[row_of[at[~keeps]]] = False
            kept.append(Kept(latest, asked, row_of[at[keeps]], at[keeps], row_of[at]))
        return Clones(strategy, begun, alive, until, kept, switched)

    def find_intervals(self, clones: Clones) -> tuple[np.ndarray, np.ndarray]:
        """Between which days each clone was resolved, (left, right]: (members,) each."""
        left, right = (self.members[side].to_numpy(float) for side in ("left", "right"))
        return np.minimum(left, clones.until), np.where(np.isinf(clones.until), right, np.inf)

    def weigh(self, clones: Clones) -> np.ndarray | Refusal:
        """Find the weights of the clones of a strategy, or why there are none.

        Returns
        -------
        np.ndarray | Refusal
            The first sample holds all, each other one leaves out a site, in order of names; 0 of
            whoever is censored, (samples, members).
        """
        chances = self._find_probabilities(clones.strategy.first)
        if isinstance(chances, Refusal):
            return chances
        weights = _invert(chances) * (clones.begun & self._stays)
        for kept in clones.kept:
            chances = self._find_probabilities(kept.latest, kept.asked)
            if isinstance(chances, Refusal):
                return chances
            before = weights[:, kept.standing].sum(axis=1)
            worth = weights[:, kept.rows] * _invert(chances)[:, kept.at]
            weights[:, kept.rows] = worth * _divide(before, worth.sum(axis=1))[:, None]
        return weights * clones.alive

    @property
    def _stays(self) -> np.ndarray:
        site = self.members["site"].to_numpy(str)
        return np.vstack([np.full(len(site), True), site != np.unique(site)[:, None]])

    def _find_probabilities(self, *families: str) -> np.ndarray | Refusal:
        """The probability of a family at the first session, (samples, members), or of the second
        one after the first, (samples, decisions), 0 where another came before."""
        if families not in self._found:
            find = self._find_first if len(families) == 1 else self._find_next
            self._found[families] = find(*families)
        return self._found[families]

    def _find_first(self, family: str) -> np.ndarray | Refusal:
        chosen = self.members["family"].eq(family).fillna(False).to_numpy(bool)
        terms, guards = self.study.first_choice.terms, self.study.guards
        return find_probabilities(self.members, terms, chosen, self._stays, guards)

    def _find_next(self, latest: str, asked: str) -> np.ndarray | Refusal:
        at = np.flatnonzero(self.decisions["latest"].eq(latest))
        rows = self.decisions.iloc[at].reset_index(drop=True)
        keeps = (rows["given"].eq(asked) | rows["ended"]).to_numpy(bool)
        stays = self._stays[:, rows["row"]]
        terms, guards = self.study.strategies.terms, self.study.guards
        found = find_probabilities(rows, terms, keeps, stays, guards)
        if isinstance(found, Refusal):
            return found
        chances = np.zeros((len(stays), len(self.decisions)))
        chances[:, at] = found
        return chances


def take_apart(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Take what two strategies share out of their weights.

    Parameters
    ----------
    first, second
        The weights of both, (samples, members).

    Returns
    -------
    tuple of np.ndarray
        What is left of the weights of each, divided by their sum before, (samples, members), and
        how much that is, (samples,).
    """
    a, b = (_divide(each, each.sum(axis=1, keepdims=True)) for each in (first, second))
    shared = np.minimum(a, b)
    left = [np.where(each - shared > ROUNDING, each - shared, 0.0) for each in (a, b)]
    return left[0], left[1], 1 - shared.sum(axis=1)


def _invert(chances: np.ndarray) -> np.ndarray:
    return _divide(np.ones_like(chances), chances)


def _divide(number: np.ndarray, by: np.ndarray) -> np.ndarray:
    """0 where divided by 0."""
    return np.divide(number, by, out=np.zeros_like(number), where=by > 0)
