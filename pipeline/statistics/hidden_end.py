"""When a hidden state ended, from looks at it on days that may have been chosen for its sake.

Days are whole, 1 to H. A person is in the state until its end on one of these days, or later. The
end has the hazard of each day, 1 - exp(-rate), and a look the same form:

- rate of the end = natural[part] + jump[class], the jump only where something was done for it;
- rate of a look = planned[habit] + chosen[state]: the habits are the place's own, and whoever is in
  the state comes of their own accord more often than whoever is not, or less;
- what a look shows is right with given probabilities, and so is what people say, with
  probabilities that are estimated.

So the days of looks, and days without any, are evidence, where a likelihood of intervals takes them
as given. Fitted by the EM algorithm (Dempster AP, Laird NM, Rubin DB. J R Stat Soc B 1977;39:1-38)
with the day of the end as what is missing: a rate that is a sum is split in proportion. Models of
this kind: Grüger J, Kay R, Schumacher M. Biometrics 1991;47:595-605; Lange JM, Hubbard RA,
Inoue LYT, Minin VN. Biometrics 2015;71:90-101 (both from memory).
"""

from dataclasses import dataclass, replace

import numpy as np

from pipeline.statistics.npmle_search import NotConverged

SWEEPS = 1000
ENOUGH = 1e-8  # rise of the log-likelihood per person in one sweep, below which a fit is at its end
LEAST = 1e-10  # a rate below it is none
BORROWED = 1.0  # days of exposure by which a habit leans on the rate of looks in all
HALF = 0.5  # of a case by which what people say is kept from 0 and 1
NONE = 0  # the class of days on which nothing was done


@dataclass(frozen=True)
class Courses:
    """What was seen of n people on days 1 to H; arrays of (n, H).

    `part` and `habit` number the natural rate and the planned looks of each day, `done` the class
    of what was done for it (0: nothing), `watched` says whether a look could come, `looked` whether
    one came. `shown` is 1 where looks showed the state, 0 where they showed that it had ended, -1
    where nothing was shown; `said` is the same of what people said. `belief` is what was known
    beforehand of looks: how many, and how often they show the state (out of it, in it).
    """

    part: np.ndarray
    done: np.ndarray
    habit: np.ndarray
    watched: np.ndarray
    looked: np.ndarray
    shown: np.ndarray
    said: np.ndarray
    belief: tuple[float, float, float]

    def keep(self, rows: np.ndarray) -> "Courses":
        """The same of some people."""
        arrays = [name for name in self.__dataclass_fields__ if name != "belief"]
        return replace(self, **{name: getattr(self, name)[rows] for name in arrays})


@dataclass(frozen=True)
class Rates:
    """The parameters: natural rates, jumps (the first is of nothing done, and 0), planned looks by
    habit, chosen looks (out of the state, in it), how likely a look shows the state, and how likely
    it is said to last (out, in)."""

    natural: np.ndarray
    jump: np.ndarray
    planned: np.ndarray
    chosen: np.ndarray
    showing: np.ndarray
    telling: np.ndarray


@dataclass(frozen=True)
class HiddenEnd:
    """A fit: `weight[i, k]` is the probability that person i's state ended on day k + 1, the last
    column that it lasts longer than H; `expected` are the looks that the fit expects on each
    watched day, given all that was seen."""

    rates: Rates
    weight: np.ndarray
    value: float
    sweeps: int

    def share_ended(self, days: np.ndarray) -> np.ndarray:
        """The mean probability that the state had ended by each of `days`."""
        total = self.weight.mean(axis=0).cumsum()
        return total[np.asarray(days, dtype=int) - 1]


def begin(courses: Courses) -> Rates:
    """Rates to start from: alike for all parts and habits."""
    looks = courses.looked.sum() / max(1, courses.watched.sum())
    return Rates(
        np.full(courses.part.max() + 1, 0.05),
        np.r_[0.0, np.full(courses.done.max(), 0.3)],
        np.full(courses.habit.max() + 1, max(looks, 0.01) / 2),
        np.array([0.005, 0.02]),
        np.array(courses.belief[1:]),
        np.array([0.1, 0.9]),
    )


