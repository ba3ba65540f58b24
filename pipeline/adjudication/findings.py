"""From tests to findings: what each positional test shows, in anatomical terms."""

import numpy as np
import pandas as pd

from schemas.columns import Frame
from schemas.criteria import Criteria, DurationClasses, HealthyVelocity
from schemas.delivery import Examinations, Treatments
from schemas.derived import Findings, Spells
from schemas.keys import EPISODE

DIRECTIONS = ["vertical", "torsion", "horizontal"]


def describe_tests(
    examinations: Frame[Examinations], treatments: Frame[Treatments], criteria: Criteria
) -> Frame[Findings]:
    """One finding for each examination, in the same order and with the same index
    (schemas.derived.Findings)."""
    nystagmus = examinations[DIRECTIONS].ne("none").any(axis=1)
    findings = examinations[[*EPISODE, "day", "examination", "test", "side"]].assign(
        nystagmus=nystagmus,
        positive=nystagmus | examinations["vertigo"].ne("none"),
        before_treatment=_come_before_treatment(examinations, treatments),
        torsion_toward=_torsion_toward(examinations),
        duration_class=classify_durations(examinations["duration_s"], criteria.duration),
        velocity_class=classify_velocities(examinations, criteria.healthy_velocity),
    )
    return Findings.cast(findings)


def classify_durations(seconds: pd.Series, duration: DurationClasses) -> np.ndarray:
    """Each duration as short, borderline or long; unknown where it was not measured.

    The band includes both of its ends.
    """
    measured = seconds.to_numpy(float, na_value=np.nan)
    classes = np.select(
        [
            np.isnan(measured),
            measured < duration.borderline_from_s,
            measured <= duration.borderline_to_s,
        ],
        ["unknown", "short", "borderline"],
        "long",
    )
    return classes


def classify_velocities(examinations: pd.DataFrame, healthy: HealthyVelocity) -> np.ndarray:
    """The greatest velocity of each test as slow or fast, against that of healthy people.

    Nystagmus with a vertical part is measured by the vertical limit. What is seen under fixation is
    fast, since fixation suppresses what healthy people have (common practice); what was otherwise
    not measured is unknown.
    """
    measured = examinations["peak_spv"].to_numpy(float, na_value=np.nan)
    limit = np.where(examinations["vertical"].eq("none"), healthy.horizontal, healthy.vertical)
    shown = examinations[DIRECTIONS].ne("none").any(axis=1)
    fixating = examinations["fixation_removed"].eq("no").fillna(False).astype(bool)
    return np.select(
        [shown & fixating, np.isnan(measured), measured < limit],
        ["fast", "unknown", "slow"],
        "fast",
    )


def _torsion_toward(examinations: pd.DataFrame) -> np.ndarray:
    """Where the upper poles beat, seen from the ear that is down."""
    none = examinations["torsion"].eq("none")
    midline = examinations["side"].eq("none")
    same = examinations["torsion"].eq(examinations["side"])
    return np.select([none, midline, same], ["none", "midline", "lower_ear"], "upper_ear")


def _come_before_treatment(examinations: pd.DataFrame, treatments: pd.DataFrame) -> np.ndarray:
    """True for a test before the first attempt.

    On the day of the first attempt `after_attempt` tells. Where it is empty, which is how many
    write that nothing had been done yet, a test counts as before as long as no test of that day was
    repeated on the same side, or is said to come after an attempt: what is tested again may have
    been treated in between.
    """
    first_day = treatments.groupby(EPISODE)["day"].min().rename("first_day")
    examined = examinations.join(first_day, on=EPISODE)
    earlier = examined["day"] < examined["first_day"]
    told_before = examined["after_attempt"].eq(0).fillna(False) | (
        examined["after_attempt"].isna() & ~_follow_a_repeat(examined)
    )
    before = (
        examined["first_day"].isna()
        | earlier
        | ((examined["day"] == examined["first_day"]) & told_before)
    )
    return before.fillna(True).to_numpy(bool)


def _follow_a_repeat(examinations: pd.DataFrame) -> pd.Series:
    """Whether a test of the same day, up to this one, had been done before on the same side or is
    said to come after an attempt."""
    ordered = examinations.sort_values([*EPISODE, "day", "examination"], kind="stable")
    repeated = ordered.duplicated([*EPISODE, "day", "test", "side"])
    treated = ordered["after_attempt"].ge(1).fillna(False)
    ended = (repeated | treated.astype(bool)).groupby(
        [ordered[name] for name in (*EPISODE, "day")], sort=False
    )
    return ended.cummax().reindex(examinations.index)


def find_incomplete(spells: Frame[Spells]) -> pd.MultiIndex:
    """Site and episode_id of the episodes of which a test or a treatment was set aside."""
    return pd.MultiIndex.from_frame(
        spells.loc[spells["status"].eq("incomplete_record"), EPISODE].drop_duplicates()
    )


def join_texts(parts: list[pd.Series]) -> pd.Series:
    """The texts of several columns in one, separated by blanks; empty ones leave no trace."""
    joined = parts[0].astype("string").fillna("")
    for part in parts[1:]:
        joined = joined + " " + part.astype("string").fillna("")
    return joined.str.split().str.join(" ").astype("string")
