"""When a hidden state ended: the fit of pipeline/statistics/hidden_end_model.py.

By the EM algorithm (Dempster AP, Laird NM, Rubin DB. J R Stat Soc B 1977;39:1-38) with the day of
the end as what is missing: events of a rate that is a sum are split in proportion. A sweep counts
expected days by code, and maximises from these counts alone. Standard errors are in
pipeline/statistics/hidden_end_influence.py.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.statistics.hidden_end_model import (
    CHOSEN,
    IN,
    LATE_NEGATIVE,
    NO_TEST,
    NOTHING_DONE,
    OUT,
    PLANNED,
    SEEN,
    SEEN_PER_HABIT,
    SMALLEST_RATE,
    TESTED,
    Courses,
    Rates,
    time_before_event,
)
from pipeline.statistics.hidden_end_sums import expect
from pipeline.statistics.npmle_search import NotConverged

MAX_SWEEPS = 3000
TOLERANCE = 1e-9  # rise of the log-likelihood per person in one sweep, below which a fit has ended
SHORTEST_LEAP = 1.1  # of two sweeps, which are 1
HABIT_DAYS = 1.0  # days of exposure by which a habit is drawn to the rate of tests in all
REPORT_PRIOR = 0.5  # of a report, on each side, by which reports are kept from 0 and 1


@dataclass(frozen=True)
class Counts:
    """Expected numbers of days, given all that was seen.

    Attributes
    ----------
    ended, outlasted
        By end_code: days on which the state ended, and which it outlasted.
    seen
        By seen_code: days of who was there, out of the state and in it.
    left, stayed
        How many left, and on how many days others did not (out, in).
    log_likelihood
        Of all that was seen.
    """

    ended: np.ndarray
    outlasted: np.ndarray
    seen: np.ndarray
    left: np.ndarray
    stayed: np.ndarray
    log_likelihood: float


@dataclass(frozen=True)
class HiddenEnd:
    """A fit.

    Attributes
    ----------
    rates
        The parameters.
    weight
        weight[i, k] is the probability that person i's state ended on day k + 1, the last column
        that it lasts longer than H, each given all that was seen of the person.
    value, sweeps
        The penalised log-likelihood, and the rounds of the fit.
    """

    rates: Rates
    weight: np.ndarray
    value: float
    sweeps: int

    def share_ended(self, days: np.ndarray, rows: np.ndarray | None = None) -> np.ndarray:
        """Find the mean probability that the state had ended by each of `days`, whole, 1 to H.

        The mean is over the people `rows`; over all if None.
        """
        weight = self.weight if rows is None else self.weight[rows]
        return weight.mean(axis=0).cumsum()[np.asarray(days, dtype=int) - 1]


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


def fit_hidden_end(courses: Courses, start: Rates | None = None) -> HiddenEnd:
    """Fit the model by the greatest penalised likelihood (_log_prior).

    Two sweeps and one step along the way that they point to (Varadhan R, Roland C. Scand J Stat
    2008;35:335-353, from memory), which is halved until it does not fall.

    Parameters
    ----------
    courses
        What was seen.
    start
        Rates to start from; those of `begin` if None.

    Raises
    ------
    NotConverged
        Where the likelihood still rises after many sweeps, or falls in a plain one.
    """
    rates, n = start or begin(courses), len(courses.coming)
    counts = _count(courses, rates)
    value = counts.log_likelihood + _log_prior(courses, rates)
    for sweep in range(1, MAX_SWEEPS + 1):
        once = _maximise(courses, rates, counts)
        twice = _maximise(courses, once, _count(courses, once))
        for proposal in _extrapolate(rates, once, twice):
            counts = _count(courses, proposal)
            height = counts.log_likelihood + _log_prior(courses, proposal)
            if height >= value:
                break
        rise = (height - value) / n
        if rise < -TOLERANCE:
            raise NotConverged("the likelihood fell during the fit")
        rates, value = proposal, height
        if rise < TOLERANCE:
            return HiddenEnd(rates, find_weights(courses, rates), value, sweep)
    raise NotConverged(f"the likelihood still rises after {MAX_SWEEPS} sweeps")


def find_weights(courses: Courses, rates: Rates) -> np.ndarray:
    """Find the probability of each day of the end, and of none, given all that was seen.

    Returns
    -------
    np.ndarray
        (n, H + 1); the last column is of no end by day H.
    """
    blocks = []
    for expected in expect(courses, rates):
        blocks.append(np.vstack([expected.ended, expected.outlasted[-1:]]).T)
    return np.concatenate(blocks)


def _count(courses: Courses, rates: Rates) -> Counts:
    """The E-step."""
    n_ends = len(rates.multiplier) * len(rates.natural) * len(rates.jump)
    n_seen = len(rates.planned) * SEEN_PER_HABIT
    ended, outlasted, value = np.zeros(n_ends), np.zeros(n_ends), 0.0
    seen, left, stayed = np.zeros((2, n_seen)), np.zeros(2), np.zeros(2)
    for expected in expect(courses, rates):
        ends = courses.end_code[:, expected.rows].ravel()
        codes = courses.seen_code[:, expected.rows].ravel()
        watched = courses.watched[:, expected.rows]
        ended += np.bincount(ends, expected.ended.ravel(), n_ends)
        outlasted += np.bincount(ends, expected.outlasted.ravel(), n_ends)
        for state in (OUT, IN):
            there = expected.there[state]
            seen[state] += np.bincount(codes, there.ravel(), n_seen)
            left[state] += expected.left[state].sum()
            stayed[state] += (there * watched).sum()
        value += expected.log_seen.sum()
    return Counts(ended, outlasted, seen, left, stayed, float(value))


def _maximise(courses: Courses, rates: Rates, counts: Counts) -> Rates:
    """The M-step: the rates at which what is expected is likeliest, the multipliers last."""
    natural, jump = rates.of_ends()
    rate = np.maximum(natural + jump, SMALLEST_RATE)
    shape = len(rates.multiplier), len(rates.natural), len(rates.jump)
    exposed = (counts.outlasted + counts.ended * time_before_event(rate)).reshape(shape)
    by_natural, by_jump = ((counts.ended * part / rate).reshape(shape) for part in (natural, jump))
    weighed = exposed * rates.multiplier[:, None, None]
    prior = courses.prior
    new_natural = _rate(by_natural.sum((0, 2)), weighed.sum((0, 2)), prior.ends, prior.natural)
    new_jump = _rate(by_jump.sum((0, 1)), weighed.sum((0, 1)), prior.ends, prior.jump)
    new_jump[NOTHING_DONE] = 0.0
    multiplier = rates.multiplier
    if courses.group is not None:
        expected = exposed * (new_natural[:, None] + new_jump)
        multiplier = counts.ended.reshape(shape).sum((1, 2)) / expected.sum((1, 2))
    # state by habit, by what came, by result, by report
    seen = counts.seen.reshape(2, len(rates.planned), *SEEN)
    by_plan, by_choice, days = _split_tests(rates, seen.sum((3, 4)))
    exposed = rates.keeping @ days + HABIT_DAYS
    new_planned = (by_plan.sum(axis=0) + HABIT_DAYS * courses.test_rate) / exposed
    alike = prior.appointments
    kept = by_plan[OUT].sum() + alike, days[OUT] @ new_planned + alike
    results = seen.sum(
        (1, 2, 4)
    )  # state by not seen, negative, positive, late negative and positive
    late = results[OUT, 1 + LATE_NEGATIVE :]
    results = results[:, :3] + np.array([[0.0], [1.0]]) * results[:, [0, 3, 4]]
    leaving = np.maximum(rates.leaving, SMALLEST_RATE)
    return Rates(
        new_natural,
        new_jump,
        new_planned,
        np.array([kept[0] / kept[1], 1.0]),
        by_choice / np.maximum(days.sum(axis=1), SMALLEST_RATE),
        _probability(results, prior.tests, (1 - prior.specificity, prior.sensitivity)),
        _probability(seen.sum((1, 2, 3)), 2 * REPORT_PRIOR, (0.5, 0.5)),
        (late[1:] + REPORT_PRIOR) / (late.sum() + 2 * REPORT_PRIOR),
        counts.left / np.maximum(counts.stayed + counts.left * time_before_event(leaving), 1),
        multiplier,
    )


def _split_tests(rates: Rates, coming: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Expected planned tests by state and habit, and chosen ones by state.

    With them come the days of exposure by state and habit; `coming` has days by state, habit and
    what came.
    """
    planned, chosen = (rate.T for rate in rates.of_tests())
    rate = np.maximum(planned + chosen, SMALLEST_RATE)
    days = coming[..., NO_TEST] + coming[..., TESTED:].sum(-1) * time_before_event(rate)
    by_plan = coming[..., TESTED] * planned / rate + coming[..., PLANNED]
    by_choice = coming[..., TESTED] * chosen / rate + coming[..., CHOSEN]
    return by_plan, by_choice.sum(axis=1), days


