"""The supine roll test as a pair of tests, one with either ear down,
however often and on however many days it was done."""

import numpy as np
import pandas as pd

from pipeline.adjudication.ears import OTHER_EAR, UNKNOWN_SIDE
from schemas.keys import EPISODE

DAY = [*EPISODE, "day"]
VERTIGO_GRADE = {"none": 0, "mild": 1, "moderate": 2, "severe": 3}
VERTIGO_BY_GRADE = {grade: name for name, grade in VERTIGO_GRADE.items()}
VELOCITY_GRADE = {"slow": 0, "unknown": 1, "fast": 2}
VELOCITY_BY_GRADE = {grade: name for name, grade in VELOCITY_GRADE.items()}
# Two velocities are alike if they differ by less than this part of their sum (this project's
# proposal: 41 and 40 degrees per second tell no side)
ALIKE = 0.15
DIRECTIONS = ("geotropic", "apogeotropic")
SIGNS = ("lying_down", "bow", "lean")
OF_FASTER_SIDE = ("peak_spv", "spv_at_40s", "reverses_on_sitting")
GRADES = ("vertigo_grade", "velocity_grade")  # the greatest of all tests of a side
TYPES: dict[str, str | type] = {
    "site": "string",
    "episode_id": "string",
    "day": "Int64",
    "horizontal": "string",
    "duration_class": "string",
}
TYPES |= dict.fromkeys(("vertigo", "velocity_class", "alike", "beats_to"), "string")
TYPES |= {"stronger_ear": "string", "stronger_by": "string", "across": bool, "latency_s": "Float64"}
TYPES |= {name: "Float64" if "spv" in name else "string" for name in OF_FASTER_SIDE}
FIXED = {
    "test": "supine_roll",
    "side": "none",
    "vertical": "none",
    "torsion": "none",
    "torsion_toward": "none",
}


def turn_relative(examined: pd.DataFrame) -> pd.Series:
    """The horizontal direction of supine roll tests as geotropic or apogeotropic,
    also where right or left was recorded."""
    absolute = examined["horizontal"].isin(["right", "left"]) & examined["test"].eq("supine_roll")
    toward_ground = examined["horizontal"].eq(examined["side"])
    relative = pd.Series(
        np.where(toward_ground, "geotropic", "apogeotropic"), index=examined.index, dtype="string"
    )
    return examined["horizontal"].where(~absolute, relative)


def pair_rolls(examined: pd.DataFrame, *, across_days: bool = False) -> pd.DataFrame:
    """Pair supine roll tests of both sides.

    Of a side that was tested repeatedly on a day, the tests with nystagmus count: silence with one
    ear down never undoes what that side showed before or after (for its sources see
    ears.are_silent). Tests that differ in duration pair with each of the other side, so that each
    stays a test of its own.

    With `across_days` a direction that was seen with either ear down on different days makes a pair
    too (`across`), of the day on which both sides had been seen. It is the same test, done in two
    visits (this project's proposal); directions that differ between days are no pattern, since
    debris moves in between.

    Parameters
    ----------
    examined
        Examinations joined with their findings.
    across_days
        Whether sides of different days make a pair.

    Returns
    -------
    pd.DataFrame
        One row for each pattern that the two sides show together: site, episode_id, day, and the
        columns of a test. `horizontal` is the direction seen with either ear down, or `same_way` if
        on that day no direction was seen with either, and the eyes beat to the same ear on both
        sides; `differs` or `none` (one row) if only one side or none showed any. `duration_class`
        is that of the longer side, hence unknown where one was not timed and the other is not long.
        `vertigo` and `velocity_class` are the greater ones; `alike` says whether both sides were
        measured to be about as fast, and `beats_to` to which ear direction-fixed nystagmus beats.
        `latency_s` is the longer one; `stronger_ear` is the ear down with the stronger response,
        `stronger_by` how that is known; `lying_down_beats`, `bow_beats` and `lean_beats` are the
        ears toward which the tie-breaking signs of the same time beat.
    """
    rolls = examined[examined["test"].eq("supine_roll")]
    if rolls.empty:
        return _list_no_pairs()
    rolls = rolls.assign(
        horizontal=turn_relative(rolls),
        vertigo_grade=rolls["vertigo"].map(VERTIGO_GRADE),
        velocity_grade=rolls["velocity_class"].map(VELOCITY_GRADE),
    )
    shown = rolls[rolls["horizontal"].isin(DIRECTIONS)]
    paired = _pair_sides(shown, DAY)
    concordant = pd.MultiIndex.from_frame(paired.loc[paired["horizontal"].ne("same_way"), DAY])
    paired = paired[
        paired["horizontal"].ne("same_way")
        | ~pd.MultiIndex.from_frame(paired[DAY]).isin(concordant)
    ]
    pairs = [paired.assign(across=False), _list_other_days(rolls, paired)]
    if across_days:
        pairs.append(_pair_across_days(shown))
    typed = [rows.reindex(columns=list(TYPES)).astype(TYPES) for rows in pairs]
    pairs = pd.concat(typed, ignore_index=True).assign(**FIXED)
    return pairs.join(_read_signs(pairs, examined, shown))


