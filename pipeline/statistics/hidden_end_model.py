"""A hidden state that ends, and tests on days that may have been chosen for its sake.

Days are whole, 1 to H. A person is in the state until its end on one of these days, or later.

- The end has on each day the hazard 1 - exp(-m (natural[class] + jump[class])): a natural rate, a
  jump on days after something was done for it, and a multiplier m of the person's group, 1 unless
  groups are compared.
- A test comes with probability 1 - exp(-(planned[habit] keeping[state] + chosen[state])): the
  habits are the place's own; whoever is out of the state keeps appointments more often or less
  (keeping, 1 in the state), and comes of their own accord more often or less (chosen). The two are
  competing causes; the reason of a test may be known.
- A test is positive with probability showing[state], and a report of symptoms is "yes" with
  probability telling[state]: one minus specificity, and sensitivity. A late test, one that comes
  long after the state seemed to have ended, may also show that it has come again: of those out of
  the state it is positive with probability `returning`.
- On each day somebody stays away for good, without a word, with rate leaving[state].

So the days of tests, and days without any, are evidence, where a likelihood of intervals takes them
as given. Models of this kind: Grüger J, Kay R, Schumacher M. Biometrics 1991;47:595-605; Lange JM,
Hubbard RA, Inoue LYT, Minin VN. Biometrics 2015;71:90-101 (both from memory). The fit is in
pipeline/statistics/hidden_end.py. All days that are alike for the model share a code, so that the
probability of what was seen on them is read from a small table.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

SMALLEST_RATE = 1e-10  # a rate below it is none
NOTHING_DONE = 0  # the class of days on which nothing was done
UNWATCHED, NO_TEST, TESTED, PLANNED, CHOSEN = range(5)  # what came on a day, and why if known
NOT_SEEN = -1  # no test, no report
NEGATIVE, POSITIVE, LATE_NEGATIVE, LATE_POSITIVE = range(4)  # what tests showed
SEEN = 5, 5, 3  # how many things may come on a day, be shown, be reported
SEEN_PER_HABIT = 5 * 5 * 3
IN, OUT = 1, 0  # the state, as an index


@dataclass(frozen=True)
class Prior:
    """What is known beforehand.

    Attributes
    ----------
    tests
        Of how many tests; of infinitely many it is certain, as appointments may be.
    sensitivity, specificity
        Those of these tests.
    ends
        Of how many ends the rates of the end are known.
    natural, jump
        Around which rates; around those of `begin` if None.
    others
        Of how many events the rates of chosen tests and of leaving are known, around those of
        `begin`.
    appointments
        Of how many appointments it is known that they are kept as well out of the state as in it.
    """

    tests: float
    sensitivity: float
    specificity: float
    ends: float = 0.1
    natural: np.ndarray | None = None
    jump: np.ndarray | None = None
    others: float = 0.1
    appointments: float = 5.0


@dataclass(frozen=True)
class Sizes:
    """How many natural classes, jump classes, habits and groups there are."""

    natural: int
    jump: int
    habits: int
    groups: int = 1

    @property
    def compared(self) -> int:
        """How many groups have a multiplier of their own: none where there is one group."""
        return self.groups if self.groups > 1 else 0


@dataclass(frozen=True)
class Courses:
    """What was seen of n people on days 1 to H.

    Attributes
    ----------
    natural_class, jump_class, habit
        Numbers of the rates that hold on each day, (n, H); jump class 0 is of nothing done.
    coming
        UNWATCHED where no test could come, NO_TEST where none did, TESTED where one did, PLANNED or
        CHOSEN where its reason is known, (n, H).
    result
        NEGATIVE or POSITIVE, or these of a late test; NOT_SEEN elsewhere, (n, H).
    report
        1 where people said that the state lasts, 0 where they said that it has ended; NOT_SEEN
        elsewhere, (n, H).
    prior
        What is known beforehand.
    sizes
        How many classes, habits and groups there are.
    group
        The group of each person, (n,).
    """

    natural_class: np.ndarray
    jump_class: np.ndarray
    habit: np.ndarray
    coming: np.ndarray
    result: np.ndarray
    report: np.ndarray
    prior: Prior
    sizes: Sizes
    group: np.ndarray | None = None

    def keep(self, rows: np.ndarray) -> "Courses":
        """Keep some people; rates keep their numbers."""
        names = [n for n in self.__dataclass_fields__ if n not in ("prior", "sizes")]
        arrays = {n: getattr(self, n) for n in names}
        return replace(self, **{n: a[rows] for n, a in arrays.items() if a is not None})

    @cached_property
    def watched(self) -> np.ndarray:
        """1 where a test could come, 0 elsewhere; (H, n)."""
        return np.ascontiguousarray((self.coming != UNWATCHED).T.astype(float))

    @cached_property
    def silent(self) -> np.ndarray:
        """1 where nothing was seen, 0 elsewhere; (H, n)."""
        nothing = (self.coming <= NO_TEST) & (self.report == NOT_SEEN)
        return np.ascontiguousarray(nothing.T.astype(float))

    @cached_property
    def test_rate(self) -> float:
        """Tests per day under observation."""
        return (self.coming > NO_TEST).sum() / max(1, self.watched.sum())

    @cached_property
    def end_code(self) -> np.ndarray:
        """One number for each combination of group, natural and jump class; (H, n)."""
        group = 0 if self.group is None else self.group[:, None]
        code = (group * self.sizes.natural + self.natural_class) * self.sizes.jump
        return np.ascontiguousarray((code + self.jump_class).T.astype(np.int32))

    @cached_property
    def seen_code(self) -> np.ndarray:
        """One number for each combination of habit and what was seen on a day; (H, n)."""
        comings, results, reports = SEEN
        code = (self.habit * comings + self.coming) * results + self.result + 1
        return np.ascontiguousarray((code * reports + self.report + 1).T.astype(np.int32))


@dataclass(frozen=True)
class Rates:
    """The parameters; pairs are out of the state, in it.

    Attributes
    ----------
    natural
        Natural rates.
    jump
        Jumps; the first is of nothing done, and 0.
    planned
        Planned tests by habit.
    keeping
        How appointments are kept (out; in: 1).
    chosen
        Chosen tests (out, in).
    showing, telling
        The probability that a test is positive, and that symptoms are reported (out, in).
    returning
        The probability that a late test is positive (out).
    leaving
        How many leave a day (out, in).
    multiplier
        Of each group.
    """

    natural: np.ndarray
    jump: np.ndarray
    planned: np.ndarray
    keeping: np.ndarray
    chosen: np.ndarray
    showing: np.ndarray
    telling: np.ndarray
    returning: np.ndarray
    leaving: np.ndarray
    multiplier: np.ndarray

    def of_ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Find the natural part and the jump of each end_code, times the group's multiplier."""
        shape = len(self.multiplier), len(self.natural), len(self.jump)
        natural = self.multiplier[:, None, None] * self.natural[:, None]
        jump = self.multiplier[:, None, None] * self.jump
        return np.broadcast_to(natural, shape).ravel(), np.broadcast_to(jump, shape).ravel()

    def of_tests(self) -> tuple[np.ndarray, np.ndarray]:
        """Find the rates of planned and of chosen tests, (habits, states)."""
        planned = self.planned[:, None] * self.keeping
        return planned, np.broadcast_to(self.chosen, planned.shape)

    def of_seen(self) -> np.ndarray:
        """Find the probability of each seen_code of who has not left.

        Out of the state and in it, (2, codes).
        """
        planned, chosen = self.of_tests()
        rate = np.maximum(planned + chosen, SMALLEST_RATE)
        tested = -np.expm1(-rate)
        ones = np.ones_like(rate)
        coming = np.stack(
            [ones, 1 - tested, tested, tested * planned / rate, tested * chosen / rate],
            axis=1,
        )
        late = np.array([self.returning[0], self.showing[IN]])
        result = np.stack([np.ones(2), 1 - self.showing, self.showing, 1 - late, late])
        report = np.stack([np.ones(2), 1 - self.telling, self.telling])
        table = coming[:, :, None, None, :] * result[:, None, :] * report
        return table.reshape(-1, 2).T.copy()


def begin(courses: Courses) -> Rates:
    """Choose rates to start from: alike for all classes and habits, or those of the prior."""
    prior, sizes = courses.prior, courses.sizes
    natural = np.full(sizes.natural, 0.05)
    jump = np.r_[0.0, np.full(sizes.jump - 1, 0.3)]
    return Rates(
        natural if prior.natural is None else prior.natural,
        jump if prior.jump is None else prior.jump,
        np.full(sizes.habits, max(courses.test_rate, 0.01) / 2),
        np.ones(2),
        np.array([0.005, 0.02]),
        np.array([1 - prior.specificity, prior.sensitivity]),
        np.array([0.1, 0.9]),
        np.array([0.05]),
        np.array([0.002, 0.001]),
        np.ones(sizes.groups),
    )
