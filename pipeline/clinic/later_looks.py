"""What the looks after the first maneuver say about it: another ear, canal or arm, several of them, or adherent debris."""

import pandas as pd

from pipeline.clinic.findings import EPISODE
from pipeline.clinic.maneuvers import read_variant_parts
from pipeline.clinic.readings import join_sorted, read_variants
from pipeline.clinic.rolls import pair_rolls
from pipeline.clinic.variants import match_variants
from schemas.criteria import Criteria
from schemas.maneuver import Maneuver

ONLY_OTHER_EAR = {"right": {"left"}, "left": {"right"}}
TRUE_ARMS = {"long", "short"}
DOWNBEAT = "anterior_or_posterior"
SWITCH = "tested_canal_newly_positive"


def compare_later_looks(
    failures: pd.DataFrame,
    examinations: pd.DataFrame,
    findings: pd.DataFrame,
    maneuvers: dict[str, Maneuver],
    criteria: Criteria,
) -> pd.DataFrame:
    """Evidence from looks after the first maneuver, as site, episode_id, evidence and the day of the looks.

    `failures` has day, maneuver, side (what was given), and variants (what the first looks allow); `findings` go with `examinations`.
    Down-beating nystagmus on the day of the maneuver tells nothing: it is common right after a successful one, and passes (22 of 57,
    Oh EH et al. J Clin Neurol 2019;15:143-148).
    """
    ours = pd.MultiIndex.from_frame(examinations[EPISODE]).isin(pd.MultiIndex.from_frame(failures[EPISODE]))
    before = findings["before_treatment"].astype(bool)
    tested = join_sorted(findings[ours & before], "test")
    later = ours & ~before
    readings = read_each_day(examinations[later], findings[later], criteria)
    readings = readings.rename(columns={part: f"{part}_now" for part in ("variants", "canal", "side")})
    asked = readings.merge(
        failures[[*EPISODE, "maneuver", "side", "variants", "day"]], on=EPISODE, suffixes=("", "_given")
    )
    asked = asked[~(asked["day"].eq(asked["day_given"]) & asked["canal_now"].eq(DOWNBEAT))]
    asked = asked.join(tested.rename("tested"), on=EPISODE).fillna({"tested": ""})
    key = ["maneuver", "side", "tested", "variants", "variants_now", "canal_now", "side_now"]
    questions = asked[key].drop_duplicates()  # days repeat one another: each comparison is made once
    answers = [compare_day(*question, maneuvers, criteria) for question in questions.to_numpy()]
    answered = questions.assign(evidence=answers).explode("evidence").dropna(subset="evidence")
    compared = asked.merge(answered, on=key)[[*EPISODE, "evidence", "day"]]
    return pd.concat([compared, _find_adherence(examinations[later], findings[later])])


def read_each_day(examinations: pd.DataFrame, findings: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """What the looks of each day allow by themselves: site, episode_id, day, variants, canal, side as in a verdict.

    Each day is read as if it were an episode of its own, so that a look means here what it means in the verdict. A day that meets
    no criterion has no row.
    """
    looks = examinations.assign(**findings[findings.columns.difference(examinations.columns)])
    looks["real_id"], looks["episode_id"] = looks["episode_id"], _name_day(looks)
    days = looks[[*EPISODE, "real_id", "day"]].drop_duplicates()
    readings = read_variants(match_variants(looks, pair_rolls(looks), criteria))[["variants", "canal", "side"]]
    named = days.merge(readings.reset_index(), on=EPISODE)
    return named.drop(columns="episode_id").rename(columns={"real_id": "episode_id"})


def compare_day(
    codes: str,
    treated: str,
    tested: str,
    first: str,
    now: str,
    canal: str,
    side: str,
    maneuvers: dict[str, Maneuver],
    criteria: Criteria,
) -> list[str]:
    """Evidence of one day: `codes` were given to the `treated` ear after the tests `tested`; `first` and `now` are variants.

    `canal` and `side` are those of the day's reading. A new canal is a switch only if its tests had been done before.
    """
    canals, sides, arms, _ = read_variant_parts(now)
    first_canals = read_variant_parts(first)[0]
    all_tested = all(set(criteria.tests_of_canal[c]) & set(tested.split()) for c in canals - {"unknown"})
    given = [maneuvers[code] for code in codes.split()]
    suited, reached = ({value for m in given for value in getattr(m, part)} for part in ("canals", "arms"))
    evidence = []
    if canal == "multiple" or side == "both":
        evidence.append("later_looks_several")
    if canals & suited and sides == ONLY_OTHER_EAR.get(treated):
        evidence.append("later_look_other_ear")
    if canals and canals <= suited and arms <= TRUE_ARMS and not arms & reached:
        evidence.append("later_look_other_arm")
    if all_tested and moves_on(first, now):
        evidence.append(SWITCH)
    named = canals and first_canals and "unknown" not in canals | first_canals
    if not all_tested and named and not canals & first_canals:
        evidence.append("untested_canal_positive")
    return evidence


def moves_on(first: str, now: str) -> bool:
    """Whether the variants `now` allow none of the places (canal and ear) of the `first` ones, but another canal of the same ear.

    So torsional down-beating nystagmus after a right posterior canal is a new place: the right anterior canal, or the left posterior
    one. An ear that is not known could be either.
    """
    then, later = ([variant.split("/")[:2] for variant in variants.split()] for variants in (first, now))
    if not then or not later or any(canal == "unknown" for canal, _ in [*then, *later]):
        return False
    pairs = [(old, new) for old, ear in then for new, ear_now in later if "unknown" in (ear, ear_now) or ear == ear_now]
    return bool(pairs) and all(old != new for old, new in pairs)


def find_switches(first: pd.DataFrame, later: pd.DataFrame) -> pd.Series:
    """The day of a switch behind each first session that no positive look calls failed, on the index of `first`.

    `later` is the evidence of later looks. Where the tests of the treated canal turned negative, another canal must have been positive
    by that very day: what comes after a day without any vertigo is a new spell. Where nobody repeated them, it must have been positive
    by the next session.
    """
    switched = later[later["evidence"].eq(SWITCH)].groupby(EPISODE)["day"].min().rename("switched_day")
    days = first[EPISODE].join(switched, on=EPISODE)["switched_day"].astype("Int64")
    cleared, unseen = first["outcome"].eq("negative"), first["outcome"].eq("not_looked")
    in_time = (cleared & days.le(first["looked_day"])) | (
        unseen & (first["next_day"].isna() | days.le(first["next_day"]))
    )
    return days.where(in_time.fillna(False).astype(bool))


def _find_adherence(examinations: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """Looks whose nystagmus lasts longer than that of free debris, or about as long without weakening on repetition."""
    lasting, unfatigued = findings["duration_class"], examinations["fatigues"].eq("no").fillna(False)
    shown = {
        "nystagmus_long": lasting.eq("long"),
        "borderline_without_fatigue": lasting.eq("borderline") & unfatigued.to_numpy(bool),
    }
    found = [
        findings.loc[which & findings["nystagmus"].astype(bool), [*EPISODE, "day"]].assign(evidence=name)
        for name, which in shown.items()
    ]
    return pd.concat(found)[[*EPISODE, "evidence", "day"]].drop_duplicates()


def _name_day(rows: pd.DataFrame) -> pd.Series:
    return rows["episode_id"] + "@" + rows["day"].astype("string")