def _list_no_pairs() -> pd.DataFrame:
    """The table of pairs without a row."""
    beats = dict.fromkeys((f"{sign}_beats" for sign in SIGNS), "string")
    return pd.DataFrame(columns=[*TYPES, *FIXED, *beats]).astype(TYPES | beats)


def _pair_sides(shown: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Both sides that show nystagmus within `keys`, as pairs;
    the strongest test of a side stands for it but for the duration."""
    order = [*keys, "horizontal", "side"]
    ranked = shown.assign(**{g: shown.groupby(order)[g].transform("max") for g in GRADES})
    ranked = ranked.sort_values(["peak_spv", "day", "examination"], ascending=[False, True, True])
    strongest = ranked.drop_duplicates(order)
    timed = ranked[[*order, "duration_class"]].drop_duplicates()
    columns = [*keys, "horizontal", "latency_s", *GRADES, *OF_FASTER_SIDE]
    right, left = (strongest.loc[strongest["side"].eq(ear), columns] for ear in OTHER_EAR)
    both = right.merge(left, on=keys, suffixes=("_right", "_left"))
    for ear in OTHER_EAR:
        classes = timed[timed["side"].eq(ear)].drop(columns="side")
        classes = classes.rename(
            columns={name: f"{name}_{ear}" for name in ("horizontal", "duration_class")}
        )
        both = both.merge(classes, on=[*keys, f"horizontal_{ear}"])
    return both[keys].join(_describe(both))


def _describe(both: pd.DataFrame) -> pd.DataFrame:
    """The pattern of each pair, from the columns of its right and left side."""
    same = both["horizontal_right"].eq(both["horizontal_left"])
    right, left = both["peak_spv_right"], both["peak_spv_left"]
    right_faster = (right >= left.fillna(-1)).fillna(False)
    speed = (right - left).to_numpy(float, na_value=np.nan)
    apart = np.abs(speed) >= ALIKE * np.maximum((right + left).to_numpy(float, na_value=np.nan), 1)
    vertigo = (both["vertigo_grade_right"] - both["vertigo_grade_left"]).to_numpy(float)
    difference = np.where(apart, speed, vertigo)
    greater = {grade: both[[f"{grade}_right", f"{grade}_left"]].max(axis=1) for grade in GRADES}
    classes = both[["duration_class_right", "duration_class_left"]]
    longer = [classes.eq(name).any(axis=1) for name in ("long", "unknown", "borderline")]
    pairs = {
        "horizontal": both["horizontal_right"].where(same, "same_way"),
        "latency_s": both[["latency_s_right", "latency_s_left"]].max(axis=1),
        "duration_class": np.select(longer, ["long", "unknown", "borderline"], "short"),
        "stronger_ear": np.select([difference > 0, difference < 0], list(OTHER_EAR), UNKNOWN_SIDE),
        "stronger_by": np.where(apart, "velocity", "vertigo"),
        "vertigo": greater["vertigo_grade"].map(VERTIGO_BY_GRADE),
        "velocity_class": greater["velocity_grade"].map(VELOCITY_BY_GRADE),
        "alike": pd.Series(np.where(apart, "no", "yes"), both.index).where(~np.isnan(speed)),
        "beats_to": both["horizontal_right"]
        .map({"geotropic": "right", "apogeotropic": "left"})
        .where(~same),
    }
    pairs |= {
        name: both[f"{name}_right"].where(right_faster, both[f"{name}_left"])
        for name in OF_FASTER_SIDE
    }
    return pd.DataFrame(pairs, index=both.index)


def _list_other_days(rolls: pd.DataFrame, paired: pd.DataFrame) -> pd.DataFrame:
    """The days on which both sides were tested and made no pair: one row each,
    `differs` or `none`."""
    seen = rolls.assign(shown=rolls["horizontal"].isin(DIRECTIONS).astype(bool))
    tested = seen.groupby(DAY).agg(sides=("side", "nunique"), shown=("shown", "any"))
    days = tested[
        tested["sides"].eq(2) & ~tested.index.isin(pd.MultiIndex.from_frame(paired[DAY]))
    ].reset_index()
    nothing = days[DAY].assign(
        horizontal=np.where(days["shown"], "differs", "none"),
        duration_class="unknown",
        velocity_class="unknown",
        vertigo="none",
        across=False,
    )
    return nothing.assign(stronger_ear=UNKNOWN_SIDE, stronger_by="vertigo")


def _pair_across_days(shown: pd.DataFrame) -> pd.DataFrame:
    """Pairs of one direction whose sides were seen on several days."""
    kind = [*EPISODE, "horizontal"]
    several = shown[shown.groupby(kind)["day"].transform("nunique").gt(1)]
    if several.empty:
        return several
    pairs = _pair_sides(several, EPISODE)
    complete = several.groupby([*kind, "side"])["day"].min().groupby(kind).max().rename("day")
    return pairs[pairs["horizontal"].ne("same_way")].join(complete, on=kind).assign(across=True)


def _read_signs(pairs: pd.DataFrame, examined: pd.DataFrame, shown: pd.DataFrame) -> pd.DataFrame:
    """Toward which ear each tie-breaking sign beats at the time of each pair: lying_down_beats,
    bow_beats, lean_beats.

    A sign that did not beat on the day of the pair is taken from other days, if the roll test never
    showed the other direction: with that one the sign means the other ear.
    """
    signs = examined[examined["test"].isin(SIGNS) & examined["horizontal"].isin(list(OTHER_EAR))]
    turned = shown.groupby(EPISODE)["horizontal"].nunique().gt(1)
    steady = signs[~pd.MultiIndex.from_frame(signs[EPISODE]).isin(turned.index[turned])]
    of_day, of_any_day = (
        _collect_signs(rows, keys, pairs) for rows, keys in ((signs, DAY), (steady, EPISODE))
    )
    return of_day.where(~pairs["across"].astype(bool)).fillna(of_any_day).add_suffix("_beats")


def _collect_signs(signs: pd.DataFrame, keys: list[str], pairs: pd.DataFrame) -> pd.DataFrame:
    """The ear toward which each sign beat within `keys`, for each pair:
    one that beat both ways tells nothing."""
    ears = signs.groupby([*keys, "test"])["horizontal"].agg(["first", "nunique"])
    wide = (
        ears["first"]
        .where(ears["nunique"].eq(1))
        .unstack("test")
        .reindex(columns=list(SIGNS))
        .astype("string")
    )
    return pairs[keys].join(wide, on=keys)[list(SIGNS)]
