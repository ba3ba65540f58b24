"""One verdict for each episode: positional vertigo of a variant, probably something else, or undetermined.

Each look allows a set of variants. What the looks of an episode have in common is the reading; where nothing is common, several
canals (or both ears) are affected; where more than one reading is left, the part stays unknown. Sets are held as bits.
"""

from itertools import pairwise

import numpy as np
import pandas as pd

from pipeline.clinic.findings import EPISODE, join_texts
from pipeline.clinic.flags import find_other_causes, raise_flags
from pipeline.clinic.variants import match_variants
from schemas.criteria import Criteria
from schemas.derived import Adjudications

CANAL_BITS = {"posterior": 1, "lateral": 2, "anterior": 4, "unknown": 7}
SIDE_BITS = {"right": 1, "left": 2, "unknown": 3}
ARM_BITS = {"long": 1, "short": 2, "cupula": 4, "unknown": 7}
MECHANISM_BITS = {"canalolithiasis": 1, "cupulolithiasis": 2, "unknown": 3}
CANALS = {0: "multiple", 1: "posterior", 2: "lateral", 4: "anterior", 5: "anterior_or_posterior"}
SIDES = {0: "both", 1: "right", 2: "left"}
ARMS = {1: "long", 2: "short", 4: "cupula"}
MECHANISMS = {1: "canalolithiasis", 2: "cupulolithiasis"}
CERTAINTIES = ["definite", "probable", "emerging", "suspected", "subjective"]
FIRM = ("definite", "probable")
ENOUGH_FLAGS = 2  # strong or moderate flags that outweigh criteria which are not firm (this project's proposal)


def adjudicate_episodes(
    episodes: pd.DataFrame,
    examinations: pd.DataFrame,
    findings: pd.DataFrame,
    treatments: pd.DataFrame,
    followups: pd.DataFrame,
    criteria: Criteria,
) -> pd.DataFrame:
    """The verdict on each episode (schemas.derived.Adjudications), by what was known when the first attempt was given.

    Only looks before treatment enter, and another diagnosis of the site only if it was made by then. An untreated episode has no
    such moment: everything counts. A positional case is reclassified on the day on which the site ended its follow-up as such, or
    made another diagnosis later: a central one, or any where no firm criteria were met.
    """
    looks = examinations.assign(**{c: findings[c] for c in findings.columns.difference(examinations.columns)})
    before = looks[looks["before_treatment"]]
    facts = episodes[[*EPISODE, "other_diagnosis", "other_diagnosis_day", "recorded_canal"]]
    facts = facts.join(read_variants(match_variants(before, criteria)), on=EPISODE)
    raised = raise_flags(episodes, before, criteria)
    for weight in ("decisive", "strong", "moderate"):
        count = raised[raised["weight"].eq(weight)].groupby(EPISODE).size().rename(weight)
        facts = facts.join(count, on=EPISODE).fillna({weight: 0})
    causes = find_other_causes(episodes, before, criteria)
    facts = facts.join(join_sorted(raised, "flag"), on=EPISODE).join(join_sorted(causes, "cause"), on=EPISODE)
    facts = facts.join(before.groupby(EPISODE).agg(seen=("positive", "any"), first_look_day=("day", "min")), on=EPISODE)
    facts = facts.join(treatments.groupby(EPISODE)["day"].min().rename("first_attempt_day"), on=EPISODE)
    ended = followups[followups["end_of_followup"].eq("reclassified")].groupby(EPISODE)["day"].min().rename("ended_day")
    return Adjudications.cast(_state_verdicts(facts.join(ended, on=EPISODE)))


