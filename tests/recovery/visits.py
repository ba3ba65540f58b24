"""Courses by hazards, day by day, with the tests, sessions and calls that habits lead to."""

from dataclasses import dataclass

import numpy as np

from tests.recovery.habits import (
    CALLS,
    CHANGED,
    CONTROL_AFTER,
    CONTROL_CHANCE,
    EPISODES,
    KEPT_APPOINTMENT,
    LAST_DAY,
    LEAST_STEP,
    LOST,
    MISREAD,
    REACHED,
    REBOOKED_AFTER,
    SAYS_YES,
    SELF_CHOSEN,
    SITES,
    TREATED_AT_TEST,
    YEARS,
    Habits,
)
from tests.recovery.scenarios import (
    LAST_SESSION_DAY,
    LONG_ONSET,
    PER_DECADE,
    VARIANTS,
    Scenario,
)
from tests.recovery.simulate import People, draw_people

# of the wish to return, where it drifts: spread of patients (log), how much of it goes with slow
# resolution, spread of sites, change a year, days in which it wears off to a third; and by how much
# a site's usual day grows or falls a year
WISH = {"patient": 0.8, "slow": 0.5, "site": 0.5, "year": 0.15, "wears_off": 40}
USUAL_DRIFT = 0.2
SLOW_SD = 0.2  # about that of what long onset and age take off the log hazard
GRADED_AT = (-0.5, 0.5)  # standard deviations of slowness between one grade of vertigo and the next


@dataclass(frozen=True)
class Events:
    """What was recorded: one entry each, of patient `who` on `day`."""

    who: np.ndarray
    day: np.ndarray
    what: dict[str, np.ndarray]


@dataclass(frozen=True)
class Record:
    """One pool: patients, the day from which each is truly resolved (infinite if not by the end of
    the simulation), and what was recorded.

    Tests have `positive`, `planned`, `ear` (0 right, 1 left) and `torsion` (it was seen); sessions
    `family` (0 or 1 of the variant's) and `ear`; calls `yes`. `usual` is by site. `grade` is that
    of each patient's vertigo at positive tests, from 0 to 2; all moderate if None.
    """

    people: People
    year: np.ndarray
    ear: np.ndarray
    resolved: np.ndarray
    usual: np.ndarray
    tests: Events
    sessions: Events
    calls: Events
    grade: np.ndarray | None = None


class Diary:
    """Collects events day by day."""

    def __init__(self, *what: str) -> None:
        self._parts: dict[str, list[np.ndarray]] = {name: [] for name in ("who", "day", *what)}

    def add(self, chosen: np.ndarray, day: int, **what: np.ndarray) -> None:
        """The events of one day, of those `chosen`."""
        who = np.flatnonzero(chosen)
        rows = {"who": who, "day": np.full(len(who), day)}
        for name, values in {**rows, **{k: v[who] for k, v in what.items()}}.items():
            self._parts[name].append(values)

    def close(self) -> Events:
        """All events in order of patients and days."""
        joined = {name: np.concatenate(parts) for name, parts in self._parts.items()}
        order = np.lexsort((joined["day"], joined["who"]))
        joined = {name: values[order] for name, values in joined.items()}
        return Events(joined.pop("who"), joined.pop("day"), joined)


@dataclass(frozen=True)
class Wish:
    """How much sooner than others each patient comes unasked (`times`), how reliably when asked
    (`kept`), when the clinic asks (`usual`), and in how many days the wish wears off."""

    times: np.ndarray
    kept: np.ndarray
    usual: np.ndarray
    wears_off: float


def draw_group(site_sd: float, patient_sd: float, rng: np.random.Generator) -> People:
    """The patients of one pool; sites are of unequal size and have EPISODES in all."""
    weight = rng.lognormal(0, 0.4, SITES)
    sizes = np.maximum(40, np.floor(weight / weight.sum() * (EPISODES - SITES))).astype(int)
    sizes[np.argmax(sizes)] += EPISODES - sizes.sum()
    site = np.repeat(np.arange(SITES), sizes)
    scenario = Scenario("", site_sd=site_sd, patient_sd=patient_sd)
    return draw_people(scenario, site, rng.standard_normal(SITES)[site], rng)


