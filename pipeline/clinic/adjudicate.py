"""One verdict for each episode: positional vertigo of a variant, probably something else, or undetermined.

Each look allows a set of variants. What the looks of an episode have in common is the reading; where nothing is common, several
canals (or both ears) are affected; where more than one reading is left, the part stays unknown. Sets are held as bits.
"""

import numpy as np
import pandas as pd

from pipeline.clinic.findings import EPISODE, join_texts
from pipeline.clinic.variants import match_variants
from schemas.derived import Adjudications
from schemas.study import Criteria

CANAL_BITS = {"posterior": 1, "lateral": 2, "anterior": 4}
SIDE_BITS = {"right": 1, "left": 2, "unknown": 3}
ARM_BITS = {"long": 1, "short": 2, "cupula": 4, "unknown": 7}
MECHANISM_BITS = {"canalolithiasis": 1, "cupulolithiasis": 2, "unknown": 3}
CANALS = {0: "multiple", 1: "posterior", 2: "lateral", 4: "anterior", 5: "anterior_or_posterior"}
SIDES = {0: "both", 1: "right", 2: "left"}
ARMS = {1: "long", 2: "short", 4: "cupula"}
MECHANISMS = {1: "canalolithiasis", 2: "cupulolithiasis"}
CERTAINTIES = ["definite", "probable", "emerging"]


def adjudicate_episodes(
    episodes: pd.DataFrame, examinations: pd.DataFrame, findings: pd.DataFrame, criteria: Criteria
) -> pd.DataFrame:
    """The verdict on each episode (schemas.derived.Adjudications), from what was seen before treatment.

    Precedence (this project's proposal): a decisive red flag sets the case apart even if a positional criterion is met; else a
    met criterion makes it positional; else another diagnosis reached by the site, or no canal recorded, makes it probably
    non-positional; else it is undetermined.
    """
    looks = examinations.assign(**{c: findings[c] for c in findings.columns.difference(examinations.columns)})
    before = looks[looks["before_treatment"]]
    matches = match_variants(before, criteria)
    verdicts = episodes[[*EPISODE, "other_diagnosis", "other_diagnosis_day", "recorded_canal"]].join(
        read_variants(matches), on=EPISODE
    )
    verdicts = verdicts.join(_collect_flags(episodes, criteria), on=EPISODE)
    verdicts = verdicts.join(
        before.groupby(EPISODE).agg(seen=("positive", "any"), first_look_day=("day", "min")), on=EPISODE
    )

    flagged, met = verdicts["flags"].notna(), verdicts["criteria"].notna()
    elsewhere = ~verdicts["other_diagnosis"].isin(["none", "unknown"])
    no_canal = verdicts["recorded_canal"].eq("none")
    kind = np.select([flagged, met, elsewhere | no_canal], ["flag", "criterion", "elsewhere"], "undetermined")
    positional = {"flag": "probable_non_positional", "criterion": "yes", "elsewhere": "probable_non_positional"}
    verdicts["positional"] = pd.Series(kind, index=verdicts.index).map(positional).fillna("undetermined")
    verdicts["certainty"] = verdicts["certainty"].fillna(
        pd.Series(np.where(verdicts["seen"].fillna(False), "possible", "none"), verdicts.index)
    )
    verdicts["site_recognised"] = elsewhere | no_canal
    verdicts["known_day"] = np.select(
        [kind == "flag", kind == "criterion", kind == "elsewhere"],
        [
            _flag_day(verdicts),
            verdicts["met_day"].astype("Int64"),
            verdicts["other_diagnosis_day"].fillna(verdicts["first_look_day"]),
        ],
        pd.NA,
    )
    verdicts["reasons_against"] = _join_reasons(verdicts, elsewhere, no_canal)
    fill = {
        "variants": "",
        "criteria": "",
        "canal": "unknown",
        "side": "unknown",
        "arm": "unknown",
        "mechanism": "unknown",
    }
    return Adjudications.cast(verdicts.fillna(fill))


