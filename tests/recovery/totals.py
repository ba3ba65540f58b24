"""Totals of the Dizziness Handicap Inventory: drawn, and as the follow-up rows of forms that were
filled in.

The mean is straight between planted days on a scale of log(1 + day), patients differ in level and
slope, sites in level, and the total falls at once when the vertigo resolves: so the mean of all is
not straight. Where patients are lost, those whose last total was low fill in fewer forms, which
totals that are there tell.
"""

import numpy as np
import pandas as pd

from schemas.delivery import TABLES
from tests.recovery.scenarios import (
    FILLED_IN,
    FILLED_IN_WHEN_WELL,
    HANDICAP,
    HANDICAP_LATERAL,
    HANDICAP_SDS,
    RESOLVED_FALL,
    VARIANTS,
    WELL_BELOW,
    Scenario,
)
from tests.recovery.simulate import Course, People

SLOPE_DAY = 30  # the slope of a patient is what it adds by this day


def draw_totals(
    people: People, course: Course, days: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """The total of each patient on each of `days` (patients, days), even and from 0 to 100;
    nan where there is no day."""
    n = len(people.site)
    level, slope, noise = HANDICAP_SDS["patient"], HANDICAP_SDS["slope"], HANDICAP_SDS["rest"]
    at = np.log1p(days)
    lateral = np.array([variant.canal == "lateral" for variant in VARIANTS])[people.variant]
    patient_effect = (
        HANDICAP_LATERAL * lateral
        + HANDICAP_SDS["site"] * people.prone
        + level * rng.standard_normal(n)
    )
    mean = np.interp(at, np.log1p(list(HANDICAP)), list(HANDICAP.values()))
    steep = slope * rng.standard_normal(n)[:, None] * at / np.log1p(SLOPE_DAY)
    fall = RESOLVED_FALL * (course.resolved[:, None] <= days)
    total = mean + patient_effect[:, None] + steep - fall + noise * rng.standard_normal(days.shape)
    return np.clip(2 * np.round(total / 2), 0, 100)


def build_followups(
    people: People,
    course: Course,
    names: pd.DataFrame,
    scenario: Scenario,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """The forms that were filled in, on day 0 and on days of tests;
    other answers were not asked for."""
    days = np.column_stack([np.zeros(len(names)), course.test_day])
    totals = draw_totals(people, course, days, rng)
    given, last = np.zeros(days.shape, bool), np.full(len(names), np.inf)
    for k in range(days.shape[1]):
        well = (last < WELL_BELOW) & (scenario.loss != 0)
        given[:, k] = ~np.isnan(days[:, k]) & (
            rng.random(len(names)) < np.where(well, FILLED_IN_WHEN_WELL, FILLED_IN)
        )
        last = np.where(given[:, k], totals[:, k], last)
    who, column = np.nonzero(given)
    keys = names.iloc[who].reset_index(drop=True)[["site", "episode_id"]]
    rows = keys.assign(day=days[who, column].astype(int), dhi_total=totals[who, column].astype(int))
    empty = TABLES["followups"].empty()
    columns = ["site", *empty.columns]
    filled = rows.reindex(columns=columns).astype(
        {name: empty[name].dtype for name in empty.columns}
    )
    return filled.astype({"site": "string"})
