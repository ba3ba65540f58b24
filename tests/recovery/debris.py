"""Courses of another kind, with no hazard in them: masses of debris that dissolve, come loose, are
moved out by maneuvers and fall back, in patients whom clinics see when they are open and have room.

All figures are invented. Resolved is who has no mass in the canal or on its cupula, for as long as
the agreed recurrence gap.
"""

import numpy as np

from tests.recovery.habits import LAST_DAY, SITES, YEARS, Habits
from tests.recovery.scenarios import LAST_SESSION_DAY, VARIANTS
from tests.recovery.visits import Diary, Record, draw_group

OUT, FREE, ADHERENT = 0, 1, 2  # where a mass is
MOST_MASSES, MASS_CHANCE = 4, 0.25  # one, and each further one by chance
DISSOLVES = (0.02, 0.8)  # chance a day: median of patients, spread of its logarithm
COMES_LOOSE = 0.04  # chance a day of an adherent mass
MOVED_OUT, MOVED_SD = 0.75, 0.5  # chance of each free mass at a session; spread on the logit scale
ADHERENT_OUT, SHAKEN_LOOSE = 0.1, 0.3  # of each adherent one
WRONG_EAR_OUT = 0.03
FALLS_BACK, FALLS_BACK_DAYS = 0.03, 3  # chance a day, in the days after the session
GAP = 14  # days without any mass
OPEN_DAYS = (1, 3)  # of a week, least and most by site
WAITING = (0.5, 8.0)  # mean days of a waiting list, least and most by site
NO_SHOW = {True: 0.08, False: 0.35}  # while there is debris, and without
BOOKED_AGAIN = {True: 0.7, False: 0.25}
CALLS_CLINIC = 0.025  # chance a day and mass
CALLED_AFTER_NO_SHOW, CALLED_ANYWAY = 0.6, 0.02  # chance; and a day, of whom the clinic worries for
TELLS_YES = (0.6, 0.1)  # chance of symptoms told with debris: this, and more for each mass
RESIDUAL_YES = 0.08  # without debris
SEEN_PER_MASS, SEEN_WITHOUT = 0.85, 0.04  # chance that a test is read as positive
MISSED_TORSION = (0.02, 0.15)  # least and most by site
WRONG_FIRST, WRONG_LATER = 0.06, 0.02  # chance that a visit takes the wrong ear
TREATED, CONTROL, CONTROL_DAYS = 0.9, 0.3, 21
CHANGED = 0.4
NEVER = LAST_DAY + 1
STEP = 7  # days to the next appointment after a further session, at least


class Clinics:
    """What belongs to the sites: days of the week, waiting lists, skill, habits of the telephone
    and of seeing torsion; and on which day of the week each patient began."""

    def __init__(self, habits: Habits, site: np.ndarray, rng: np.random.Generator) -> None:
        self._rng, self._site = rng, site
        self._open = np.zeros((SITES, 7), bool)
        for k in range(SITES):
            days = rng.integers(OPEN_DAYS[0], OPEN_DAYS[1] + 1)
            self._open[k, rng.choice(5, days, replace=False)] = True
        self._wait = rng.uniform(*WAITING, SITES)[site]
        self.by_site = np.array([habits.usual_day(k) for k in range(SITES)])
        self.usual = self.by_site[site]
        self.skill = habits.site_sd * rng.standard_normal(SITES)[site]
        self.calls = rng.uniform(0.3, 1.5, SITES)[site]
        self.missed_torsion = rng.uniform(*MISSED_TORSION, SITES)[site]
        self._began = self._find_open(rng.integers(0, 7, len(site)))

    def book(self, day: np.ndarray, waits: float = 1.0) -> np.ndarray:
        """The first day on which each is seen who asks for `day`."""
        wanted = day + self._rng.poisson(waits * self._wait)
        return self._find_open(self._began + wanted) - self._began

    def book_next(self, day: int, positive: np.ndarray) -> np.ndarray:
        """The next appointment after a test; for some there is none after a negative one."""
        further = self.book(day + np.maximum(self.usual, STEP))
        control = self.book(np.full(len(positive), day + CONTROL_DAYS))
        asked = self._rng.random(len(positive)) < CONTROL
        return np.where(positive, further, np.where(asked, control, NEVER))

    def _find_open(self, calendar: np.ndarray) -> np.ndarray:
        for _ in range(6):
            calendar = calendar + ~self._open[self._site, calendar % 7]
        return calendar


