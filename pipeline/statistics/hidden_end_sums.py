"""What is to be expected of each person on each day, given all that was seen.

By forward and backward sums over the days (Baum LE, Petrie T, Soules G, Weiss N. Ann Math Stat
1970;41:164-171, from memory) for the model of pipeline/statistics/hidden_end_model.py.

Within a day first the state may end, then somebody may leave, then whoever has not is tested or
not. Of those who have left nothing is seen, and the state goes on to end.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end_model import IN, OUT, Courses, Rates

BLOCK = 2048  # people at a time, so that their arrays stay in the processor's cache


@dataclass(frozen=True)
class Expected:
    """What is to be expected of a block of people; probabilities of (H, people).

    Attributes
    ----------
    rows
        The people.
    ended, outlasted
        That the state ended on a day, and that it outlasted it.
    there
        That the person was there, out of the state and in it.
    left
        That the person left, out of it and in it.
    weight
        The probability of all that is asked for, (people,).
    log_seen
        The log-probability of what was seen, (people,).
    """

    rows: slice
    ended: np.ndarray
    outlasted: np.ndarray
    there: tuple[np.ndarray, np.ndarray]
    left: tuple[np.ndarray, np.ndarray]
    weight: np.ndarray
    log_seen: np.ndarray


@dataclass(frozen=True)
class _Steps:
    """The probabilities of one block, (H, people) each.

    That the state outlasts a day or ends on it, of what was seen of who is there (out, in), of
    leaving (out, in), and whether nothing was seen.
    """

    outlast: np.ndarray
    end: np.ndarray
    seen: tuple[np.ndarray, np.ndarray]
    leave: tuple[np.ndarray, np.ndarray]
    silent: np.ndarray


@dataclass(frozen=True)
class _Forward:
    """The probability of what was seen up to each day and of each place, (H + 1, people).

    There in the state, there out of it, gone in it.
    """

    there_in: np.ndarray
    there_out: np.ndarray
    gone_in: np.ndarray
    total: np.ndarray


def expect(courses: Courses, rates: Rates) -> Iterator[Expected]:
    """Tell block by block what is to be expected.

    Parameters
    ----------
    courses
        What was seen.
    rates
        The parameters.

    Yields
    ------
    Expected
        Of the next block of people.
    """
    for expected in expect_until(courses, rates, ()):
        yield expected[0]


def expect_until(courses: Courses, rates: Rates, days: tuple[int, ...]) -> Iterator[list[Expected]]:
    """Tell the same, and what is to be expected together with the state's having ended by a day.

    Parameters
    ----------
    courses
        What was seen.
    rates
        The parameters.
    days
        The days by which it had ended; sums are over such courses alone.

    Yields
    ------
    list of Expected
        Of the next block of people: of all courses, then of those of each of `days`.
    """
    tables = _tabulate(rates)
    for first in range(0, len(courses.coming), BLOCK):
        rows = slice(first, min(first + BLOCK, len(courses.coming)))
        steps = _look_up(courses, rates, rows, tables)
        forward = _go_forward(steps)
        yield [_go_back(steps, forward, rows, until) for until in (None, *days)]


def _tabulate(rates: Rates) -> tuple[np.ndarray, np.ndarray]:
    natural, jump = rates.of_ends()
    return np.exp(-(natural + jump)), rates.of_seen()


def _look_up(
    courses: Courses, rates: Rates, rows: slice, tables: tuple[np.ndarray, np.ndarray]
) -> _Steps:
    outlast = tables[0][courses.end_code[:, rows]]
    seen = courses.seen_code[:, rows]
    leave = -np.expm1(-rates.leaving)
    return _Steps(
        outlast,
        1 - outlast,
        (tables[1][OUT][seen], tables[1][IN][seen]),
        (leave[OUT] * courses.watched[:, rows], leave[IN] * courses.watched[:, rows]),
        courses.silent[:, rows],
    )


def _go_forward(steps: _Steps) -> _Forward:
    days, people = steps.end.shape
    there_in, there_out, gone_in = (np.empty((days + 1, people)) for _ in range(3))
    there_in[0], there_out[0], gone_in[0] = 1.0, 0.0, 0.0
    gone_out = np.zeros(people)
    for k in range(days):
        still, silent = there_in[k] * steps.outlast[k], steps.silent[k]
        out = there_out[k] + there_in[k] * steps.end[k]
        gone_out = (gone_out + gone_in[k] * steps.end[k] + out * steps.leave[OUT][k]) * silent
        gone_in[k + 1] = (gone_in[k] * steps.outlast[k] + still * steps.leave[IN][k]) * silent
        there_in[k + 1] = still * (1 - steps.leave[IN][k]) * steps.seen[IN][k]
        there_out[k + 1] = out * (1 - steps.leave[OUT][k]) * steps.seen[OUT][k]
    return _Forward(
        there_in, there_out, gone_in, there_in[-1] + there_out[-1] + gone_in[-1] + gone_out
    )


def _stop(steps: _Steps, forward: _Forward, until: int) -> _Forward:
    """The same of courses that end by a day: after it nobody is in the state."""
    there_in, there_out = forward.there_in.copy(), forward.there_out.copy()
    gone_in = forward.gone_in.copy()
    there_in[until:], gone_in[until:] = 0.0, 0.0
    for k in range(until, len(steps.end)):
        there_out[k + 1] = there_out[k] * (1 - steps.leave[OUT][k]) * steps.seen[OUT][k]
    return _Forward(there_in, there_out, gone_in, forward.total)


def _go_back(steps: _Steps, forward: _Forward, rows: slice, until: int | None) -> Expected:
    """Backward sums; with `until` over courses that end by that day."""
    days, people = steps.end.shape
    if until is not None:
        forward = _stop(steps, forward, until)
    ended, outlasted, in_there, out_there, in_left, out_left = (
        np.empty((days, people)) for _ in range(6)
    )
    scale = 1 / forward.total
    # the probability of what is seen after a day, of each place, over the probability of all
    there_in, there_out, gone_in, gone_out = (scale.copy() for _ in range(4))
    for k in reversed(range(days)):
        if until is not None and k + 1 >= until:
            there_in, gone_in = np.zeros(people), np.zeros(people)
        silent = steps.silent[k]
        in_there[k] = forward.there_in[k + 1] * there_in
        out_there[k] = forward.there_out[k + 1] * there_out
        leaves_in = steps.leave[IN][k] * silent * gone_in
        leaves_out = steps.leave[OUT][k] * silent * gone_out
        after_in = (1 - steps.leave[IN][k]) * steps.seen[IN][k] * there_in + leaves_in
        after_out = (1 - steps.leave[OUT][k]) * steps.seen[OUT][k] * there_out + leaves_out
        gone_in, gone_out = silent * gone_in, silent * gone_out
        still, ends = forward.there_in[k] * steps.outlast[k], forward.there_in[k] * steps.end[k]
        in_left[k] = still * leaves_in
        out_left[k] = (forward.there_out[k] + ends) * leaves_out
        ended[k] = ends * after_out + forward.gone_in[k] * steps.end[k] * gone_out
        outlasted[k] = still * after_in + forward.gone_in[k] * steps.outlast[k] * gone_in
        there_in = steps.outlast[k] * after_in + steps.end[k] * after_out
        there_out = after_out
        gone_in = steps.outlast[k] * gone_in + steps.end[k] * gone_out
    return Expected(
        rows,
        ended,
        outlasted,
        (out_there, in_there),
        (out_left, in_left),
        there_in,
        np.log(forward.total),
    )