def fit_hidden_end(courses: Courses, start: Rates | None = None) -> HiddenEnd:
    """The fit of greatest penalised likelihood (_lean), from `start` if it is given.

    Two sweeps and one step along the way that they point to (Varadhan R, Roland C. Scand J Stat
    2008;35:335-353, from memory), which is taken back where it does not rise. Raises NotConverged
    where the likelihood still rises after many sweeps, or falls in a plain one.
    """
    rates, n = start or begin(courses), len(courses.part)
    weight, value = _expect(courses, rates)
    for sweep in range(1, SWEEPS + 1):
        once = _maximise(courses, rates, weight)
        twice = _maximise(courses, once, _expect(courses, once)[0])
        leapt = _leap(rates, once, twice)
        found, height = _expect(courses, leapt)
        if not height >= value:
            leapt = twice
            found, height = _expect(courses, leapt)
        rise = (height - value) / n
        if rise < -ENOUGH:
            raise NotConverged("the likelihood fell during the fit")
        rates, weight, value = leapt, found, height
        if rise < ENOUGH:
            return HiddenEnd(rates, weight, value, sweep)
    raise NotConverged(f"the likelihood still rises after {SWEEPS} sweeps")


def _leap(before: Rates, once: Rates, twice: Rates) -> Rates:
    """Where two sweeps point to; no further than a tenth of a rate, so that none falls to 0."""
    here, there, beyond = (_join(rates) for rates in (before, once, twice))
    first, bend = there - here, beyond - 2 * there + here
    length = np.sqrt((first @ first) / max(bend @ bend, LEAST**2))
    step = min(-1.0, -length)
    reached = here - 2 * step * first + step**2 * bend
    return _part(np.clip(reached, beyond / 10, None), twice)


def _join(rates: Rates) -> np.ndarray:
    """All rates in a row, on the scale of roots, on which their errors are about alike."""
    chances = np.concatenate([rates.showing, rates.telling])
    odds = chances / (1 - chances)
    row = np.concatenate([rates.natural, rates.jump[1:], rates.planned, rates.chosen, odds])
    return np.sqrt(row)


def _part(row: np.ndarray, like: Rates) -> Rates:
    """Rates from a row as _join makes one."""
    sizes = [len(like.natural), len(like.jump) - 1, len(like.planned), len(like.chosen)]
    natural, jump, planned, chosen, odds = np.split(row**2, np.cumsum(sizes))
    showing, telling = np.split(odds / (1 + odds), 2)
    return Rates(natural, np.r_[0.0, jump], planned, chosen, showing, telling)


def _lean(courses: Courses, rates: Rates) -> float:
    """What the fit is held by beside the likelihood: gamma priors of habits, beta ones of what
    looks show and people say."""
    rate = courses.looked.sum() / max(1, courses.watched.sum())
    planned, telling = np.maximum(rates.planned, LEAST), rates.telling
    habits = BORROWED * (rate * np.log(planned) - planned).sum()
    number, believed = courses.belief[0], np.array(courses.belief[1:])
    shown = number * (believed * np.log(rates.showing) + (1 - believed) * np.log1p(-rates.showing))
    return float(habits + shown.sum() + HALF * np.log(telling * (1 - telling)).sum())