def _state_verdicts(facts: pd.DataFrame) -> pd.DataFrame:
    """Precedence (this project's proposal): a decisive flag sets the case apart even if a criterion is met; else firm criteria make
    it positional; else another cause by its criteria, another diagnosis of the site, no canal recorded, or two strong or moderate
    flags set it apart; else weaker criteria make it positional; else it is undetermined, unless the site holds it for positional
    and no test is positive any more.
    """
    named = ~facts["other_diagnosis"].isin(["none", "unknown"])
    later = (named & (facts["other_diagnosis_day"] > facts["first_attempt_day"])).fillna(False)
    elsewhere, no_canal = named & ~later, facts["recorded_canal"].eq("none")
    flagged = facts["decisive"].gt(0) | (elsewhere & facts["other_diagnosis"].eq("central"))
    firm = facts["certainty"].isin(FIRM)
    against = facts["cause"].notna() | elsewhere | no_canal | (facts["strong"] + facts["moderate"]).ge(ENOUGH_FLAGS)
    quiet = ~facts["seen"].fillna(False) & facts["first_look_day"].notna()
    resolved = quiet & facts["recorded_canal"].isin(["posterior", "lateral", "anterior", "multiple"])
    tests = [flagged, firm, against, facts["certainty"].notna(), resolved]
    kind = np.select(tests, ["apart", "criteria", "apart", "criteria", "resolved"], "undetermined")
    positional = {"apart": "probable_non_positional", "criteria": "yes", "resolved": "yes"}
    rest = np.select([kind == "resolved", facts["seen"].fillna(False)], ["resolved_before", "possible"], "none")
    by_findings = facts[["flag", "cause"]].notna().any(axis=1)
    told_day = facts[["first_look_day", "other_diagnosis_day"]].max(axis=1)
    apart_day = facts["first_look_day"].where(by_findings | ~elsewhere, told_day)
    texts = {
        "variants": "",
        "criteria": "",
        "canal": "unknown",
        "side": "unknown",
        "arm": "unknown",
        "mechanism": "unknown",
        "side_signs": "",
    }
    verdicts = facts.assign(
        positional=pd.Series(kind, index=facts.index).map(positional).fillna("undetermined"),
        certainty=facts["certainty"].fillna(pd.Series(rest, index=facts.index)),
        site_recognised=named | no_canal,
        known_day=np.select(
            [kind == "apart", kind == "undetermined"],
            [apart_day, pd.NA],
            facts["met_day"].fillna(facts["first_look_day"]),
        ),
        reclassified_day=_find_reclassification(facts, later, firm).where(np.isin(kind, ["criteria", "resolved"])),
        reasons_against=_join_reasons(facts, elsewhere, no_canal),
    )
    return verdicts.fillna(texts)


def _find_reclassification(facts: pd.DataFrame, later: pd.Series, firm: pd.Series) -> pd.Series:
    """The day after the first attempt on which the site ended follow-up as reclassified, or made a diagnosis that overturns: a
    central one, or any where no firm criteria were met (migraine, neuritis and Ménière's disease commonly coexist: from memory)."""
    overturned = later & (facts["other_diagnosis"].eq("central") | ~firm)
    days = pd.concat([facts["other_diagnosis_day"].where(overturned), facts["ended_day"]], axis=1).min(axis=1)
    return days.where((days > facts["first_attempt_day"]).fillna(False))


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
    names = {"canal": CANALS, "side": SIDES, "arm": ARMS, "mechanism": MECHANISMS}
    named = pd.DataFrame({part: common[part].map(names[part]).fillna("unknown") for part in parts}, index=common.index)
    variant = matches["canal"] + "/" + matches["side"] + "/" + matches["arm"] + "/" + matches["mechanism"]
    ranked = matches.assign(variant=variant, rank=matches["certainty"].map(CERTAINTIES.index))
    told = ranked.groupby(EPISODE).agg(rank=("rank", "min"), met_day=("day", "min"), arm_basis=("arm_basis", "first"))
    told["variants"], told["criteria"] = join_sorted(ranked, "variant"), join_sorted(ranked, "criterion")
    told["certainty"] = told.pop("rank").map(dict(enumerate(CERTAINTIES)))
    told["side_by"] = join_sorted(ranked[ranked["side"].ne("unknown")], "side_by").str.split().str[0]
    told["side_signs"] = join_sorted(ranked, "side_signs").str.strip()
    named = named.join(told)
    named["arm_basis"] = named["arm_basis"].where(named["arm"].eq("short"))
    return named


def join_sorted(rows: pd.DataFrame, column: str) -> pd.Series:
    """The distinct texts of each episode in alphabetical order, separated by blanks; indexed by site and episode_id."""
    distinct = rows[[*EPISODE, column]].drop_duplicates().sort_values([*EPISODE, column], ignore_index=True)
    texts = distinct[column].to_numpy(object).tolist()
    starts = np.flatnonzero(~distinct.duplicated(EPISODE))
    joined = [" ".join(texts[begin:end]) for begin, end in pairwise([*starts, len(texts)])]
    return pd.Series(joined, pd.MultiIndex.from_frame(distinct.loc[starts, EPISODE]), dtype="string", name=column)


def _reduce_bits(bits: pd.DataFrame, keys: list[str], parts: list[str], combine: np.ufunc) -> pd.DataFrame:
    """`parts` of all rows with the same `keys` combined bit by bit; one row for each key, in order."""
    ordered = bits.sort_values(keys, ignore_index=True)
    starts = np.flatnonzero(~ordered.duplicated(keys))
    combined = {part: combine.reduceat(ordered[part].to_numpy(int), starts) if len(starts) else [] for part in parts}
    return ordered.loc[starts, keys].assign(**combined).reset_index(drop=True)


def _join_reasons(facts: pd.DataFrame, elsewhere: pd.Series, no_canal: pd.Series) -> pd.Series:
    """Flags, other causes by their criteria, and what the site itself recorded, in one text."""
    diagnosis = ("other_diagnosis=" + facts["other_diagnosis"]).where(elsewhere)
    unnamed = pd.Series("no_canal_recorded", index=facts.index, dtype="string").where(no_canal)
    return join_texts([facts["flag"], facts["cause"], diagnosis, unnamed])
