"""The supine roll test as a pair of looks, and the side of the lateral canal: by intensity, else by tie-breaking signs."""

import numpy as np
import pandas as pd

from pipeline.clinic.findings import EPISODE, classify_durations, join_texts
from schemas.criteria import DurationClasses

DAY = [*EPISODE, "day"]
VERTIGO_GRADE = {"none": 0, "mild": 1, "moderate": 2, "severe": 3}
OTHER_EAR = {"right": "left", "left": "right"}
UNKNOWN_SIDE = "unknown"
# Lateral-canal table of the AAO guideline (Bhattacharyya N et al. Otolaryngol Head Neck Surg 2017;156(3 Suppl):S1-S47): with
# geotropic nystagmus, does the sign beat toward the affected ear? With apogeotropic nystagmus it is the other way round.
BEATS_TOWARD_AFFECTED = {"lying_down": False, "bow": True, "lean": False}


def turn_relative(looks: pd.DataFrame) -> pd.Series:
    """The horizontal direction of supine roll looks as geotropic or apogeotropic, also where right or left was recorded."""
    absolute = looks["horizontal"].isin(["right", "left"]) & looks["test"].eq("supine_roll")
    toward_ground = looks["horizontal"].eq(looks["side"])
    relative = pd.Series(np.where(toward_ground, "geotropic", "apogeotropic"), index=looks.index, dtype="string")
    return looks["horizontal"].where(~absolute, relative)


def pair_rolls(looks: pd.DataFrame, duration: DurationClasses) -> pd.DataFrame:
    """One row for each episode and day on which the supine roll test was done to both sides: the two first looks as one pattern.

    `horizontal` is the direction seen with either ear down, `same_way` if the eyes beat to the same ear on both sides, `differs` if
    only one side shows any. `latency_s` and `duration_s` are the longer ones, `peak_spv` and `spv_at_40s` those of the faster side.
    `stronger_ear` is the ear down with the stronger response, `sign_ears` what the tie-breaking signs of the day say.
    """
    rolls = looks[looks["test"].eq("supine_roll")].sort_values([*DAY, "look"]).drop_duplicates([*DAY, "side"])
    rolls = rolls.assign(horizontal=turn_relative(rolls))
    right, left = (rolls[rolls["side"].eq(side)].set_index(DAY) for side in ("right", "left"))
    both = right.join(left, how="inner", lsuffix="_right", rsuffix="_left")
    agree = both["horizontal_right"].eq(both["horizontal_left"])
    one_silent = both["horizontal_right"].eq("none") | both["horizontal_left"].eq("none")
    direction = np.select([agree, one_silent], [both["horizontal_right"], "differs"], "same_way")
    right_faster = (both["peak_spv_right"] >= both["peak_spv_left"].fillna(-1)).fillna(False)
    pairs = pd.DataFrame({"horizontal": pd.Series(direction, both.index, dtype="string")})
    for column in ("latency_s", "duration_s"):
        pairs[column] = both[[f"{column}_right", f"{column}_left"]].max(axis=1)
    for column in ("peak_spv", "spv_at_40s", "fatigues", "reverses_on_sitting", "vertigo"):
        pairs[column] = both[f"{column}_right"].where(right_faster, both[f"{column}_left"])
    fixed = {"test": "supine_roll", "side": "none", "vertical": "none", "torsion": "none", "torsion_toward": "none"}
    pairs = pairs.assign(
        duration_class=classify_durations(pairs["duration_s"], duration), stronger_ear=_stronger_ear(both), **fixed
    )
    return pairs.join(_collect_signs(looks)).reset_index()


def tell_side(pairs: pd.DataFrame) -> pd.DataFrame:
    """The affected ear of each pair: `ear`, `side_by` and `side_signs` (what each sign says, also where it is not needed).

    Intensity decides; on a tie the signs do, if they agree.
    """
    geotropic = pairs["horizontal"].eq("geotropic")
    known = pairs["horizontal"].isin(["geotropic", "apogeotropic"])
    weaker = pairs["stronger_ear"].map(OTHER_EAR)
    ears = {
        "intensity": pairs["stronger_ear"]
        .where(geotropic, weaker)
        .where(known & pairs["stronger_ear"].isin(list(OTHER_EAR)))
    }
    for sign, toward in BEATS_TOWARD_AFFECTED.items():
        beats = pairs[f"{sign}_beats"]
        ears[sign] = beats.where(geotropic == toward, beats.map(OTHER_EAR)).where(known & beats.isin(list(OTHER_EAR)))
    told = pd.DataFrame(ears, index=pairs.index).astype("string")
    signs = told[list(BEATS_TOWARD_AFFECTED)]
    rights, lefts = signs.eq("right").fillna(False).sum(axis=1), signs.eq("left").fillna(False).sum(axis=1)
    by_signs = np.select([(rights > 0) & (lefts == 0), (lefts > 0) & (rights == 0)], ["right", "left"], UNKNOWN_SIDE)
    by_intensity = told["intensity"].notna()
    ear = told["intensity"].fillna(pd.Series(by_signs, index=pairs.index, dtype="string"))
    return pd.DataFrame(
        {
            "ear": ear,
            "side_by": np.select([by_intensity, ear.ne(UNKNOWN_SIDE)], ["intensity", "signs"], "none"),
            "side_signs": join_texts([f"{name}=" + told[name] for name in told]),
        },
        index=pairs.index,
    )


def _stronger_ear(both: pd.DataFrame) -> np.ndarray:
    """The ear down with the faster nystagmus, or with more vertigo where no velocity was measured; unknown on a tie."""
    speed = both["peak_spv_right"] - both["peak_spv_left"]
    vertigo = both["vertigo_right"].map(VERTIGO_GRADE) - both["vertigo_left"].map(VERTIGO_GRADE)
    difference = speed.fillna(vertigo.astype("Float64")).to_numpy(float)
    return np.select([difference > 0, difference < 0], ["right", "left"], UNKNOWN_SIDE)


def _collect_signs(looks: pd.DataFrame) -> pd.DataFrame:
    """Toward which ear each tie-breaking sign beats, by episode and day: lying_down_beats, bow_beats, lean_beats."""
    first = looks[looks["test"].isin(BEATS_TOWARD_AFFECTED)].sort_values([*DAY, "look"]).drop_duplicates([*DAY, "test"])
    wide = first.set_index([*DAY, "test"])["horizontal"].unstack("test").reindex(columns=list(BEATS_TOWARD_AFFECTED))
    return wide.astype("string").add_suffix("_beats")
