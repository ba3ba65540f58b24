"""Who comes to a clinic: people, their episodes, and what is truly wrong."""

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from synthetic_data.draw import chance, pick_one
from synthetic_data.scenario import CAUSE_MIX, DECISIVE, OTHER_CAUSES, SCREENING, VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES

RIGHT, LEFT, BOTH, NO_SIDE = range(4)
SIDE_NAMES = np.array(["right", "left", "both", "unknown"], dtype=object)
NYSTAGMUS, VERTIGO_ONLY, RESOLVED = range(3)
PRESENTATIONS = np.array(["nystagmus", "vertigo_only", "resolved_before_visit"], dtype=object)
YEARS = (2021, 2025)
USUAL_LOG_DAYS = 2.5  # log(1 + days since onset) near the median of the posterior canal


@dataclass(frozen=True)
class Cases:
    """The episodes of one site, one array entry each: who it is, and what is truly wrong.

    `person` numbers the patient within the site; `pattern` is a number of `signs.PATTERN_NAMES`;
    `other_cause` is the true cause of a non-positional case and None otherwise; `speed` multiplies
    every hazard of resolution; `severity` is a standard score that the clinician sees in part;
    `treated` says whether any maneuver is given; `first_test_day` is negative where the first test
    came before day 0; `answers` are the screening fields, one column each.
    """

    person: np.ndarray
    age: np.ndarray
    sex: np.ndarray
    year: np.ndarray
    prior: np.ndarray
    cause: np.ndarray
    onset_day: np.ndarray
    first_test_day: np.ndarray
    pattern: np.ndarray
    side: np.ndarray
    presentation: np.ndarray
    treated: np.ndarray
    other_cause: np.ndarray
    frailty: np.ndarray
    speed: np.ndarray
    severity: np.ndarray
    migraine: np.ndarray
    answers: pd.DataFrame

    def __len__(self) -> int:
        return len(self.person)

    def take(self, who: np.ndarray) -> "Cases":
        """The cases of these numbers, in this order, each as often as it is named."""
        return Cases(
            **{
                each.name: values.iloc[who] if isinstance(values, pd.DataFrame) else values[who]
                for each in fields(self)
                for values in [getattr(self, each.name)]
            }
        )

    @property
    def positional(self) -> np.ndarray:
        """True where canal debris is the true cause."""
        return self.other_cause == None  # noqa: E711  (element by element)


def draw_cases(rng: np.random.Generator, scenario: Scenario, count: int) -> Cases:
    """`count` episodes of one site; a few patients come with more than one."""
    person, year = draw_visits(rng, scenario, count)
    age, sex, prior, frailty = draw_people(rng, scenario, person, year)
    cause = pick_one(rng, CAUSE_MIX, count)
    pattern, side, presentation, other = draw_disease(rng, scenario, count)
    treated = draw_treated(rng, pattern, presentation, other)
    first_test = np.where(
        treated & chance(rng, scenario.earlier_test, count), -rng.integers(1, 15, count), 0
    )
    onset = first_test - draw_delay(rng, scenario, pattern)
    speed = frailty * np.exp(
        scenario.per_decade * (age - 55) / 10
        + scenario.per_log_day * (np.log1p(-onset) - USUAL_LOG_DAYS)
        + scenario.head_trauma * (cause == "head_trauma")
        + scenario.any_prior_episode * (prior > 0)
    )
    severity = 0.5 * -np.log(frailty) / scenario.frailty_log_sd + np.sqrt(0.75) * rng.normal(
        size=count
    )
    migraine = chance(rng, np.where(other == "vestibular_migraine", 0.9, 0.14), count)
    return Cases(
        person=person,
        age=age,
        sex=sex,
        year=year,
        prior=prior,
        cause=cause,
        onset_day=onset,
        first_test_day=first_test,
        pattern=pattern,
        side=side,
        presentation=presentation,
        treated=treated,
        other_cause=other,
        frailty=frailty,
        speed=speed,
        severity=severity,
        migraine=migraine,
        answers=draw_answers(rng, other),
    )


def measure_burden(cases: Cases) -> np.ndarray:
    """What speaks against quick success and is on record: age, days since onset, and head trauma
    (weights invented); near 0 on average."""
    return (
        0.4 * (cases.age - 55) / 14
        + 0.4 * (np.log1p(-cases.onset_day) - USUAL_LOG_DAYS)
        + 0.8 * (cases.cause == "head_trauma")
    )


