"""What version 2 of the dictionary adds to the records of a clinic that follows it: history,
nystagmus at rest, blood pressure, minutes, planned repetitions, and several events in one cell.

Drawn apart, so that every other cell is as it would be in version 1. Shares are invented unless a
source stands beside them.
"""

import numpy as np
import pandas as pd

from schemas.columns import SEPARATOR
from schemas.delivery import LONG_ATTACK_S, SIGNS
from synthetic_data.draw import blank, chance
from synthetic_data.patients import Cases

# sensitivity and 1 - specificity of turning in bed, and of attacks under a minute (van Dam VS et
# al. Front Neurol 2021;11:625776)
PROVOKED, PROVOKED_OTHERWISE = 0.81, 0.32
UNDER_A_MINUTE, UNDER_A_MINUTE_OTHERWISE = 0.43, 0.25
AT_REST, AT_REST_LATERAL, AT_REST_OTHERWISE = 0.9, 0.06, 0.01
FELL, FELL_OTHERWISE = 0.8, 0.12
PLANNED = {"brandt_daroff": 210}  # 5 rounds, 3 times a day for 2 weeks, from memory


def add_history(rng: np.random.Generator, episodes: pd.DataFrame, cases: Cases) -> pd.DataFrame:
    """The episodes with what patients say of their attacks, nystagmus at rest and blood pressure,
    in accord with the other answers."""
    count = len(cases)
    positional, cause = cases.positional, cases.other_cause
    provoked = chance(rng, np.where(positional, PROVOKED, PROVOKED_OTHERWISE), count)
    provoked &= ~episodes["symptoms_only_on_standing"].eq("yes").to_numpy(bool)
    brief = chance(rng, np.where(positional, UNDER_A_MINUTE, UNDER_A_MINUTE_OTHERWISE), count)
    seconds = np.where(
        brief, rng.integers(5, 60, count), rng.integers(60, LONG_ATTACK_S + 1, count)
    )
    long = episodes["attacks_over_2min"].eq("yes").to_numpy(bool)
    seconds[long] = rng.integers(3, 61, count)[long] * 60
    neuritis = ~positional & (cause == "unilateral_vestibulopathy")
    orthostatic = ~positional & (cause == "orthostatic")
    lateral = episodes["recorded_canal"].eq("lateral").to_numpy(bool)
    at_rest = np.select([neuritis, lateral], [AT_REST, AT_REST_LATERAL], AT_REST_OTHERWISE)
    fell = chance(rng, np.where(orthostatic, FELL, FELL_OTHERWISE), count)
    return episodes.assign(
        spontaneous_horizontal_nystagmus=_answer(rng, chance(rng, at_rest, count), 0.1),
        pressure_drop_on_standing=_answer(rng, fell, 0.5),
        provoked_by_lying_or_turning=_answer(rng, provoked, 0.1),
        attack_s=blank(rng, seconds, 0.3),
    )


def add_minutes(rng: np.random.Generator, examinations: pd.DataFrame) -> pd.DataFrame:
    """The tests with the minutes since the maneuver of the same visit: some are repeated at once,
    some after half an hour."""
    count = len(examinations)
    late = chance(rng, 0.35, count)
    minutes = np.where(late, rng.integers(30, 46, count), rng.integers(1, 16, count)).astype(float)
    minutes = blank(rng, minutes, 0.3)
    after = examinations["after_attempt"].ge(1).fillna(False).to_numpy(bool)
    return examinations.assign(minutes_since_attempt=np.where(after, minutes, np.nan))


def add_plans_and_events(rng: np.random.Generator, treatments: pd.DataFrame) -> pd.DataFrame:
    """The maneuvers with the repetitions that were planned at home, and pain of the neck beside
    some of the nausea."""
    planned = treatments["maneuver"].map(PLANNED).to_numpy(float)
    sick = treatments["adverse"].isin(["nausea", "vomiting"])
    both = sick & chance(rng, 0.1, len(treatments))
    adverse = treatments["adverse"].mask(both, treatments["adverse"] + SEPARATOR + "neck_pain")
    return treatments.assign(cycles_planned=blank(rng, planned, 0.2), adverse=adverse)


def say_negative(examinations: pd.DataFrame) -> pd.DataFrame:
    """The cells of the tests with one cell in place of four where nothing was seen or felt."""
    signs = list(SIGNS)
    nothing = examinations[signs].eq("none").all(axis=1)
    cells = examinations.assign(
        result=pd.Series(np.where(nothing, "negative", None), examinations.index, dtype=object)
    )
    cells[signs] = cells[signs].mask(nothing, None)
    return cells


def _answer(rng: np.random.Generator, yes: np.ndarray, missing: float) -> np.ndarray:
    """Yes or no, or not recorded."""
    return blank(rng, np.where(yes, "yes", "no").astype(object), missing)
