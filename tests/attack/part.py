"""One part of a program: the counts that hang together, as one mixed-integer program that is asked
many questions."""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

# of the tree of one program; a question that takes more is not settled, on every machine alike
NODES = 1000
SMALL = 10
OPEN = (0, 10**6)

Row = tuple[np.ndarray, np.ndarray, float, float, str]


class Part:
    """The free counts `inside` (counts,) with the rules that touch them;
    a list of choices has a 0-1 count for each of its rows."""

    def __init__(
        self,
        inside: np.ndarray,
        low: np.ndarray,
        high: np.ndarray,
        rows: list[Row],
        choices: list[tuple],
    ) -> None:
        self.fixed, self.inside = low, np.flatnonzero(inside)
        self.column = {int(k): c for c, k in enumerate(self.inside)}
        width = len(self.inside) + sum(len(fitting) for _, fitting in choices)
        self.low, self.high = np.zeros(width), np.ones(width)
        self.low[: len(self.inside)], self.high[: len(self.inside)] = low[inside], high[inside]
        lines = [
            self._line(zip(index, times, strict=True), least, most)
            for index, times, least, most, _ in rows
        ]
        at = len(self.inside)
        for index, fitting in choices:
            picks = range(at, at + len(fitting))
            at += len(fitting)
            lines.append((dict.fromkeys(picks, 1.0), 1.0, 1.0))
            for k, place in enumerate(index):
                terms, least, most = self._line([(place, -1.0)], 0.0, 0.0)
                lines.append(
                    (
                        terms | {c: float(row[k]) for c, row in zip(picks, fitting, strict=True)},
                        least,
                        most,
                    )
                )
        self.constraint = _gather(lines, width)
        self.found = np.empty((0, width))

    def _line(self, terms, least: float, most: float) -> tuple[dict[int, float], float, float]:
        """A rule on the free counts: what is fixed goes to its ends."""
        terms = [(int(k), float(times)) for k, times in terms]
        known = sum(times * self.fixed[k] for k, times in terms if k not in self.column)
        return (
            {self.column[k]: times for k, times in terms if k in self.column},
            least - known,
            most - known,
        )

    def ask(self, sums: list[dict[int, int]]) -> list[tuple[int, int] | None]:
        """For each sum of counts the least and the greatest it can be; (0, many)
        as soon as it can be something else than 1 to 10, and None if that was not settled."""
        lines = [self._line(total.items(), 0.0, 0.0) for total in sums]
        known = np.array([-least for _, least, _ in lines])
        weights = _gather([(terms, 0.0, 0.0) for terms, _, _ in lines], len(self.low)).A
        self._look_around(min(8, len(sums) // 2))
        answers = []
        for k in range(len(sums)):
            weight = weights[[k]].toarray().ravel()
            answers.append(self._reach(weight, known[k]))
        return answers

    def _reach(self, weight: np.ndarray, known: float) -> tuple[int, int] | None:
        low = high = None
        for side in (1, -1):
            if self._is_refuted(weight, known):
                return OPEN
            solved = self._minimise(side * weight)
            if solved is None:
                return OPEN if self._is_refuted(weight, known) else None
            low, high = (solved, high) if side == 1 else (low, -solved)
        return round(low + known), round(high + known)

    def _is_refuted(self, weight: np.ndarray, known: float) -> bool:
        """Whether a witness shows that a sum can be something else than 1 to 10."""
        values = self.found @ weight + known
        return bool(np.any((values < 0.5) | (values > SMALL + 0.5)))

    def _minimise(self, weight: np.ndarray) -> float | None:
        """The proved minimum of a sum; None where it was not reached.

        The solution is kept as a witness.
        """
        done = milp(
            weight,
            integrality=np.ones(len(weight)),
            bounds=Bounds(self.low, self.high),
            constraints=self.constraint,
            options={"node_limit": NODES, "mip_rel_gap": 0.0},
        )
        if done.x is not None:
            self.found = np.vstack([self.found, np.round(done.x)])
        return float(np.round(done.x) @ weight) if done.status == 0 else None

    def _look_around(self, times: int) -> None:
        """Some pools that fit, as unlike as possible: many groups are seen to be of any size
        without a program of their own."""
        draw = np.random.default_rng(1)
        counts = np.arange(len(self.low)) < len(self.inside)
        tries = [
            counts.astype(float),
            -counts.astype(float),
            *(draw.normal(size=len(self.low)) * counts for _ in range(6)),
        ]
        for weight in tries[:times]:
            self._minimise(weight)


def _gather(lines: list[tuple[dict[int, float], float, float]], width: int) -> LinearConstraint:
    lines = [line for line in lines if line[0]] or [({0: 1.0}, -np.inf, np.inf)]
    row = np.repeat(np.arange(len(lines)), [len(terms) for terms, _, _ in lines])
    column = np.array([c for terms, _, _ in lines for c in terms])
    values = np.array([times for terms, _, _ in lines for times in terms.values()])
    matrix = csr_array((values, (row, column)), shape=(len(lines), width))
    return LinearConstraint(
        matrix, [least for _, least, _ in lines], [most for _, _, most in lines]
    )