def draw_visits(
    rng: np.random.Generator, scenario: Scenario, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """The patient and the year of each episode, in the order of the years;
    a repeat is a later row of an earlier patient.
    """
    year = np.sort(rng.integers(YEARS[0], YEARS[1] + 1, count))
    person = np.empty(count, int)
    repeats = chance(rng, scenario.repeat_share, count)
    repeats[0] = False
    person[~repeats] = np.arange((~repeats).sum())
    known = np.cumsum(~repeats)[repeats]
    person[repeats] = (rng.random(repeats.sum()) * known).astype(int)
    return person, year


def draw_people(
    rng: np.random.Generator, scenario: Scenario, person: np.ndarray, year: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Age, sex, earlier spells and frailty at each episode;
    what belongs to a patient is the same at all of the patient's episodes.
    """
    people = person.max() + 1
    age_first = np.clip(rng.normal(scenario.age_mean, scenario.age_sd, people), *scenario.age_range)
    age = np.minimum(
        np.round(age_first[person]) + (year - first_of(year, person)), scenario.age_range[1]
    ).astype(int)
    sex = pick_one(
        rng,
        {"female": scenario.female, "male": 1 - scenario.female - 0.004, "unknown": 0.004},
        people,
    )
    prior_first = np.where(
        chance(rng, scenario.first_episode, people), 0, rng.geometric(0.55, people)
    )
    earlier_here = pd.Series(person).groupby(person).cumcount().to_numpy()
    frailty = np.exp(rng.normal(0, scenario.frailty_log_sd, people))
    return age, sex[person], prior_first[person] + earlier_here, frailty[person]


def first_of(values: np.ndarray, person: np.ndarray) -> np.ndarray:
    """For each episode the value at its patient's first episode."""
    return pd.Series(values).groupby(person).transform("first").to_numpy()


def draw_disease(
    rng: np.random.Generator, scenario: Scenario, count: int
) -> tuple[np.ndarray, ...]:
    """What is wrong: pattern of signs, affected side, presentation,
    and the cause where it is not canal debris."""
    names = {name: variant.share for name, variant in VARIANTS.items()}
    pattern_name = pick_one(rng, names, count)
    other = np.full(count, None, dtype=object)
    foreign = np.flatnonzero(chance(rng, scenario.non_positional, count))
    other[foreign] = pick_one(
        rng, {name: cause.share for name, cause in OTHER_CAUSES.items()}, len(foreign)
    )
    for name, cause in OTHER_CAUSES.items():
        who = np.flatnonzero(other == name)
        pattern_name[who] = pick_one(rng, cause.patterns, len(who))
    side = np.where(chance(rng, scenario.right_ear, count), RIGHT, LEFT)
    side[pattern_name == "several_both_ears"] = BOTH
    presentation = rng.choice(
        3,
        count,
        p=[
            1 - scenario.vertigo_only - scenario.resolved_before_visit,
            scenario.vertigo_only,
            scenario.resolved_before_visit,
        ],
    )
    presentation[foreign] = NYSTAGMUS
    number = {name: place for place, name in enumerate(PATTERN_NAMES)}
    return np.array([number[name] for name in pattern_name]), side, presentation, other


def draw_treated(
    rng: np.random.Generator, pattern: np.ndarray, presentation: np.ndarray, other: np.ndarray
) -> np.ndarray:
    """Who is given a maneuver at all; the others' day 0 is the day of the first test (probabilities
    invented)."""
    likely = np.array([0.97, 0.8, 0.15])[presentation]
    likely[other != None] = 0.75  # noqa: E711  (element by element)
    return chance(rng, likely, len(pattern))


def draw_delay(rng: np.random.Generator, scenario: Scenario, pattern: np.ndarray) -> np.ndarray:
    """Whole days from the first symptom to the first test, log-normal and shorter in the lateral
    canal."""
    lateral = np.array([name.startswith("lateral") for name in PATTERN_NAMES])[pattern]
    median = np.where(lateral, scenario.onset_median_days_lateral, scenario.onset_median_days)
    return (
        np.round(median * np.exp(rng.normal(0, scenario.onset_log_sd, len(pattern))))
        .clip(1, 3000)
        .astype(int)
    )


def draw_answers(rng: np.random.Generator, other: np.ndarray) -> pd.DataFrame:
    """The screening answers: yes, no, unknown; false yes is rare,
    and very rare for decisive ones (invented)."""
    count = len(other)
    yes = pd.DataFrame(
        {name: chance(rng, 0.002 if name in DECISIVE else 0.02, count) for name in SCREENING}
    )
    for name, cause in OTHER_CAUSES.items():
        who = np.flatnonzero(other == name)
        for answer, share in cause.answers.items():
            yes.loc[who, answer] |= chance(rng, share, len(who))
        signs = who[chance(rng, cause.decisive, len(who))]
        leading = pick_one(rng, DECISIVE, len(signs))
        for answer in DECISIVE:
            yes.loc[signs, answer] |= (leading == answer) | chance(rng, 0.2, len(signs))
    answers = pd.DataFrame(np.where(yes, "yes", "no"), columns=list(SCREENING), dtype=object)
    not_known = rng.random(answers.shape) < 0.03
    return answers.mask(not_known & ~yes.to_numpy(), "unknown")