def follow_by_hazards(
    habits: Habits, rng: np.random.Generator, begun_with: int | None = None
) -> Record:
    """A pool whose courses are hazards; all begin with one of the two families, if one is named."""
    people = draw_group(habits.site_sd, habits.patient_sd, rng)
    n = len(people.site)
    year, ear = rng.choice(list(YEARS), n), rng.integers(0, 2, n)
    site_usual = np.array([habits.usual_day(site) for site in range(SITES)])
    wish = _draw_wish(habits, people, year, site_usual, rng)
    sensitivity, specificity = MISREAD if habits.misread else (1.0, 1.0)
    tests, sessions = Diary("positive", "planned", "ear", "torsion"), Diary("family", "ear")
    everybody, always = np.ones(n, bool), np.ones(n, bool)
    first = (rng.random(n) < _begin_with_second(habits, people)).astype(int)
    if begun_with is not None:
        first = np.full(n, begun_with)
    tests.add(everybody, 0, positive=always, planned=always, ear=ear, torsion=always)
    sessions.add(everybody, 0, family=first, ear=ear)
    rate, strength = _by_variant("rate", people), np.exp(people.effect)
    threshold, spent = rng.exponential(size=n), np.zeros(n)
    acts = _jump(people, first, first, first_session=True)
    slow = -people.effect / np.hypot(habits.site_sd, habits.patient_sd)
    grade = np.digitize(slow, GRADED_AT) if habits.recorded else None
    prompt = slow if grade is None else grade - 1
    changed = CHANGED / (CHANGED + (1 - CHANGED) * np.exp(-habits.channelling * prompt))
    latest, resolved, gone_day = first.copy(), np.full(n, np.inf), np.full(n, np.inf)
    due = _plan(0, wish.usual, wish.usual // 7, rng)
    for day in range(1, LAST_DAY + 1):
        spent += (rate + acts) * strength
        acts = np.zeros(n)
        resolved[(spent >= threshold) & np.isinf(resolved)] = day
        ill = resolved > day
        if habits.loss:
            leaves = rng.random(n) < np.where(ill, LOST[True], LOST[False])
            gone_day[leaves & np.isinf(gone_day)] = day
        here = gone_day > day
        asked = here & (due == day)
        comes = asked & (rng.random(n) < wish.kept)
        due[asked & ~comes] = day + REBOOKED_AFTER
        unasked = here & ~asked & (rng.random(n) < _come_unasked(habits, wish, ill, day))
        seen = comes | unasked
        positive = seen & (rng.random(n) < np.where(ill, sensitivity, 1 - specificity))
        tests.add(seen, day, positive=positive, planned=comes, ear=ear, torsion=always)
        treated = positive & habits.treated_at_test & (rng.random(n) < TREATED_AT_TEST)
        treated &= day <= LAST_SESSION_DAY
        family = np.where(rng.random(n) < changed, 1 - latest, latest)
        sessions.add(treated, day, family=family, ear=ear)
        acts[treated] = _jump(people, family, first, first_session=False)[treated]
        latest = np.where(treated, family, latest)
        step = np.maximum(wish.usual, LEAST_STEP)
        further = _plan(day, step, np.maximum(step // 7, 1), rng)
        control = np.where(rng.random(n) < CONTROL_CHANCE, day + CONTROL_AFTER, LAST_DAY + 1)
        due = np.where(positive, further, np.where(comes & ~positive, control, due))
    calls = _call(habits, resolved, gone_day, rng)
    return Record(
        people,
        year,
        ear,
        resolved,
        site_usual,
        tests.close(),
        sessions.close(),
        calls.close(),
        grade,
    )


def _begin_with_second(habits: Habits, people: People) -> np.ndarray:
    """Chance that the first session is of the second family: greater for long onset and age, which
    slow, and at sites where vertigo lasts, if the first choice goes by that."""
    slow = -(LONG_ONSET * (people.onset == -60) + PER_DECADE * (people.age // 10 - 6)) / SLOW_SD
    odds = CHANGED / (1 - CHANGED) * np.exp(habits.first_choice * (slow + people.prone / 2))
    return odds / (1 + odds)


def _draw_wish(
    habits: Habits,
    people: People,
    year: np.ndarray,
    site_usual: np.ndarray,
    rng: np.random.Generator,
) -> Wish:
    n, usual = len(people.site), site_usual[people.site]
    if habits.kind != "drifting_wish":
        return Wish(np.ones(n), np.full(n, KEPT_APPOINTMENT), usual, np.inf)
    slow = -people.effect / np.hypot(habits.site_sd, habits.patient_sd)
    patient_wish = WISH["slow"] * slow + np.sqrt(1 - WISH["slow"] ** 2) * rng.standard_normal(n)
    late = year - np.mean(YEARS)
    times = (
        WISH["patient"] * patient_wish
        + WISH["site"] * rng.standard_normal(SITES)[people.site]
        + WISH["year"] * late
    )
    drift = USUAL_DRIFT * rng.choice([-1, 1], SITES)[people.site] * late
    usual = np.maximum(1, np.round(usual * np.exp(drift))).astype(int)
    kept = 1 / (1 + np.exp(-1.5 - 0.8 * patient_wish))
    return Wish(np.exp(times), kept, usual, WISH["wears_off"])


def _come_unasked(habits: Habits, wish: Wish, ill: np.ndarray, day: int) -> np.ndarray | float:
    """Chance of coming on a day without an appointment."""
    if not habits.self_chosen:
        return 0.0
    intensity = np.where(ill, SELF_CHOSEN[True], SELF_CHOSEN[False])
    return -np.expm1(-intensity * wish.times * np.exp(-day / wish.wears_off))


def _plan(day: int, after: np.ndarray, around: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Days of appointments, evenly around the wanted ones."""
    return day + after + rng.integers(-around, around + 1)


def _by_variant(name: str, people: People) -> np.ndarray:
    return np.array([getattr(variant, name) for variant in VARIANTS], float)[people.variant]


def _jump(
    people: People, family: np.ndarray, first: np.ndarray, *, first_session: bool
) -> np.ndarray:
    """What a session adds to the hazard of the next day."""
    if first_session:
        ratio = _by_variant("second_family", people) * (family == 1)
    else:
        ratio = _by_variant("changed", people) * (family != first)
    return _by_variant("jump", people) * np.exp(ratio)


def _call(
    habits: Habits, resolved: np.ndarray, gone_day: np.ndarray, rng: np.random.Generator
) -> Diary:
    calls, n = Diary("yes"), len(resolved)
    calls.add(np.zeros(n, bool), 0, yes=np.zeros(n, bool))
    for least, most in CALLS if habits.telephone else ():
        days = rng.integers(least, most + 1, n)
        reached = (rng.random(n) < REACHED) & (gone_day > days)
        yes = rng.random(n) < np.where(resolved > days, SAYS_YES[True], SAYS_YES[False])
        for day in range(least, most + 1):
            calls.add(reached & (days == day), day, yes=yes)
    return calls
