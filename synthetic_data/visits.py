"""The visible course: examinations, attempts and contacts of one clinic,
as its clinicians and patients decide them."""

import numpy as np
import pandas as pd

from synthetic_data.clinicians import OPINIONS, Views
from synthetic_data.course import Course
from synthetic_data.draw import chance
from synthetic_data.patients import USUAL_LOG_DAYS, VERTIGO_ONLY, measure_burden
from synthetic_data.planning import LATE_DAY, schedule
from synthetic_data.scenario import VARIANTS
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.treatment import HOME, carry_out, choose_maneuvers, choose_side, draw_adverse

ENTRY, FOLLOW_UP, RETEST = range(3)
NOTHING_SEEN, SIGNS, VERTIGO = range(3)
MOST_VISITS = 9
MOST_ATTEMPTS = 5
ATTEMPTS_IN_VISIT = 2
RETEST_AT = 0.01  # days after the attempt: about a quarter of an hour
SILENT = PATTERN_NAMES.index("silent")


class Clinic:
    """One clinic at work. `examinations`, `attempts` and `contacts` collect what happens,
    one frame per step, one row per event.
    """

    def __init__(self, course: Course, views: Views, recognised_from: np.ndarray):
        self.course, self.views, self.recognised_from = course, views, recognised_from
        self.rng, self.scenario, self.site, self.cases = (
            course.rng,
            course.scenario,
            course.site,
            course.cases,
        )
        self.attempt = np.zeros(len(self.cases), int)
        self.previous = np.full(len(self.cases), -1)
        self.reason = np.full(len(self.cases), "symptoms", dtype=object)  # of the visit that is due
        self.examinations: list[pd.DataFrame] = []
        self.attempts: list[pd.DataFrame] = []
        self.contacts: list[pd.DataFrame] = []

    def follow(self) -> None:
        """Run all episodes from the first test to the end of follow-up."""
        who = np.arange(len(self.cases))
        early = who[self.cases.first_test_day < 0]
        self.examine(early, self.cases.first_test_day[early], ENTRY, 1)
        self.reason[early] = "planned"  # the treatment
        day = np.zeros(len(who), int)
        for visit in range(MOST_VISITS):
            late = 0.5 * (day > LATE_DAY)
            telephone = chance(self.rng, np.minimum(self.site.telephone + late, 1), len(who)) & (
                visit > 0
            )
            ill = self.visit(who, day, visit, telephone)
            next_day, ends = self.plan(who, day, ill, visit)
            self.contacts.append(
                pd.DataFrame(
                    {
                        "case": who,
                        "day": day,
                        "telephone": telephone,
                        "ends": np.where(ends == "on", "no", ends),
                    }
                )
            )
            who, day = who[ends == "on"], next_day[ends == "on"]

    def visit(
        self, who: np.ndarray, day: np.ndarray, visit: int, telephone: np.ndarray
    ) -> np.ndarray:
        """One visit or call: test, and treat those who need it.

        Returns who is held to be ill (by telephone: who feels so).
        """
        seen = ~telephone
        ill = self.course.present(who, day)
        complains = ill & seen & (self.attempt[who] > 0) & chance(self.rng, 0.35, len(who))
        ill[seen] = self.examine(who[seen], day[seen], FOLLOW_UP if visit else ENTRY, 1)
        if visit == 0:
            needs = self.cases.treated[who]
        else:
            needs = (
                seen
                & (ill | complains)
                & (self.attempt[who] > 0)
                & chance(self.rng, 0.93, len(who))
            )
        needs &= (
            (self.attempt[who] < MOST_ATTEMPTS)
            & (self.recognised_from[who] > day)
            & (day < LATE_DAY)
        )
        self.treat(who[needs], day[needs])
        return ill | needs

    def examine(self, who: np.ndarray, day: np.ndarray, kind: int, number: int) -> np.ndarray:
        """Test, and note what shows; returns True where something shows.

        The first test is taken to be right; later ones err.
        """
        time = day + RETEST_AT * (kind == RETEST)
        present = self.course.present(who, time)
        missed = {
            ENTRY: 0.0,
            FOLLOW_UP: self.scenario.false_negative,
            RETEST: self.scenario.transient_negative,
        }[kind]
        imagined = self.scenario.false_positive * (kind == FOLLOW_UP)
        shows = np.where(
            present, ~chance(self.rng, missed, len(who)), chance(self.rng, imagined, len(who))
        )
        pattern = self.course.pattern[who]
        shows &= pattern != SILENT
        kind_shown = np.where(self.cases.presentation[who] == VERTIGO_ONLY, VERTIGO, SIGNS)
        self.examinations.append(
            pd.DataFrame(
                {
                    "case": who,
                    "day": day,
                    "examination": number,
                    "after_attempt": self.attempt[who] if kind == RETEST else 0,
                    "kind": kind,
                    "pattern": pattern,
                    "side": self.course.side_at(who, time),
                    "shown": np.where(shows, kind_shown, NOTHING_SEEN),
                    "strength": np.where(present, 1.0, 0.4),
                    "reason": self.reason[who],
                }
            )
        )
        return shows

    def treat(self, who: np.ndarray, day: np.ndarray) -> None:
        """Give an attempt to each; where a retest still shows something,
        perhaps another one in the same visit."""
        for number in range(ATTEMPTS_IN_VISIT):
            maneuver = self.give_attempt(who, day, in_same_visit=number > 0)
            retest = ~np.isin(maneuver, [*HOME, "observe"]) & chance(
                self.rng, self.site.retest, len(who)
            )
            who, day = who[retest], day[retest]
            still = self.examine(who, day, RETEST, number + 2)
            again = (
                still
                & (self.attempt[who] < MOST_ATTEMPTS)
                & chance(self.rng, self.site.second_in_visit, len(who))
            )
            who, day = who[again], day[again]

    def give_attempt(self, who: np.ndarray, day: np.ndarray, in_same_visit: bool) -> np.ndarray:
        """Choose and carry out one attempt each; returns the codes of the maneuvers."""
        course = self.course
        fresh = self.revise(who[self.attempt[who] > 0])
        self.previous[fresh] = -1
        change = chance(self.rng, self.chance_of_change(who, in_same_visit), len(who))
        names = np.array(course.names, dtype=object)
        chosen = choose_maneuvers(
            self.rng,
            self.site,
            course.names,
            self.views.opinion[who],
            self.previous[who],
            change,
            measure_burden(self.cases)[who],
        )
        self.attempt[who] += 1
        side = choose_side(self.rng, course.sided[chosen], self.views.side[who], self.attempt[who])
        details, factor = carry_out(self.rng, self.site, names[chosen])
        moved = course.treat(who, day.astype(float), chosen, side, factor)
        self.previous[who] = chosen
        events = {
            "case": who,
            "day": day,
            "attempt": self.attempt[who],
            "maneuver": names[chosen],
            "side": side,
        }
        adverse = draw_adverse(self.rng, names[chosen] != "observe", moved)
        self.attempts.append(pd.DataFrame(events | details | {"adverse": adverse}))
        return names[chosen]

    def revise(self, who: np.ndarray) -> np.ndarray:
        """After a failed attempt, mend part of the wrong working diagnoses;
        returns the episodes whose diagnosis was mended.

        A new canal after a switch is seen more often than an old mistake (probabilities invented).
        """
        truth, side = self.course.pattern[who], self.course.side[who]
        switched = ~np.isnan(self.course.switched_at[who])
        mends = chance(self.rng, self.site.right_canal * np.where(switched, 0.8, 0.5), len(who)) & (
            truth < len(VARIANTS)
        )
        wrong = (self.views.opinion[who] != truth) | (self.views.side[who] != side)
        mended = who[wrong & mends]
        self.views.opinion[mended] = self.course.pattern[mended]
        self.views.side[mended] = self.course.side[mended]
        return mended

    def chance_of_change(self, who: np.ndarray, in_same_visit: bool) -> np.ndarray:
        """Probability that a failed maneuver is replaced and not repeated:
        confounding by indication (all figures invented).

        Longer-lasting, apparently adherent, older, sicker cases and later attempts change more; a
        second attempt in the same visit is mostly the same maneuver.
        """
        adherent = np.array(["cupula" in name for name in OPINIONS])[self.views.opinion[who]]
        score = (
            self.site.changes
            + 0.30 * (np.log1p(-self.cases.onset_day[who]) - USUAL_LOG_DAYS)
            + 0.20 * adherent
            + 0.15 * (self.cases.age[who] - 55) / 10
            + 0.40 * self.cases.severity[who]
            + 0.50 * (self.attempt[who] > 1)
            - 1.20 * in_same_visit
        )
        return 1 / (1 + np.exp(-score))

    def plan(
        self, who: np.ndarray, day: np.ndarray, ill: np.ndarray, visit: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """The next day on which each comes, and how follow-up ends here: on, completed, lost,
        reclassified, withdrew, no.

        Runs the hidden course up to that day, because those who are well by then stay away more
        often; to its end for the others.
        """
        count = len(who)
        feels_ill = self.course.present(who, day + 2 * RETEST_AT)
        next_day, comes, by_symptoms = schedule(
            self.rng, self.scenario, self.site, day, ill, feels_ill
        )
        self.reason[who] = np.where(by_symptoms, "symptoms", "planned")
        comes |= visit == 0
        comes &= visit < MOST_VISITS - 1
        reclassified, withdraws = (
            self.recognised_from[who] <= day,
            chance(self.rng, self.scenario.withdraws, count),
        )
        comes &= ~reclassified & ~withdraws
        start = day.astype(float)
        until = np.where(comes, next_day, np.inf)
        self.course.wait(who, start, until)
        stays_away = np.where(
            self.course.present(who, next_day),
            self.scenario.lost_present,
            self.scenario.lost_resolved,
        )
        lost = comes & chance(self.rng, stays_away, count)
        self.course.wait(who[lost], until[lost], np.full(lost.sum(), np.inf))
        ends = np.where(ill & (day < LATE_DAY), "no", "completed").astype(object)
        ends[comes] = "on"
        ends[lost] = "lost"
        ends[withdraws] = "withdrew"
        ends[reclassified] = "reclassified"
        return next_day, ends
