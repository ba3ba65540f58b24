"""Integer programs: what a sum of counts can be, given all that is known.

Bounds of single counts are drawn together first. Then each question is put to a program that
minimises and maximises it (HiGHS by scipy.optimize.milp). A solution that answers one question is a
witness for all others: a group that has another size than 1 to 10 in any possible pool needs no
program of its own.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from tests.attack.groups import Sum
from tests.attack.part import Part
from tests.attack.system import EVERYBODY, SMALL, Choice, Question, System

ROUNDING = 1e-6


class Contradiction(Exception):
    """No pool fits all that was printed: a fault of a table, or of this attack."""


@dataclass(frozen=True)
class Answer:
    """What the group of a question can be: from `low` to `high` people;
    not `settled` if the programs ended before they knew."""

    question: Question
    low: int
    high: int
    settled: bool = True

    @property
    def exact(self) -> bool:
        """Whether the number of people came out, and is 1 to 10."""
        return self.small and self.low == self.high

    @property
    def small(self) -> bool:
        """Whether it is proved to be 1 to 10, whichever."""
        return self.settled and self.low >= 1 and self.high <= SMALL


class Program:
    """The counts of a system as variables, with their bounds drawn together."""

    def __init__(self, system: System, known: "Program | None" = None) -> None:
        self.names = sorted(system.names)
        self.place = {name: k for k, name in enumerate(self.names)}
        self.low, self.high = np.zeros(len(self.names)), np.full(len(self.names), float(EVERYBODY))
        if known:
            old = np.array([known.place.get(name, -1) for name in self.names])
            self.low = np.where(old >= 0, known.low[old], self.low)
            self.high = np.where(old >= 0, known.high[old], self.high)
        self.choices = list(system.choices)
        self.rows = [
            (
                np.array([self.place[n] for n in rule.total]),
                np.array([*rule.total.values()], float),
                rule.low,
                rule.high,
                rule.why,
            )
            for rule in system.rules.values()
        ]
        self.tighten()

    def tighten(self) -> None:
        """Draw the bounds together until no rule and no list of choices moves one."""
        waiting, of = set(range(len(self.rows))), defaultdict(set)
        lists, listed = set(range(len(self.choices))), defaultdict(set)
        for r, (index, *_) in enumerate(self.rows):
            for k in index:
                of[k].add(r)
        for c, choice in enumerate(self.choices):
            for name in choice.names:
                listed[self.place[name]].add(c)
        while waiting or lists:
            moved: set[int] = set()
            for r in sorted(waiting):
                moved |= self._tighten_row(r)
            for c in sorted(lists.union(*(listed[k] for k in moved))):
                moved |= self._tighten_choice(c)
            waiting = set().union(*(of[k] for k in moved))
            lists = set().union(*(listed[k] for k in moved))

    def _tighten_row(self, r: int) -> set[int]:
        index, times, low, high, why = self.rows[r]
        least = np.where(times > 0, times * self.low[index], times * self.high[index])
        most = np.where(times > 0, times * self.high[index], times * self.low[index])
        if least.sum() > high + ROUNDING or most.sum() < low - ROUNDING:
            raise Contradiction(why)
        room = (
            high - (least.sum() - least),
            low - (most.sum() - most),
        )  # for each count: at most, at least, times its number
        upper = np.where(times > 0, room[0] / times, room[1] / times)
        lower = np.where(times > 0, room[1] / times, room[0] / times)
        upper, lower = np.floor(upper + ROUNDING), np.ceil(lower - ROUNDING)
        moved = (upper < self.high[index]) | (lower > self.low[index])
        self.high[index], self.low[index] = (
            np.minimum(self.high[index], upper),
            np.maximum(self.low[index], lower),
        )
        if np.any(self.low[index] > self.high[index]):
            raise Contradiction(why)
        return set(index[moved].tolist())

    def _tighten_choice(self, c: int) -> set[int]:
        moved, choice = set(), self.choices[c]
        index = [self.place[name] for name in choice.names]
        rows = np.array(choice.rows, dtype=float).reshape(-1, len(index))
        fits = np.all((rows >= self.low[index]) & (rows <= self.high[index]), axis=1)
        if not fits.any():
            raise Contradiction(choice.why)
        if not fits.all():
            rows = rows[fits]
            self.choices[c] = Choice(
                choice.names, tuple(tuple(int(v) for v in row) for row in rows), choice.why
            )
        for place, least, most in zip(index, rows.min(axis=0), rows.max(axis=0), strict=True):
            if least > self.low[place] or most < self.high[place]:
                self.low[place], self.high[place] = (
                    max(self.low[place], least),
                    min(self.high[place], most),
                )
                moved.add(place)
        return moved

    def reach(self, total: Sum) -> tuple[float, float]:
        """The least and the most that the bounds of single counts allow for a sum;
        nothing is known of a name that is new."""
        if not set(total) <= self.place.keys():
            return 0, EVERYBODY
        low = sum(n * (self.low if n > 0 else self.high)[self.place[k]] for k, n in total.items())
        high = sum(n * (self.high if n > 0 else self.low)[self.place[k]] for k, n in total.items())
        return low, high

    def solve(self, questions: list[Question]) -> list[Answer]:
        """An answer to each question whose group is proved to be of 1 to 10 people,
        or that was not settled."""
        unsettled: set[int] = set()
        reached = {id(question): self.reach(question.total) for question in questions}
        open_questions = []
        for question in questions:
            low, high = reached[id(question)]
            if low < high and low <= SMALL and high >= 1:
                open_questions.append(question)
        for part, asked in self._split(open_questions):
            sums = [
                {self.place[name]: number for name, number in question.total.items()}
                for question in asked
            ]
            for question, ends in zip(asked, part.ask(sums), strict=True):
                known = reached[id(question)]
                if ends is None:
                    unsettled.add(id(question))
                else:
                    reached[id(question)] = max(ends[0], known[0]), min(ends[1], known[1])
        answers = [
            Answer(
                question,
                *(int(end) for end in reached[id(question)]),
                id(question) not in unsettled,
            )
            for question in questions
        ]
        return [answer for answer in answers if answer.small or not answer.settled]

    def _split(self, questions: list[Question]) -> list[tuple[Part, list[Question]]]:
        """The questions by parts of the system that have nothing to do with one another."""
        free = self.low < self.high
        rows = [row for row in self.rows if free[row[0]].any()]
        lists = [
            (np.array([self.place[n] for n in choice.names]), choice.rows)
            for choice in self.choices
        ]
        lists = [(index, fitting) for index, fitting in lists if free[index].any()]
        asked = [np.array([self.place[name] for name in question.total]) for question in questions]
        leader = join(
            [
                index[free[index]]
                for index in [*(row[0] for row in rows), *(i for i, _ in lists), *asked]
            ],
            len(free),
        )
        parts: dict[int, tuple[list, list, list]] = defaultdict(lambda: ([], [], []))
        for place, things in enumerate(
            (
                zip(questions, asked, strict=True),
                ((row, row[0]) for row in rows),
                ((c, c[0]) for c in lists),
            )
        ):
            for thing, index in things:
                parts[leader[index[free[index]][0]]][place].append(thing)
        return [
            (
                Part(free & (leader == root), self.low, self.high, part_rows, part_lists),
                part_questions,
            )
            for root, (part_questions, part_rows, part_lists) in sorted(parts.items())
            if part_questions
        ]


def join(groups: list[np.ndarray], size: int) -> np.ndarray:
    """The number of the part to which each of `size` things belongs,
    when those of one group belong together."""
    pairs = [(group[:-1], group[1:]) for group in groups if len(group) > 1]
    one, other = (
        np.concatenate([pair[k] for pair in pairs]) if pairs else np.empty(0, int) for k in (0, 1)
    )
    return connected_components(
        coo_array((np.ones(len(one)), (one, other)), shape=(size, size)), directed=False
    )[1]
