"""The hidden course: when the debris truly clears, moves to another canal, and comes back.

Time is continuous days from day 0.
"""

import numpy as np

from schemas.maneuver import Maneuver
from synthetic_data.draw import chance
from synthetic_data.effects import EXERCISE_DAYS, NO_EFFECT, SLOW, WRONG, tabulate_chances
from synthetic_data.patients import BOTH, LEFT, NO_SIDE, RESOLVED, RIGHT, Cases
from synthetic_data.scenario import OTHER_CAUSES, VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site

YEAR = 365.25
ON_CUPULA = np.array(
    [name in VARIANTS and VARIANTS[name].mechanism == "cupulolithiasis" for name in PATTERN_NAMES]
)


class Course:
    """The true state of all episodes of a site while their time runs.

    Each episode clears when its summed hazard reaches `resistance`, a standard exponential draw.
    Hazard comes from natural remission (speed / mean days, all the time), from a course of
    exercises (spread over its days), and from each attempt, all at once: -log(1 - chance) * speed *
    exp(site effect) * quality. So a single attempt in a median patient clears with exactly its
    probability, and everything acts as proportional hazards on a piecewise-exponential clock.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        scenario: Scenario,
        site: Site,
        cases: Cases,
        maneuvers: dict[str, Maneuver],
    ):
        count = len(cases)
        self.rng, self.scenario, self.site, self.cases = rng, scenario, site, cases
        self.names = tuple(maneuvers)
        self.sided = np.array([maneuver.sided for maneuver in maneuvers.values()])
        self.family = np.array([maneuver.family for maneuver in maneuvers.values()], dtype=object)
        self.right_chance, self.wrong_chance = tabulate_chances(self.names, PATTERN_NAMES)
        self.last_family = np.full(count, None, dtype=object)
        self.pattern, self.side = cases.pattern.copy(), cases.side.copy()
        self.resistance = rng.exponential(size=count)
        self.resolved_at = np.full(count, np.inf)
        before = cases.presentation == RESOLVED
        since_onset = cases.first_test_day - cases.onset_day
        self.resolved_at[before] = (
            cases.first_test_day - since_onset * rng.uniform(0.02, 0.9, count)
        )[before]
        self.foreign_days = np.array(
            [OTHER_CAUSES[c].remission_days if c else np.inf for c in cases.other_cause]
        )
        self.natural_rate = self.natural_rates()
        self.exercise_until = np.zeros(count)
        self.exercise_rate = np.zeros(count)
        self.switched_at = np.full(count, np.nan)
        self.converted_at = np.full(count, np.nan)
        recurs_after = rng.exponential(YEAR / scenario.recurrence_per_year, count)
        # not back when first seen
        recurs_after += np.where(before, cases.first_test_day - self.resolved_at, 0)
        self.recurs_after = np.where(cases.positional, recurs_after, np.inf)
        self.same_place = chance(rng, scenario.recurrence_same_place, count)

    def natural_rates(self) -> np.ndarray:
        """Hazard of natural remission per day, by the present pattern of signs or the other
        cause."""
        variant = np.array(
            [VARIANTS[n].remission_days if n in VARIANTS else np.inf for n in PATTERN_NAMES]
        )[self.pattern]
        return self.cases.speed / np.where(self.cases.positional, variant, self.foreign_days)

    def wait(self, who: np.ndarray, start: np.ndarray, end: np.ndarray) -> None:
        """Let time run from `start` to `end`, which may be infinite, for the episodes `who`."""
        middle = np.clip(self.exercise_until[who], start, end)
        self.spend(who, start, middle, self.natural_rate[who] + self.exercise_rate[who])
        self.spend(who, middle, end, self.natural_rate[who])

    def spend(self, who: np.ndarray, start: np.ndarray, end: np.ndarray, rate: np.ndarray) -> None:
        """Spend resistance at a constant rate; what is used up before `end` is resolved there."""
        running = np.isinf(self.resolved_at[who]) & (rate > 0) & (end > start)
        who, start, end, rate = who[running], start[running], end[running], rate[running]
        reached = start + self.resistance[who] / rate
        done = reached <= end
        self.resolved_at[who[done]] = reached[done]
        self.resistance[who[~done]] -= (rate * (end - start))[~done]

    def treat(
        self,
        who: np.ndarray,
        day: np.ndarray,
        maneuver: np.ndarray,
        side: np.ndarray,
        factor: np.ndarray,
    ) -> np.ndarray:
        """Give one attempt each; returns True where it moved debris into another canal.

        `maneuver` numbers `names`, `side` is the treated ear, `factor` multiplies the effect.
        """
        fits = (side == self.side[who]) | (side == NO_SIDE) | (self.side[who] == BOTH)
        place = self.pattern[who]
        clearing = np.where(
            fits, self.right_chance[maneuver, place], self.wrong_chance[maneuver, place]
        )
        family = self.family[maneuver]
        again = ON_CUPULA[place] & (family == self.last_family[who])
        self.last_family[who] = family
        dose = -np.log1p(-clearing) * self.cases.speed[who] * np.exp(self.site.effect) * factor
        dose *= np.where(again, self.scenario.same_again_on_cupula, 1.0)
        present = np.isinf(self.resolved_at[who])
        moved = present & self.move(who, np.isin(np.array(self.names)[maneuver], NO_EFFECT + SLOW))
        slow = present & ~moved & np.isin(np.array(self.names)[maneuver], SLOW)
        self.exercise_rate[who[slow]] = dose[slow] / EXERCISE_DAYS
        self.exercise_until[who[slow]] = day[slow] + EXERCISE_DAYS
        solved = present & ~moved & ~slow & (dose >= self.resistance[who])
        delay = np.where(
            chance(self.rng, self.scenario.immediate, len(who)),
            0.005,
            self.rng.uniform(0.02, 0.99, len(who)),
        )
        self.resolved_at[who[solved]] = (day + delay)[solved]
        failed = present & ~moved & ~slow & ~solved
        self.resistance[who[failed]] -= dose[failed]
        self.convert(who[failed & (clearing > WRONG)], day[failed & (clearing > WRONG)])
        self.switched_at[who[moved]] = day[moved]
        self.natural_rate = self.natural_rates()
        return moved

    def move(self, who: np.ndarray, still: np.ndarray) -> np.ndarray:
        """Draw canal switches at an attempt and change the pattern of signs;
        `still` maneuvers move nothing."""
        moved = np.zeros(len(who), bool)
        draw = self.rng.random(len(who)) * self.scenario.attempts_per_case
        for name, variant in VARIANTS.items():
            below = 0.0
            affected = (
                (self.cases.pattern[who] == PATTERN_NAMES.index(name))
                & np.isnan(self.switched_at[who])
                & ~still
            )
            affected &= np.isinf(self.resolved_at[who])
            for target, share in variant.switch.items():
                goes = affected & (draw >= below) & (draw < below + share)
                self.pattern[who[goes]] = PATTERN_NAMES.index(target)
                moved |= goes
                below += share
        return moved

    def convert(self, who: np.ndarray, day: np.ndarray) -> None:
        """Turn part of the fitting but failed attempts into another variant of the same canal."""
        draw = self.rng.random(len(who))
        for name, variant in VARIANTS.items():
            if variant.converts is None:
                continue
            target, share = variant.converts
            turns = (self.pattern[who] == PATTERN_NAMES.index(name)) & (draw < share)
            self.pattern[who[turns]] = PATTERN_NAMES.index(target)
            self.converted_at[who[turns]] = day[turns]

    def recurs_at(self, who: np.ndarray) -> np.ndarray:
        """Day of true recurrence, infinite while not resolved."""
        return self.resolved_at[who] + self.recurs_after[who]

    def present(self, who: np.ndarray, time: np.ndarray) -> np.ndarray:
        """True where debris (or the other cause) is at work at that time."""
        return (self.resolved_at[who] > time) | (self.recurs_at(who) <= time)

    def side_at(self, who: np.ndarray, time: np.ndarray) -> np.ndarray:
        """The ear at fault at that time: most recurrences are on the other side."""
        elsewhere = (self.recurs_at(who) <= time) & ~self.same_place[who] & (self.side[who] != BOTH)
        return np.where(elsewhere, np.where(self.side[who] == RIGHT, LEFT, RIGHT), self.side[who])
