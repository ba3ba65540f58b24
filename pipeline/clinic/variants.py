"""Which variants of positional vertigo the looks allow, by the criteria of the configuration."""

import numpy as np
import pandas as pd

from pipeline.clinic.findings import EPISODE, classify_durations
from schemas.study import Criteria, Criterion

VERTIGO_GRADE = {"none": 0, "mild": 1, "moderate": 2, "severe": 3}
OTHER_EAR = {"right": "left", "left": "right"}
UNKNOWN_SIDE = "unknown"


def match_variants(looks: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """One row for each look (or pair of looks) and criterion that it meets.

    `looks` are examinations joined with their findings. The result has site, episode_id, day, look_key (what was looked at),
    criterion, canal, side, arm, arm_basis, mechanism and certainty.
    """
    pairs = pair_rolls(looks, criteria)
    silent = {test: _episodes_silent_in(looks, test) for c in criteria.criteria.values() for test in c.silent_tests}
    matches = [
        _match_criterion(pairs if criterion.both_sides else looks, name, criterion, silent)
        for name, criterion in criteria.criteria.items()
    ]
    return pd.concat(matches, ignore_index=True)


def pair_rolls(looks: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """One row for each episode and day on which the supine roll test was done to both sides: the two first looks as one pattern.

    `horizontal` is the direction seen with either ear down (`differs` if it is not the same), `duration_s` the longer of the two,
    `stronger_ear` the ear down with the faster nystagmus, or with more vertigo where no velocity was measured; unknown on a tie.
    """
    rolls = looks[looks["test"].eq("supine_roll")].sort_values([*EPISODE, "day", "look"])
    first = rolls.drop_duplicates([*EPISODE, "day", "side"])
    right, left = (first[first["side"].eq(side)].set_index([*EPISODE, "day"]) for side in ("right", "left"))
    both = right.join(left, how="inner", lsuffix="_right", rsuffix="_left")
    durations = both[["duration_s_right", "duration_s_left"]].max(axis=1)
    pairs = pd.DataFrame(
        {
            "test": "supine_roll",
            "side": "none",
            "vertical": "none",
            "torsion": "none",
            "torsion_toward": "none",
            "horizontal": both["horizontal_right"].where(
                both["horizontal_right"] == both["horizontal_left"], "differs"
            ),
            "duration_class": classify_durations(durations, criteria.duration),
            "stronger_ear": _stronger_ear(both),
        },
        index=both.index,
    )
    return pairs.reset_index()


def _stronger_ear(both: pd.DataFrame) -> np.ndarray:
    """The ear down with the stronger response (intensity decides the side: AAO guideline 2017, lateral-canal table)."""
    speed = both["peak_spv_right"] - both["peak_spv_left"]
    vertigo = both["vertigo_right"].map(VERTIGO_GRADE) - both["vertigo_left"].map(VERTIGO_GRADE)
    difference = speed.fillna(vertigo.astype("Float64")).to_numpy(float)
    return np.select([difference > 0, difference < 0], ["right", "left"], UNKNOWN_SIDE)


def _episodes_silent_in(looks: pd.DataFrame, test: str) -> pd.MultiIndex:
    """Episodes in which the test was done and never showed nystagmus."""
    seen = looks[looks["test"].eq(test)].groupby(EPISODE)["nystagmus"].any()
    return seen.index[~seen.to_numpy(bool)]


def _match_criterion(
    looks: pd.DataFrame, name: str, criterion: Criterion, silent: dict[str, pd.MultiIndex]
) -> pd.DataFrame:
    fits = looks["test"].isin(criterion.tests)
    for column in ("vertical", "torsion_toward", "horizontal"):
        allowed = getattr(criterion, column)
        if allowed is not None:
            fits &= looks[column].isin(allowed)
    if criterion.duration is not None:
        fits &= looks["duration_class"].isin([*criterion.duration, "unknown"])
    if criterion.silent_tests:
        episodes = pd.MultiIndex.from_frame(looks[EPISODE])
        fits &= np.any([episodes.isin(silent[test]) for test in criterion.silent_tests], axis=0)
    met = looks[fits]
    unmeasured = (
        met["duration_class"].eq("unknown") & (criterion.duration is not None) & (criterion.certainty == "definite")
    )
    texts = {
        "look_key": met["test"] + "/" + met["side"],
        "criterion": name,
        "canal": criterion.canal,
        "side": _name_ear(met, criterion.side),
        "arm": criterion.arm,
        "arm_basis": criterion.arm_basis,
        "mechanism": criterion.mechanism,
        "certainty": np.where(unmeasured, "probable", criterion.certainty),
    }
    typed = {name: pd.Series(text, index=met.index, dtype="string") for name, text in texts.items()}
    return met[[*EPISODE, "day"]].assign(**typed)


def _name_ear(met: pd.DataFrame, which: str) -> pd.Series:
    """The ear that a criterion points to, as right, left or unknown."""
    if which == "lower_ear":
        ear = met["side"]
    elif which in ("torsion_ear", "opposite_of_torsion_ear"):
        ear = met["torsion"]
    else:
        ear = met["stronger_ear"]
    if which in ("opposite_of_torsion_ear", "weaker_ear"):
        ear = ear.map(OTHER_EAR)
    return ear.where(ear.isin(list(OTHER_EAR)), UNKNOWN_SIDE).astype("string")