def _expect(courses: Courses, rates: Rates) -> tuple[np.ndarray, float]:
    """The probability of each day of the end given all that was seen, and what is maximised."""
    end = rates.natural[courses.part] + rates.jump[courses.done]
    planned = rates.planned[courses.habit]
    log_in, log_out = np.zeros(end.shape), np.zeros(end.shape)
    for state, logs in ((1, log_in), (0, log_out)):
        rate = planned + rates.chosen[state]
        seen = np.where(courses.looked, np.log(-np.expm1(-np.maximum(rate, LEAST))), -rate)
        logs += np.where(courses.watched, seen, 0.0)
        for right, seen_so in ((rates.showing, courses.shown), (rates.telling, courses.said)):
            logs += np.log(np.array([1 - right[state], right[state], 1.0]))[seen_so]
    # ended on day k: in the state before it, out of it from it on
    lasted = np.cumsum(log_in - end, axis=1)
    rest = np.cumsum(log_out[:, ::-1], axis=1)[:, ::-1]
    before = np.concatenate([np.zeros((len(end), 1)), lasted[:, :-1]], axis=1)
    now = np.log(-np.expm1(-np.maximum(end, LEAST)))
    logs = np.concatenate([before + now + rest, lasted[:, -1:]], axis=1)
    top = logs.max(axis=1, keepdims=True)
    weight = np.exp(logs - top)
    total = weight.sum(axis=1, keepdims=True)
    return weight / total, float((top + np.log(total)).sum()) + _lean(courses, rates)


def _maximise(courses: Courses, rates: Rates, weight: np.ndarray) -> Rates:
    """The rates at which what is expected given the weights is likeliest."""
    ended = weight[:, :-1]
    lasting = weight[:, ::-1].cumsum(axis=1)[:, ::-1][:, :-1]  # in the state when the day began
    still = lasting - ended  # and when it ended
    natural, jump = rates.natural[courses.part], rates.jump[courses.done]
    end = np.maximum(natural + jump, LEAST)
    exposed = still + ended * _lived(end)
    events = ended / end
    new_natural = _divide(courses.part, events * natural, exposed, len(rates.natural))
    new_jump = _divide(courses.done, events * jump, exposed, len(rates.jump))
    new_jump[NONE] = 0.0
    planned = rates.planned[courses.habit]
    sums, chosen = [np.zeros(len(rates.planned)), np.zeros(len(rates.planned))], []
    for state, share in ((0, 1 - still), (1, still)):
        share = np.where(courses.watched, share, 0.0)
        rate = np.maximum(planned + rates.chosen[state], LEAST)
        came = np.where(courses.looked, share, 0.0)
        time = np.where(courses.looked, share * _lived(rate), share)
        sums[0] += np.bincount(
            courses.habit.ravel(), (came * planned / rate).ravel(), len(rates.planned)
        )
        sums[1] += np.bincount(courses.habit.ravel(), time.ravel(), len(rates.planned))
        chosen.append((came * rates.chosen[state] / rate).sum() / max(time.sum(), LEAST))
    average = courses.looked.sum() / max(1, courses.watched.sum())
    new_planned = (sums[0] + BORROWED * average) / (sums[1] + BORROWED)
    number, believed = courses.belief[0], courses.belief[1:]
    showing, telling = np.zeros(2), np.zeros(2)
    for state, share in ((0, 1 - still), (1, still)):
        shown, tests = _count(share, courses.shown)
        showing[state] = (shown + number * believed[state]) / (tests + number)
        said, asked = _count(share, courses.said)
        telling[state] = (said + HALF) / (asked + 2 * HALF)
    return Rates(new_natural, new_jump, new_planned, np.array(chosen), showing, telling)


def _count(share: np.ndarray, seen: np.ndarray) -> tuple[float, float]:
    """How many of those in a state were seen so, and of how many anything was seen."""
    return float((share * (seen == 1)).sum()), float((share * (seen >= 0)).sum())


def _lived(rate: np.ndarray) -> np.ndarray:
    """The part of a day that passes before an event of this rate that comes within it."""
    small = rate < 1e-4
    safe = np.where(small, 1.0, rate)
    return np.where(small, 0.5, 1 / safe - 1 / np.expm1(safe))


def _divide(index: np.ndarray, top: np.ndarray, bottom: np.ndarray, length: int) -> np.ndarray:
    """Sums of `top` over sums of `bottom` by index."""
    tops = np.bincount(index.ravel(), top.ravel(), length)
    bottoms = np.bincount(index.ravel(), bottom.ravel(), length)
    return tops / np.maximum(bottoms, LEAST)
