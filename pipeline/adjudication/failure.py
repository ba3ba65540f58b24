"""Why a first maneuver may have failed: evidence for each reason,
as known on the day and in hindsight. It is never a verdict."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline.adjudication.course import (
    explain_retreatment,
    find_later_success,
    find_remission,
    name_unseen,
)
from pipeline.adjudication.days import keep_until_reclassified
from pipeline.adjudication.findings import find_incomplete
from pipeline.adjudication.flaws import find_flaws, list_shared
from pipeline.adjudication.later_tests import compare_later_tests
from pipeline.adjudication.maneuvers import FITS, MOVES_NOTHING, judge_fit
from pipeline.adjudication.switches import find_switches
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Attempts, FailureReasons, Findings, Spells
from schemas.failure import VIEW, Failure, Fatigue
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

SWITCH = "tested_canal_newly_positive"
MISSED = "silent_canal_positive"
VERDICT = ["variants", "canal", "side", "reasons_against"]


@dataclass(frozen=True)
class Record:
    """The rows of a pool from which failures are explained; `findings` go with `examinations`,
    row by row."""

    episodes: Frame[Episodes]
    examinations: Frame[Examinations]
    treatments: Frame[Treatments]
    followups: Frame[Followups]
    findings: Frame[Findings]
    adjudications: Frame[Adjudications]
    attempts: Frame[Attempts]
    spells: Frame[Spells]


def explain_failures(
    record: Record, criteria: Criteria, maneuvers: dict[str, Maneuver], failure: Failure
) -> Frame[FailureReasons]:
    """One row for each failed first session, view and reason with evidence for it
    (schemas.derived.FailureReasons).

    Every piece of evidence has the day on which it could be seen. The view at_the_time holds what
    could be seen up to the day on which the failure was seen, in_hindsight all of it; a failure
    without evidence is undetermined in that view.
    """
    first = list_first_sessions(record.attempts, record.adjudications, maneuvers)
    first = first[~pd.MultiIndex.from_frame(first[EPISODE]).isin(find_incomplete(record.spells))]
    later = compare_later_tests(first, record.examinations, record.findings, maneuvers, criteria)
    verdicts = record.adjudications.merge(first[EPISODE], on=EPISODE)
    switches = find_switches(
        record.examinations, record.findings, record.treatments, verdicts, criteria
    )
    contacts = keep_until_reclassified(record.followups, record.adjudications)
    sessions = leave_out_relieved(keep_failed(first, switches), contacts)
    failures, switched = (
        sessions[sessions["outcome"].eq("positive")],
        sessions["switched_day"].notna(),
    )
    treatments = record.treatments.assign(
        **judge_fit(record.treatments, record.adjudications, maneuvers)[FITS]
    )
    given = treatments.merge(failures[[*EPISODE, "day", "variants"]], on=[*EPISODE, "day"])
    given = given[~given["fit"].eq("not_applicable")]
    evidence = [
        find_flaws(given, maneuvers, failure),
        find_misfits(given),
        find_other_causes(
            sessions[~sessions["outcome"].eq("negative") | switched], record, criteria
        ),
        later[
            pd.MultiIndex.from_frame(later[EPISODE]).isin(
                pd.MultiIndex.from_frame(failures[EPISODE])
            )
        ],
        tell_switches(sessions, switches),
        _list(
            failures[failures["canal"].eq("multiple") | failures["side_seen"].eq("both")],
            "first_tests_several",
        ),
        find_cleared(failures, record.examinations, failure.fatigue),
        find_later_success(failures, record.attempts, maneuvers),
        find_remission(
            failures, record.episodes, treatments, record.spells, maneuvers, failure.remission
        ),
        explain_retreatment(sessions[sessions["outcome"].eq("negative")], record.followups),
        name_unseen(sessions[sessions["outcome"].eq("not_tested_again") & ~switched]),
    ]
    types = {"site": "string", "episode_id": "string", "evidence": "string", "day": "Int64"}
    joined = pd.concat([rows[list(types)].astype(types) for rows in evidence], ignore_index=True)
    joined["reason"] = (
        joined["evidence"]
        .map({code: p.reason for code, p in failure.patterns.items()})
        .astype("string")
    )
    return state_reasons(sessions, joined.dropna(subset="reason"))


def list_first_sessions(
    attempts: Frame[Attempts],
    adjudications: Frame[Adjudications],
    maneuvers: Mapping[str, Maneuver],
) -> pd.DataFrame:
    """The first sessions of positional episodes; one row for each.

    A session that moved nothing cannot fail, and is left out.

    To the columns of schemas.derived.Attempts come those of VERDICT (its side as side_seen),
    test_day (of the test that decides), next_day and next_at_risk (of the second session).
    """
    second = attempts[attempts["session"].eq(2)].rename(
        columns={"day": "next_day", "at_risk": "next_at_risk"}
    )
    first = attempts[attempts["session"].eq(1)].merge(
        second[[*EPISODE, "next_day", "next_at_risk"]],
        on=EPISODE,
        how="left",
        validate="one_to_one",
    )
    verdicts = adjudications.loc[adjudications["positional"].eq("yes"), [*EPISODE, *VERDICT]]
    first = first.merge(
        verdicts.rename(columns={"side": "side_seen"}), on=EPISODE, validate="one_to_one"
    )
    moved = [
        any(maneuvers[c].kind not in MOVES_NOTHING for c in codes.split())
        for codes in first["maneuver"]
    ]
    first = first[pd.Series(moved, index=first.index, dtype=bool)]
    first["test_day"] = first["day"] + first["next_test_days"].astype("Int64")
    first["next_at_risk"] = first["next_at_risk"].fillna(False).astype(bool)
    return first


def keep_failed(first: pd.DataFrame, switches: pd.DataFrame) -> pd.DataFrame:
    """The first sessions that failed, were taken for failed, left another canal positive,
    or were never tested again.

    `switches` are those of switches.find_switches. To the columns of list_first_sessions come
    switched_day, where another canal had become positive though the tests of the treated one were
    not, and seen_day: the day on which the failure was seen, which is that of the switch, or of the
    second session, if those tests were not positive.
    """
    seen = first.assign(switched_day=date_switches(first, switches))
    failed = seen["outcome"].eq("positive")
    seen["seen_day"] = seen["test_day"].where(failed, seen["switched_day"].fillna(seen["next_day"]))
    return seen[
        ~seen["outcome"].eq("negative") | seen["next_day"].notna() | seen["switched_day"].notna()
    ]


def leave_out_relieved(sessions: pd.DataFrame, contacts: pd.DataFrame) -> pd.DataFrame:
    """The sessions without those after which nobody tested and the vertigo was gone.

    That is what the last contact between such a session and the next one says. Whoever is well has
    no failure to explain; where a test shows another canal positive, that test decides.
    """
    told = contacts[contacts["positional_symptoms"].isin(["yes", "no"])]
    told = told[[*EPISODE, "day", "positional_symptoms"]].merge(
        sessions[[*EPISODE, "day", "next_day"]], on=EPISODE, suffixes=("", "_session")
    )
    before_next = told["next_day"].isna() | told["day"].le(told["next_day"])
    told = told[told["day"].gt(told["day_session"]) & before_next.fillna(True).astype(bool)]
    of_last_day = told[told["day"].eq(told.groupby(EPISODE)["day"].transform("max"))]
    well = of_last_day.groupby(EPISODE)["positional_symptoms"].agg(lambda said: said.eq("no").all())
    relieved = pd.MultiIndex.from_frame(sessions[EPISODE]).isin(well.index[well.astype(bool)])
    unseen = sessions["outcome"].eq("not_tested_again") & sessions["switched_day"].isna()
    return sessions[~(unseen & relieved)]


def date_switches(first: pd.DataFrame, switches: pd.DataFrame) -> pd.Series:
    """The day of a switch behind each first session that no positive test calls failed,
    on the index of `first`.

    Where the tests of the treated canal turned negative, another canal must have been positive by
    that very day: what comes after a day without any vertigo is a new spell. Where nobody repeated
    them, it must have been positive by the next session, and what a site records with that session
    is of that one.
    """
    sessions = first[[*EPISODE, "day"]].join(switches, on=EPISODE)
    days = (
        sessions["shown_day"]
        .mask(sessions["recorded_day"].eq(sessions["day"]).fillna(False), sessions["day"])
        .astype("Int64")
    )
    cleared, unseen = first["outcome"].eq("negative"), first["outcome"].eq("not_tested_again")
    in_time = (cleared & days.le(first["test_day"])) | (
        unseen & (first["next_day"].isna() | days.le(first["next_day"]))
    )
    return days.where(in_time.fillna(False).astype(bool))


def tell_switches(sessions: pd.DataFrame, switches: pd.DataFrame) -> pd.DataFrame:
    """Evidence of a switch behind sessions that failed or left another canal positive:
    what tests showed, and what the site recorded with the session itself.

    A canal whose test had been silent may also have been missed, so that both are told; not where
    it was positive in the very visit of the maneuver, or where the site recorded a switch.
    """
    failed = sessions[sessions["outcome"].eq("positive") | sessions["switched_day"].notna()]
    failed = failed.drop(columns="switched_day").join(switches, on=EPISODE)
    shown, recorded = (
        failed[failed["shown_day"].notna()],
        failed["recorded_day"].eq(failed["day"]).fillna(False),
    )
    later = shown[shown["shown_day"].gt(shown["day"]) & ~recorded[shown.index]]
    return pd.concat(
        [
            _list(shown.assign(day=shown["shown_day"]), SWITCH),
            _list(later.assign(day=later["shown_day"]), MISSED),
            _list(failed[recorded], "canal_switch_recorded"),
        ]
    )


def find_cleared(
    failures: pd.DataFrame, examinations: Frame[Examinations], fatigue: Fatigue | None
) -> pd.DataFrame:
    """Evidence that debris came back: failed sessions after which the tests of the visit were
    negative, unless all of these are known to have been done while nystagmus may only have been
    tired."""
    cleared = failures[failures["same_visit"].eq("negative")]
    if fatigue is not None:
        after = examinations[examinations["after_attempt"].ge(1).fillna(False)]
        minutes = after["minutes_since_attempt"].fillna(fatigue.over_after_min)
        latest = minutes.groupby([after[name] for name in (*EPISODE, "day")]).max()
        waited = cleared[[*EPISODE, "day"]].join(latest, on=[*EPISODE, "day"])
        cleared = cleared[waited["minutes_since_attempt"].ge(fatigue.over_after_min)]
    return _list(cleared, "cleared_within_visit")


def find_misfits(given: pd.DataFrame) -> pd.DataFrame:
    """Evidence that no attempt of the first session suits what the first tests allow.

    Arms tell only within the right canal.
    """
    right_canal = ~given["fits_canal"].eq("no")
    cupula = given["variants"].str.contains("/cupula/", regex=False)
    misfits = {
        "treated_other_ear": given["fits_side"].eq("no"),
        "maneuver_for_other_canal": given["fits_canal"].eq("no"),
        "maneuver_for_other_arm": right_canal & given["fits_arm"].eq("no") & ~cupula,
        "maneuver_for_free_debris": right_canal & given["fits_mechanism"].eq("no"),
    }
    return list_shared(given, misfits)


def find_other_causes(sessions: pd.DataFrame, record: Record, criteria: Criteria) -> pd.DataFrame:
    """Evidence for something other than positional vertigo: what spoke against it from the first,
    and what the site found later.

    Weak flags alone are none: they are shown with the verdict, and count neither there nor here.
    """
    weak = {name for name, flag in criteria.flags.items() if flag.weight == "weak"}
    counted = [bool(set(reasons.split()) - weak) for reasons in sessions["reasons_against"]]
    spoken = sessions[pd.Series(counted, index=sessions.index, dtype=bool)]
    named = record.episodes[~record.episodes["other_diagnosis"].isin(["none", "unknown"])]
    diagnosed = (
        sessions[EPISODE].merge(named, on=EPISODE).rename(columns={"other_diagnosis_day": "day"})
    )
    ended = record.followups
    ended = ended[ended["end_of_followup"].eq("reclassified").fillna(False)]
    return pd.concat(
        [
            _list(spoken, "spoken_against"),
            _list(diagnosed, "other_diagnosis_made"),
            _list(sessions[EPISODE].merge(ended, on=EPISODE), "reclassified"),
        ]
    )


def state_reasons(sessions: pd.DataFrame, evidence: pd.DataFrame) -> pd.DataFrame:
    """Both views of the evidence as schemas.derived.FailureReasons.

    Where nobody ever came back to see, only what was known at the session is known at the time, and
    known_day is empty for it.
    """
    days = sessions[[*EPISODE, "seen_day"]].assign(
        last_day=sessions["seen_day"].fillna(sessions["day"])
    )
    seen = evidence.merge(days, on=EPISODE, validate="many_to_one")
    in_time = seen["day"].le(seen["last_day"])
    seen["known_day"] = seen["day"].where(~in_time, seen["seen_day"])
    views = pd.concat([seen[in_time].assign(view="at_the_time"), seen.assign(view="in_hindsight")])
    key = [*EPISODE, "view", "reason"]
    views = views.sort_values([*key, "evidence", "known_day"]).drop_duplicates([*key, "evidence"])
    reasons = (
        views.groupby(key)
        .agg(evidence=("evidence", " ".join), known_day=("known_day", "min"))
        .reset_index()
    )
    failed = sessions.loc[sessions["outcome"].eq("positive"), [*EPISODE, "seen_day"]]
    failed = failed.merge(pd.DataFrame({"view": list(VIEW)}), how="cross")
    explained = pd.MultiIndex.from_frame(reasons[key[:3]])
    open_failures = failed[~pd.MultiIndex.from_frame(failed[key[:3]]).isin(explained)]
    undetermined = open_failures.rename(columns={"seen_day": "known_day"}).assign(
        reason="undetermined", evidence=pd.NA
    )
    rows = pd.concat([FailureReasons.cast(part) for part in (reasons, undetermined)])
    return rows.sort_values(key, ignore_index=True)


def _list(rows: pd.DataFrame, evidence: str) -> pd.DataFrame:
    return rows[[*EPISODE, "day"]].assign(evidence=evidence)