def _rate(
    events: np.ndarray, exposed: np.ndarray, prior_events: float, prior_rate: np.ndarray | None
) -> np.ndarray:
    """Events per day, with those of a gamma prior of mode `prior_rate`."""
    if prior_rate is not None:
        events = events + prior_events
        exposed = exposed + prior_events / np.maximum(prior_rate, SMALLEST_RATE)
    return events / np.maximum(exposed, SMALLEST_RATE)


def _probability(days: np.ndarray, prior_days: float, prior: tuple[float, float]) -> np.ndarray:
    """The share of "yes" among what was seen in each state, with that of a beta prior.

    `days` are by state and not seen, no, yes.
    """
    return (days[:, 2] + prior_days * np.array(prior)) / (days[:, 1:].sum(axis=1) + prior_days)


def _log_prior(courses: Courses, rates: Rates) -> float:
    """What is added to the log-likelihood.

    Gamma priors of habits and, where there is one, of the rates of the end; beta priors of what
    tests show and people report.
    """
    planned = np.maximum(rates.planned, SMALLEST_RATE)
    total = HABIT_DAYS * (courses.test_rate * np.log(planned) - planned).sum()
    prior, keeping = courses.prior, rates.keeping[OUT]
    total += prior.appointments * (np.log(keeping) - keeping + 1)
    expected = np.array([1 - prior.specificity, prior.sensitivity])
    total -= prior.tests * _relative_entropy(expected, rates.showing)
    half = np.array([0.5])
    total -= 2 * REPORT_PRIOR * _relative_entropy(half, np.r_[rates.telling, rates.returning])
    for rate, centre in ((rates.natural, prior.natural), (rates.jump[1:], prior.jump)):
        if centre is not None:
            mode = np.maximum(centre[-len(rate) :] if len(rate) else centre[:0], SMALLEST_RATE)
            held = np.maximum(rate, SMALLEST_RATE)
            total += prior.ends * (np.log(held) - held / mode).sum()
    return float(total)