def read_variants(matches: pd.DataFrame) -> pd.DataFrame:
    """What the matches of each episode have in common; indexed by site and episode_id."""
    bits = matches[[*EPISODE, "look_key", "day"]].assign(
        canal=matches["canal"].map(CANAL_BITS),
        side=matches["side"].map(SIDE_BITS),
        arm=matches["arm"].map(ARM_BITS),
        mechanism=matches["mechanism"].map(MECHANISM_BITS),
    )
    parts = ["canal", "side", "arm", "mechanism"]
    per_look = _reduce_bits(bits, [*EPISODE, "day", "look_key"], parts, np.bitwise_or)
    common = _reduce_bits(per_look, EPISODE, parts, np.bitwise_and).set_index(EPISODE)
    named = pd.DataFrame(
        {
            "canal": common["canal"].map(CANALS).fillna("unknown"),
            "side": common["side"].map(SIDES).fillna("unknown"),
            "arm": common["arm"].map(ARMS).fillna("unknown"),
            "mechanism": common["mechanism"].map(MECHANISMS).fillna("unknown"),
        },
        index=common.index,
    )
    variant = matches["canal"] + "/" + matches["side"] + "/" + matches["arm"] + "/" + matches["mechanism"]
    ranked = matches.assign(variant=variant, rank=matches["certainty"].map(CERTAINTIES.index))
    told = ranked.groupby(EPISODE).agg(rank=("rank", "min"), met_day=("day", "min"), arm_basis=("arm_basis", "first"))
    told["variants"], told["criteria"] = join_sorted(ranked, "variant"), join_sorted(ranked, "criterion")
    told["certainty"] = told.pop("rank").map(dict(enumerate(CERTAINTIES)))
    named = named.join(told)
    named["arm_basis"] = named["arm_basis"].where(named["arm"].eq("short"))
    return named


def join_sorted(rows: pd.DataFrame, column: str) -> pd.Series:
    """The distinct texts of each episode in alphabetical order, separated by blanks; indexed by site and episode_id."""
    distinct = rows[[*EPISODE, column]].drop_duplicates().sort_values([*EPISODE, column])
    return distinct.groupby(EPISODE)[column].agg(" ".join)


def _reduce_bits(bits: pd.DataFrame, keys: list[str], parts: list[str], combine: np.ufunc) -> pd.DataFrame:
    """`parts` of all rows with the same `keys` combined bit by bit; one row for each key, in order."""
    ordered = bits.sort_values(keys, ignore_index=True)
    starts = np.flatnonzero(~ordered.duplicated(keys))
    combined = {part: combine.reduceat(ordered[part].to_numpy(int), starts) if len(starts) else [] for part in parts}
    return ordered.loc[starts, keys].assign(**combined).reset_index(drop=True)


def _collect_flags(episodes: pd.DataFrame, criteria: Criteria) -> pd.Series:
    """The decisive red flags of each episode that has one; indexed by site and episode_id."""
    raised = [
        episodes.loc[episodes[flag.field].eq(flag.value).fillna(False), EPISODE].assign(flags=name)
        for name, flag in criteria.red_flags.items()
    ]
    return join_sorted(pd.concat(raised), "flags")


def _flag_day(verdicts: pd.DataFrame) -> pd.Series:
    """Screening is asked at the first look; a flag that is itself a later diagnosis is known from its own day."""
    only_diagnosis = verdicts["flags"].eq("central_diagnosis")
    return verdicts["other_diagnosis_day"].where(only_diagnosis, verdicts["first_look_day"])


def _join_reasons(verdicts: pd.DataFrame, elsewhere: pd.Series, no_canal: pd.Series) -> pd.Series:
    """Flags and the site's own other diagnosis in one text; a diagnosis that is itself a flag is not named twice."""
    diagnosis = ("other_diagnosis=" + verdicts["other_diagnosis"]).where(
        elsewhere & ~verdicts["other_diagnosis"].eq("central")
    )
    unnamed = pd.Series("no_canal_recorded", index=verdicts.index, dtype="string").where(no_canal)
    return join_texts([verdicts["flags"], diagnosis, unnamed])