class Ears:
    """The masses of all patients."""

    def __init__(
        self, adherent: np.ndarray, patient_sd: float, skill: np.ndarray, rng: np.random.Generator
    ) -> None:
        n = len(adherent)
        there = rng.random((n, MOST_MASSES)) < MASS_CHANCE
        there[:, 0] = True
        self._place = np.where(there, np.where(adherent, ADHERENT, FREE)[:, None], OUT)
        self._since = np.full((n, MOST_MASSES), np.inf)  # days since a session moved it out
        self._dissolves = np.minimum(
            0.5, DISSOLVES[0] * np.exp(DISSOLVES[1] * rng.standard_normal(n))
        )[:, None]
        logit = np.log(MOVED_OUT / (1 - MOVED_OUT)) + skill
        logit = logit + (MOVED_SD + patient_sd) * rng.standard_normal(n)
        self._moved = (1 / (1 + np.exp(-logit)))[:, None]
        self._rng = rng

    def count(self) -> np.ndarray:
        """How many masses each has in the canal or on the cupula."""
        return (self._place != OUT).sum(axis=1)

    def pass_day(self) -> None:
        """What happens by itself overnight."""
        self._since += 1
        back = (self._since <= FALLS_BACK_DAYS) & (self._draw() < FALLS_BACK)
        self._place[back] = FREE
        self._since[back] = np.inf
        self._place[(self._place == ADHERENT) & (self._draw() < COMES_LOOSE)] = FREE
        self._place[(self._place != OUT) & (self._draw() < self._dissolves)] = OUT

    def treat(self, treated: np.ndarray, right_ear: np.ndarray) -> None:
        """A session of those `treated`."""
        fits = right_ear[:, None]
        out = np.where(self._place == FREE, np.where(fits, self._moved, WRONG_EAR_OUT), 0.0)
        out = np.where((self._place == ADHERENT) & fits, ADHERENT_OUT, out)
        gone = treated[:, None] & (self._draw() < out)
        self._place[gone] = OUT
        self._since[gone] = 0
        loose = treated[:, None] & fits & (self._place == ADHERENT)
        self._place[loose & (self._draw() < SHAKEN_LOOSE)] = FREE

    def _draw(self) -> np.ndarray:
        return self._rng.random(self._place.shape)


def follow_debris(habits: Habits, rng: np.random.Generator) -> Record:
    """A pool whose courses are those of debris."""
    people = draw_group(0.0, 0.0, rng)  # sites and patients differ in their own ways here
    n = len(people.site)
    year, ear = rng.choice(list(YEARS), n), rng.integers(0, 2, n)
    adherent = np.array([v.mechanism == "cupulolithiasis" for v in VARIANTS])[people.variant]
    clinics = Clinics(habits, people.site, rng)
    ears = Ears(adherent, habits.patient_sd, clinics.skill, rng)
    wish = np.exp(0.7 * rng.standard_normal(n))
    latest = (rng.random(n) < CHANGED).astype(int)
    tests = Diary("positive", "planned", "ear", "torsion")
    sessions, calls = Diary("family", "ear"), Diary("yes")
    taken, all_of_them = np.where(rng.random(n) < WRONG_FIRST, 1 - ear, ear), np.ones(n, bool)
    torsion = rng.random(n) >= clinics.missed_torsion
    tests.add(all_of_them, 0, positive=all_of_them, planned=all_of_them, ear=taken, torsion=torsion)
    sessions.add(all_of_them, 0, family=latest, ear=taken)
    calls.add(~all_of_them, 0, yes=~all_of_them)
    present = np.ones((LAST_DAY + GAP + 1, n), bool)
    ears.treat(all_of_them, taken == ear)
    asked_by = np.ones(n, bool)  # by the clinic, else by the patient
    due, call_due = clinics.book(clinics.usual), np.full(n, NEVER)
    for day in range(1, len(present)):
        ears.pass_day()
        masses = ears.count()
        ill = present[day] = masses > 0
        if day > LAST_DAY:
            continue
        worried = (people.onset == -60) & (rng.random(n) < CALLED_ANYWAY * clinics.calls)
        called = worried | (call_due == day)
        yes = rng.random(n) < np.where(ill, TELLS_YES[0] + TELLS_YES[1] * masses, RESIDUAL_YES)
        calls.add(called, day, yes=yes)
        asks = (called & yes) | (rng.random(n) < CALLS_CLINIC * masses * wish)
        sooner = np.where(asks & (due != day), clinics.book(np.full(n, day + 1), 0.5), NEVER)
        asked_by = np.where(sooner < due, False, asked_by)
        visit, due = due == day, np.where(due == day, due, np.minimum(due, sooner))
        comes = visit & (rng.random(n) >= np.where(ill, NO_SHOW[True], NO_SHOW[False]))
        missed = visit & ~comes
        again = missed & (rng.random(n) < np.where(ill, BOOKED_AGAIN[True], BOOKED_AGAIN[False]))
        due = np.where(again, clinics.book(np.full(n, day + STEP)), np.where(missed, NEVER, due))
        rung = missed & (rng.random(n) < CALLED_AFTER_NO_SHOW * clinics.calls)
        call_due = np.where(rung, day + rng.integers(1, 8, n), call_due)
        taken = np.where(rng.random(n) < WRONG_LATER, 1 - ear, ear)
        seen = np.where(ill, 1 - (1 - SEEN_PER_MASS) ** masses, SEEN_WITHOUT)
        positive = comes & (rng.random(n) < seen)
        torsion = rng.random(n) >= clinics.missed_torsion
        tests.add(comes, day, positive=positive, planned=asked_by, ear=taken, torsion=torsion)
        treated = positive & (rng.random(n) < TREATED) & (day <= LAST_SESSION_DAY)
        latest = np.where(treated & (rng.random(n) < CHANGED), 1 - latest, latest)
        sessions.add(treated, day, family=latest, ear=taken)
        ears.treat(treated, taken == ear)
        due = np.where(comes, clinics.book_next(day, positive), due)
        asked_by |= visit
    return Record(
        people,
        year,
        ear,
        find_resolved(present),
        clinics.by_site,
        tests.close(),
        sessions.close(),
        calls.close(),
    )


def find_resolved(present: np.ndarray) -> np.ndarray:
    """The first day after day 0 from which each patient has no debris for GAP days, by a table of
    days and patients; infinite where there is none."""
    last = len(present) - GAP
    free = np.array([~present[day : day + GAP].any(axis=0) for day in range(1, last + 1)])
    return np.where(free.any(axis=0), 1.0 + np.argmax(free, axis=0), np.inf)