def _relative_entropy(expected: np.ndarray, probability: np.ndarray) -> float:
    """How far probabilities are from those that are expected; 0 where they are equal."""
    yes = expected * np.log(expected / probability)
    return float((yes + (1 - expected) * (np.log1p(-expected) - np.log1p(-probability))).sum())


def _extrapolate(before: Rates, once: Rates, twice: Rates) -> Iterator[Rates]:
    """Where two sweeps point to, then half as far, and so on, at last where the second led.

    No further than a tenth of a rate, so that none falls to 0.
    """
    rows = [_to_row(rates) for rates in (before, once, twice)]
    step, bend = rows[1] - rows[0], rows[2] - 2 * rows[1] + rows[0]
    length = np.sqrt((step @ step) / max(bend @ bend, SMALLEST_RATE**2))
    while length > SHORTEST_LEAP:
        reached = rows[0] + 2 * length * step + length**2 * bend
        yield _from_row(np.clip(reached, rows[2] / 10, None), twice)
        length = (length + 1) / 2
    yield twice


def _to_row(rates: Rates) -> np.ndarray:
    """All rates in a row, on the scale of roots, on which their errors are about alike."""
    probabilities = np.concatenate([rates.showing, rates.telling, rates.returning])
    odds = probabilities / (1 - probabilities)
    of_ends, of_tests = (
        (rates.natural, rates.jump[1:]),
        (rates.planned, rates.keeping, rates.chosen),
    )
    return np.sqrt(np.concatenate([*of_ends, *of_tests, rates.leaving, odds, rates.multiplier]))


def _from_row(row: np.ndarray, like: Rates) -> Rates:
    """Rates from a row as _to_row makes one."""
    sizes = len(like.natural), len(like.jump) - 1, len(like.planned), 2, 2, 2, 5
    natural, jump, planned, keeping, chosen, leaving, odds, multiplier = np.split(
        row**2, np.cumsum(sizes)
    )
    showing, telling, returning = np.split(odds / (1 + odds), [2, 4])
    tests = planned, keeping, chosen, showing, telling, returning
    return Rates(natural, np.r_[0.0, jump], *tests, leaving, multiplier)
