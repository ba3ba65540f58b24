"""A simulated course as the tables that analyses get: episodes, adjudications, attempts, spells,
first events, followups."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.derivation.spells import bound_spells
from schemas.derived import Adjudications, Attempts, Spells
from tests.recovery.events import build_first_events
from tests.recovery.scenarios import CODES, SEED, VARIANTS, Scenario
from tests.recovery.simulate import Course, People, draw_course, draw_people, draw_sites
from tests.recovery.totals import build_followups

EVENTS, TOTALS = 1, 2  # streams of luck of their own, so that neither changes the course


@dataclass(frozen=True)
class Pool:
    """One simulated pool, each table as the warehouse would give it; `resolved` is the true time,
    which no analysis may see."""

    episodes: pd.DataFrame
    adjudications: pd.DataFrame
    attempts: pd.DataFrame
    spells: pd.DataFrame
    first_events: pd.DataFrame
    followups: pd.DataFrame
    resolved: np.ndarray


def draw_pool(scenario: Scenario, number: int, gap: int) -> Pool:
    """The pool of that number; `gap` is the agreed recurrence gap in days."""
    rng = np.random.default_rng([SEED, number])
    people = draw_people(scenario, *draw_sites(scenario, rng), rng)
    course = draw_course(people, scenario, gap, rng)
    names = name_episodes(people)
    return Pool(
        build_episodes(people, names),
        build_adjudications(people, names),
        build_attempts(people, course, names),
        build_spells(course, names, gap),
        build_first_events(people, course, names, np.random.default_rng([SEED, number, EVENTS])),
        build_followups(
            people, course, names, scenario, np.random.default_rng([SEED, number, TOTALS])
        ),
        course.resolved,
    )


def name_episodes(people: People) -> pd.DataFrame:
    """site, episode_id, patient_id: one episode a patient."""
    numbers = [f"{i:06d}" for i in range(len(people.site))]
    return pd.DataFrame(
        {
            "site": [f"S{1 + s:02d}" for s in people.site],
            "episode_id": [f"EP-{i}" for i in numbers],
            "patient_id": [f"PT-{i}" for i in numbers],
        }
    )


def build_episodes(people: People, names: pd.DataFrame) -> pd.DataFrame:
    """The columns of delivered episodes that analyses read."""
    return names.assign(
        age_years=pd.array(people.age, "Int64"),
        sex=pd.array(np.where(people.female, "female", "male"), "string"),
        onset_day=pd.array(people.onset, "Int64"),
        prior_episodes=pd.array(people.prior, "Int64"),
        cause=pd.array(["idiopathic"] * len(names), "string"),
    )


def build_adjudications(people: People, names: pd.DataFrame) -> pd.DataFrame:
    """The verdicts: every variant is read rightly."""
    verdict = {
        key: [getattr(VARIANTS[v], key) for v in people.variant]
        for key in ("canal", "arm", "mechanism")
    }
    return Adjudications.cast(
        names.assign(
            **verdict,
            positional="yes",
            variants="",
            side="right",
            arm_basis=pd.NA,
            certainty="definite",
            side_by="plane",
            side_signs="",
            known_day=0,
            reclassified_day=pd.NA,
            recognised_day=pd.NA,
            criteria="",
            reasons_against="",
        )
    )


def build_attempts(people: People, course: Course, names: pd.DataFrame) -> pd.DataFrame:
    """One row for each session, with the first test after it,
    which comes before or on the day of the next session."""
    who, column = np.nonzero(~np.isnan(course.session))
    families = np.array([variant.families for variant in VARIANTS])[people.variant]
    day, family = course.session[who, column], families[who, course.family[who, column]]
    later = np.where(
        np.arange(course.test_day.shape[1]) >= column[:, None], course.test_day[who], np.nan
    )
    tested_again = ~np.isnan(later).all(axis=1)
    nearest = np.argmax(~np.isnan(later), axis=1)
    code = [CODES.get(name, name) for name in family]
    rows = names.iloc[who].reset_index(drop=True).assign(day=day, family=family, maneuver=code)
    by_episode = rows.groupby("episode_id")
    session = by_episode.cumcount() + 1
    adherent = np.array([variant.mechanism == "cupulolithiasis" for variant in VARIANTS])[
        people.variant
    ][who]
    shown = np.where(course.positive[who, nearest], "positive", "negative")
    return Attempts.cast(
        rows.assign(
            session=session,
            spell=1,
            attempt=session,
            attempts=1,
            side="right",
            completed="yes",
            setting="clinic",
            performed_by="clinician",
            fit=np.where(adherent & np.isin(family, ["epley", "barbecue_roll"]), "no", "yes"),
            previous_maneuver=by_episode["maneuver"].shift(),
            at_risk=True,
            same_visit="not_tested_again",
            next_test_days=pd.array(
                np.where(tested_again, later[np.arange(len(who)), nearest] - day, np.nan), "Float64"
            ),
            outcome=np.where(tested_again, shown, "not_tested_again"),
            next_vertigo=pd.NA,
            next_duration_s=np.nan,
            next_peak_spv=np.nan,
        )
    )


def build_spells(course: Course, names: pd.DataFrame, gap: int) -> pd.DataFrame:
    """The spells by the primary endpoint, bounded as the pipeline bounds them."""
    rows = []
    for i, name in enumerate(names.itertuples(index=False, name=None)):
        seen = ~np.isnan(course.test_day[i])
        days, states = (
            course.test_day[i, seen].astype(int).tolist(),
            np.where(course.positive[i, seen], "positive", "negative").tolist(),
        )
        for number, spell in enumerate(bound_spells(days, states, gap), start=1):
            times = (spell.left - spell.start, spell.right - spell.start, spell.last - spell.start)
            status = (
                "resolved"
                if np.isfinite(spell.right)
                else "unresolved"
                if times[2] > 0 or number > 1
                else "not_tested_again"
            )
            rows.append((*name, "objective", number, spell.start, *map(float, times), status))
    columns = [
        *names,
        "endpoint",
        "spell",
        "start_day",
        "left_days",
        "right_days",
        "last_test_days",
        "status",
    ]
    return Spells.cast(pd.DataFrame(rows, columns=columns))
