"""What a clinic hands in: five tables.

Column names are the interface; the dictionary and the store are made from these models.
"""

from typing import Any

import pandas as pd
from pandera.typing import Series

from schemas import codes
from schemas.columns import (
    DICTIONARY_VERSION,
    VERSIONS,
    Integer,
    Number,
    Table,
    Text,
    column,
    row_rule,
)

CODE = "[A-Z0-9-]{3,24}"
CODE_WORDS = "3 to 24 capital letters, digits or hyphens"
OLDEST = 90
MOST_DAYS = 365  # after a maneuver, of a plan
PLANNED_DAY = "(?:[0-9]|[1-9][0-9]|[12][0-9]{2}|3[0-5][0-9]|36[0-5])"  # a number up to 365
OLD, NEW = (1,), (2,)  # versions of the dictionary that alone have a column


def episode_id() -> Any:
    """The column that ties every table to an episode."""
    return column(
        "Pseudonym of the episode; never a record number",
        form=CODE,
        form_words=CODE_WORDS,
        filled=True,
        example="EP-0042",
    )


def day(meaning: str, *, filled: bool = True, le: float = 36500, example: str = "7") -> Any:
    """A column of whole days relative to day 0."""
    return column(meaning, unit="days from day 0", filled=filled, ge=-36500, le=le, example=example)


def screening(meaning: str, versions: tuple[int, ...] = VERSIONS) -> Any:
    """A column of a screening finding for a cause other than canal debris."""
    return column(
        f"Screening finding: {meaning}",
        codes=codes.YES_NO_UNKNOWN,
        example="no",
        versions=versions,
    )


def own_count(meaning: str) -> Any:
    """A field of a total that the site may state, to be compared with the rows."""
    return column(
        f"{meaning}, by the site's own count; may be left out", ge=0, le=999999, example="120"
    )


FORMER = {"examinations": {"look": "examination"}}  # table: name in version 1: column
PLANS = {  # fields of a site's plan, and what is planned
    "usual_confirmation_day": "test",
    "planned_test_days": "test",
    "planned_call_days": "call",
}


def planned_days(meaning: str, example: str) -> Any:
    """A field of days that the site plans, as a list in one cell."""
    return column(
        meaning,
        unit="days",
        form=f"{PLANNED_DAY}(?:; {PLANNED_DAY})*",
        form_words=(
            f"whole days between 0 and {MOST_DAYS}, each once, separated by semicolons, such as 7 "
            "or 7; 14"
        ),
        example=example,
        versions=NEW,
    )


class Submission(Table):
    site_code: Series[Text] = column(
        "Code of the site",
        form=codes.SITE_CODE,
        form_words="S and two or three digits",
        filled=True,
        example="S03",
    )
    delivery: Series[Text] = column(
        "Number of this delivery",
        form="[0-9]{3}",
        form_words="three digits",
        filled=True,
        example="001",
    )
    dictionary_version: Series[Integer] = column(
        "Version of the data dictionary that was followed",
        ge=1,
        filled=True,
        example=str(DICTIONARY_VERSION),
    )
    deidentified: Series[Text] = column(
        "The site confirms that nothing in the delivery identifies a person",
        codes={"yes": "confirmed"},
        filled=True,
        example="yes",
    )
    first_year: Series[Integer] = column(
        "First year of the records", unit="year", ge=1950, le=2100, filled=True, example="2023"
    )
    last_year: Series[Integer] = column(
        "Last year of the records", unit="year", ge=1950, le=2100, filled=True, example="2025"
    )
    short_arm_basis: Series[Text] = column(
        "The site's working definition of the short arm",
        codes=codes.ARM_BASIS,
        filled=True,
        example="sitting_up",
    )
    usual_confirmation_day: Series[Integer] = column(
        "Days after a maneuver at which the site usually tests again",
        unit="days",
        ge=0,
        le=MOST_DAYS,
        example="7",
        versions=OLD,
    )
    planned_test_days: Series[Text] = planned_days(
        "Days after a maneuver on which the site plans to test again", "7; 30"
    )
    planned_call_days: Series[Text] = planned_days(
        "Days, counted from day 0, on which the site plans to telephone everybody", "3"
    )
    counted_episodes: Series[Integer] = own_count("Episodes")
    counted_patients: Series[Integer] = own_count("Patients")
    counted_treated: Series[Integer] = own_count("Episodes with an attempt")
    counted_followed: Series[Integer] = own_count(
        "Episodes with a test or contact after the first attempt"
    )
    counted_recurrences: Series[Integer] = own_count("Episodes with a reported recurrence")
    counted_posterior: Series[Integer] = own_count("Episodes recorded as posterior canal")
    counted_lateral: Series[Integer] = own_count("Episodes recorded as lateral canal")
    counted_anterior: Series[Integer] = own_count("Episodes recorded as anterior canal")

    class Config:
        metadata = {"key": ["site_code", "delivery"], "row": "one delivery"}

    @row_rule(
        "years_in_order",
        column="last_year",
        message="last_year must not be before first_year.",
        fix="Enter the first and the last year of the records.",
    )
    def _years_in_order(cls, rows: pd.DataFrame) -> pd.Series:
        return (rows["first_year"] <= rows["last_year"]).fillna(True)


class Episodes(Table):
    episode_id: Series[Text] = episode_id()
    patient_id: Series[Text] = column(
        "Pseudonym of the patient, who can have several episodes",
        form=CODE,
        form_words=CODE_WORDS,
        filled=True,
        example="PT-0031",
    )
    age_years: Series[Integer] = column(
        "Age at day 0; 90 and above is entered as 90+ and stored as 90",
        unit="years",
        ge=0,
        le=OLDEST,
        filled=True,
        example="57",
    )
    sex: Series[Text] = column("Sex", codes=codes.SEX, filled=True, example="female")
    index_year: Series[Integer] = column(
        "Calendar year of day 0", unit="year", ge=1950, le=2100, filled=True, example="2024"
    )
    onset_day: Series[Integer] = day(
        "Day of the first symptom; day 0 or earlier", filled=False, le=0, example="-3"
    )
    prior_episodes: Series[Integer] = column(
        "Earlier spells of positional vertigo, lifetime", ge=0, le=999, example="1"
    )
    cause: Series[Text] = column(
        "Cause of the positional vertigo", codes=codes.CAUSE, filled=True, example="idiopathic"
    )
    migraine_history: Series[Text] = column(
        "History of migraine", codes=codes.YES_NO_UNKNOWN, example="no"
    )
    neck_limitation: Series[Text] = column(
        "Neck movement limited", codes=codes.YES_NO_UNKNOWN, example="no"
    )
    osteoporosis: Series[Text] = column(
        "Osteoporosis", codes=codes.YES_NO_UNKNOWN, example="unknown"
    )
    recorded_canal: Series[Text] = column(
        "Canal in the clinician's own working diagnosis",
        codes=codes.RECORDED_CANAL,
        filled=True,
        example="posterior",
    )
    recorded_side: Series[Text] = column(
        "Side in the clinician's own working diagnosis",
        codes=codes.RECORDED_SIDE,
        filled=True,
        example="right",
    )
    recorded_arm: Series[Text] = column(
        "Arm of the canal in the clinician's own working diagnosis",
        codes=codes.RECORDED_ARM,
        filled=True,
        example="long",
    )
    arm_basis: Series[Text] = column(
        "What the short arm was recognised by; three working definitions are in use and are never "
        "pooled silently",
        codes=codes.ARM_BASIS,
        example="sitting_up",
    )
    recorded_mechanism: Series[Text] = column(
        "Free or adherent debris in the clinician's own working diagnosis",
        codes=codes.MECHANISM,
        filled=True,
        example="canalolithiasis",
    )
    focal_neurological_sign: Series[Text] = screening("a new focal neurological sign")
    spontaneous_vertical_nystagmus: Series[Text] = screening(
        "vertical nystagmus while sitting still"
    )
    spontaneous_horizontal_nystagmus: Series[Text] = screening(
        "horizontal nystagmus while sitting still, to the same side wherever the patient looks", NEW
    )
    gaze_evoked_nystagmus: Series[Text] = screening("nystagmus that changes direction with gaze")
    cannot_stand: Series[Text] = screening("unable to stand without support")
    severe_headache_or_neck_pain: Series[Text] = screening("sustained severe headache or neck pain")
    new_hearing_change: Series[Text] = screening("new change of hearing in one ear")
    symptoms_only_on_standing: Series[Text] = screening(
        "symptoms only on standing, relieved by sitting or lying"
    )
    pressure_drop_on_standing: Series[Text] = screening(
        "within 3 minutes of standing up the blood pressure fell by 20 mmHg systolic or 10 "
        "diastolic; empty if it was not measured",
        NEW,
    )
    continuous_24h: Series[Text] = screening("vertigo without a break for 24 hours or more")
    provoked_by_lying_or_turning: Series[Text] = column(
        "History: attacks come on lying down or on turning over in bed",
        codes=codes.YES_NO_UNKNOWN,
        example="yes",
        versions=NEW,
    )
    attack_s: Series[Number] = column(
        "History: how long an attack lasts, as the patient says",
        unit="seconds",
        ge=0,
        le=86400,
        example="20",
        versions=NEW,
    )
    attacks_over_2min: Series[Text] = screening("attacks that last longer than two minutes")
    migraine_features_with_attacks: Series[Text] = screening("migraine features during the attacks")
    other_diagnosis: Series[Text] = column(
        "Diagnosis reached later, if another",
        codes=codes.OTHER_DIAGNOSIS,
        filled=True,
        example="none",
    )
    other_diagnosis_day: Series[Integer] = day(
        "Day on which the other diagnosis was made", filled=False
    )

    class Config:
        metadata = {"key": ["episode_id"], "row": "one spell of positional vertigo in one patient"}

    @row_rule(
        "short_arm_needs_basis",
        column="arm_basis",
        message=(
            "recorded_arm is short, but arm_basis does not say by which of the working definitions."
        ),
        fix="Enter in arm_basis what the short arm was recognised by.",
    )
    def _short_arm_needs_basis(cls, rows: pd.DataFrame) -> pd.Series:
        return ~(rows["recorded_arm"].eq("short").fillna(False) & rows["arm_basis"].isna())

    @row_rule(
        "other_diagnosis_needs_day",
        column="other_diagnosis_day",
        message="other_diagnosis names a diagnosis, but other_diagnosis_day is empty.",
        fix="Enter the day, counted from day 0, on which that diagnosis was made.",
    )
    def _other_diagnosis_needs_day(cls, rows: pd.DataFrame) -> pd.Series:
        named = ~rows["other_diagnosis"].isin(["none", "unknown"]) & rows["other_diagnosis"].notna()
        return ~(named & rows["other_diagnosis_day"].isna())

    @row_rule(
        "attack_lengths_agree",
        column="attack_s",
        message="attack_s and attacks_over_2min contradict each other.",
        fix="Enter how long an attack lasts, in seconds, or leave one of the two cells empty.",
        severity="warn",
    )
    def _attack_lengths_agree(cls, rows: pd.DataFrame) -> pd.Series:
        longer = rows["attack_s"] > LONG_ATTACK_S
        said = rows["attacks_over_2min"]
        return ~((longer & said.eq("no")) | (~longer & said.eq("yes"))).fillna(False)

    @row_rule(
        "standing_is_not_lying_down",
        column="symptoms_only_on_standing",
        message=(
            "Symptoms come only on standing, yet also on lying down or turning over: neither "
            "answer is used."
        ),
        fix="Ask again, or leave the answer empty that nobody is sure of.",
        severity="warn",
    )
    def _standing_is_not_lying_down(cls, rows: pd.DataFrame) -> pd.Series:
        both = rows[["symptoms_only_on_standing", "provoked_by_lying_or_turning"]].eq("yes")
        return ~both.fillna(False).all(axis=1)

    @row_rule(
        "no_canal_has_no_side",
        column="recorded_canal",
        message="recorded_canal is none, yet a side, an arm or a mechanism is recorded.",
        fix=(
            "Check again: either name the canal, or set side and mechanism to unknown and arm to "
            "not_applicable."
        ),
        severity="warn",
    )
    def _no_canal_has_no_side(cls, rows: pd.DataFrame) -> pd.Series:
        detailed = (
            rows["recorded_side"].isin(["right", "left", "both"])
            | rows["recorded_arm"].isin(["long", "short"])
            | rows["recorded_mechanism"].isin(["canalolithiasis", "cupulolithiasis"])
        )
        return ~(rows["recorded_canal"].eq("none").fillna(False) & detailed)


LONG_ATTACK_S = 120  # attacks_over_2min in seconds
SIGNS = ("vertical", "torsion", "horizontal", "vertigo")  # all none in a negative test
SIDED_TESTS = ("dix_hallpike", "side_lying", "half_dix_hallpike", "supine_roll")
MIDLINE_TESTS = ("straight_head_hang", "bow", "lean", "lying_down")


class Examinations(Table):
    episode_id: Series[Text] = episode_id()
    day: Series[Integer] = day("Day of the test")
    reason: Series[Text] = column(
        "Why the patient was examined on that day; once for each day is enough, in any of its rows",
        codes=codes.TEST_REASON,
        example="planned",
        versions=NEW,
    )
    examination: Series[Integer] = column(
        "Order of the examination within the day; testing again after a maneuver is a later one",
        ge=1,
        le=999,
        filled=True,
        example="1",
    )
    after_attempt: Series[Integer] = column(
        "The last attempt given before this test on the same day; 0 if none. Left empty, tests "
        "count as before the first attempt until one is repeated",
        ge=0,
        le=999,
        example="0",
    )
    minutes_since_attempt: Series[Number] = column(
        "Time from the end of that attempt to this test, on the same day",
        unit="minutes",
        ge=0,
        le=1440,
        example="30",
        versions=NEW,
    )
    test: Series[Text] = column(
        "Positional test", codes=codes.TEST, filled=True, example="dix_hallpike"
    )
    side: Series[Text] = column(
        "Ear down or head turned to; of sitting up, the ear that was down before",
        codes=codes.TEST_SIDE,
        filled=True,
        example="right",
    )
    result: Series[Text] | None = column(  # written out at intake, and not kept
        "negative, if there was neither nystagmus nor vertigo: the next three cells and vertigo "
        "may then stay empty",
        codes=codes.TEST_RESULT,
        example="negative",
        versions=NEW,
    )
    vertical: Series[Text] = column(
        "Vertical part of the nystagmus", codes=codes.VERTICAL, filled=True, example="up"
    )
    torsion: Series[Text] = column(
        "Torsional part of the nystagmus", codes=codes.TORSION, filled=True, example="right"
    )
    horizontal: Series[Text] = column(
        "Horizontal part of the nystagmus", codes=codes.HORIZONTAL, filled=True, example="none"
    )
    latency_s: Series[Number] = column(
        "Time from the position to the start of the nystagmus",
        unit="seconds",
        ge=0,
        le=3600,
        example="3",
    )
    duration_s: Series[Number] = column(
        "How long the nystagmus lasted; longer than 60 may be entered as the time watched",
        unit="seconds",
        ge=0,
        le=86400,
        example="18",
    )
    peak_spv: Series[Number] = column(
        "Greatest slow-phase velocity", unit="degrees per second", ge=0, le=1000, example="32"
    )
    spv_at_40s: Series[Number] = column(
        "Slow-phase velocity 40 seconds after the position",
        unit="degrees per second",
        ge=0,
        le=1000,
        example="1",
    )
    vertigo: Series[Text] = column(
        "Vertigo felt during the test", codes=codes.VERTIGO, filled=True, example="moderate"
    )
    fatigues: Series[Text] = column(
        "Weaker when the test is repeated", codes=codes.YES_NO_NOT_TESTED, example="not_tested"
    )
    reverses_on_sitting: Series[Text] = column(
        "Direction turns on sitting up", codes=codes.YES_NO_NOT_TESTED, example="yes"
    )
    fixation_removed: Series[Text] = column(
        "Watched without visual fixation, as with goggles", codes=codes.YES_NO, example="yes"
    )

    class Config:
        metadata = {
            "key": ["episode_id", "day", "examination", "test", "side"],
            "row": "one positional test",
        }

    @row_rule(
        "sided_test_needs_side",
        column="side",
        message="This test is done to one side, but side is none.",
        fix="Enter right or left: the ear that is down, or to which the head is turned.",
    )
    def _sided_test_needs_side(cls, rows: pd.DataFrame) -> pd.Series:
        return ~(rows["test"].isin(SIDED_TESTS) & rows["side"].eq("none").fillna(False))

    @row_rule(
        "result_fits_the_rest",
        column="result",
        message="result says something else than the cells for nystagmus and vertigo.",
        fix=(
            "For a test that showed nothing enter negative and no nystagmus or vertigo; for any "
            "other enter what was seen and felt, and positive or nothing as result."
        ),
    )
    def _result_fits_the_rest(cls, rows: pd.DataFrame) -> pd.Series:
        if "result" not in rows:
            return pd.Series(True, index=rows.index)
        shown = rows[list(SIGNS)].ne("none").fillna(False).any(axis=1)
        nothing = rows[list(SIGNS)].eq("none").fillna(False).all(axis=1)
        negative, positive = (rows["result"].eq(code).fillna(False) for code in codes.TEST_RESULT)
        return ~((negative & shown) | (positive & nothing))

    @row_rule(
        "minutes_need_an_attempt",
        column="minutes_since_attempt",
        message="Minutes since an attempt are entered, but after_attempt names none of that day.",
        fix="Enter in after_attempt the last attempt before this test, or clear the minutes.",
        severity="warn",
    )
    def _minutes_need_an_attempt(cls, rows: pd.DataFrame) -> pd.Series:
        untold = rows["after_attempt"].fillna(0).eq(0)
        return ~(rows["minutes_since_attempt"].notna() & untold)

    @row_rule(
        "midline_test_has_no_side",
        column="side",
        message="This test is done in the midline, but a side is entered.",
        fix="Enter none.",
        severity="warn",
    )
    def _midline_test_has_no_side(cls, rows: pd.DataFrame) -> pd.Series:
        return ~(rows["test"].isin(MIDLINE_TESTS) & rows["side"].isin(["right", "left"]))

    @row_rule(
        "timing_needs_nystagmus",
        column="duration_s",
        message="A duration or a velocity above 0 is entered, but the row shows no nystagmus.",
        fix="Enter the direction of the nystagmus, or clear the duration and the velocities.",
        severity="warn",
    )
    def _timing_needs_nystagmus(cls, rows: pd.DataFrame) -> pd.Series:
        still = rows[["vertical", "torsion", "horizontal"]].eq("none").fillna(False).all(axis=1)
        timed = rows[["duration_s", "peak_spv", "spv_at_40s"]].gt(0).fillna(False).any(axis=1)
        return ~(still & timed)

    @row_rule(
        "velocity_not_above_peak",
        column="spv_at_40s",
        message="The velocity at 40 seconds is above the greatest velocity.",
        fix="Enter the greatest velocity of the whole test in peak_spv.",
        severity="warn",
    )
    def _velocity_not_above_peak(cls, rows: pd.DataFrame) -> pd.Series:
        return (rows["spv_at_40s"] <= rows["peak_spv"]).fillna(True)


class Treatments(Table):
    episode_id: Series[Text] = episode_id()
    day: Series[Integer] = day("Day of the maneuver, or first day of the course")
    attempt: Series[Integer] = column(
        "Order over the whole episode: 1, 2, 3 without gaps", ge=1, le=999, filled=True, example="1"
    )
    maneuver: Series[Text] = column(
        "Code of the maneuver",
        form="[a-z0-9_]+",
        form_words="a code of the maneuver list",
        filled=True,
        example="epley",
    )
    side: Series[Text] = column(
        "Ear that was treated", codes=codes.MANEUVER_SIDE, filled=True, example="right"
    )
    cycles: Series[Integer] = column(
        "Repetitions in that session, or in the course", ge=1, le=9999, example="2"
    )
    cycles_planned: Series[Integer] = column(
        "Repetitions that were planned for a course at home; cycles are those that were done",
        ge=1,
        le=9999,
        example="210",
        versions=NEW,
    )
    setting: Series[Text] = column(
        "Where it was done", codes=codes.SETTING, filled=True, example="clinic"
    )
    performed_by: Series[Text] = column(
        "Who did it", codes=codes.PERFORMED_BY, filled=True, example="clinician"
    )
    head_turn_deg: Series[Number] = column(
        "Head turn achieved", unit="degrees", ge=0, le=180, example="45"
    )
    head_hang_deg: Series[Number] = column(
        "Head below horizontal achieved", unit="degrees", ge=0, le=180, example="25"
    )
    hold_s: Series[Number] = column(
        "Time each position was held", unit="seconds", ge=0, le=86400, example="30"
    )
    angle_source: Series[Text] = column(
        "Where the angles come from", codes=codes.ANGLE_SOURCE, example="estimated"
    )
    completed: Series[Text] = column(
        "All positions were reached", codes=codes.YES_NO, filled=True, example="yes"
    )
    adverse: Series[Text] = column(
        "Adverse events; several stand in one cell",
        codes=codes.ADVERSE,
        filled=True,
        example="none",
        several=True,
    )

    class Config:
        metadata = {
            "key": ["episode_id", "attempt"],
            "row": "one maneuver given, or one course of home exercises",
        }

    @row_rule(
        "first_attempt_on_day_0",
        column="day",
        message="Attempt 1 is not on day 0, but day 0 is the day of the first attempt.",
        fix="Count all days of this episode from the day of its first attempt.",
    )
    def _first_attempt_on_day_0(cls, rows: pd.DataFrame) -> pd.Series:
        return ~(rows["attempt"].eq(1) & rows["day"].ne(0)).fillna(False)


class Followups(Table):
    episode_id: Series[Text] = episode_id()
    day: Series[Integer] = day("Day of the contact")
    contact: Series[Text] = column(
        "Kind of contact", codes=codes.CONTACT, filled=True, example="clinic"
    )
    positional_symptoms: Series[Text] = column(
        "Vertigo on changes of head position", codes=codes.YES_NO_UNKNOWN, filled=True, example="no"
    )
    other_dizziness: Series[Text] = column(
        "Dizziness or unsteadiness of another kind", codes=codes.YES_NO_UNKNOWN, example="no"
    )
    dhi_total: Series[Integer] = column(
        "Dizziness Handicap Inventory, total; 25 items of 0, 2 or 4, so even",
        unit="points",
        ge=0,
        le=100,
        example="24",
    )
    vas_0_10: Series[Number] = column(
        "Dizziness on a visual analogue scale", unit="points of 10", ge=0, le=10, example="3"
    )
    recurrence_reported: Series[Text] = column(
        "The patient reports a recurrence", codes=codes.YES_NO_UNKNOWN, example="no"
    )
    end_of_followup: Series[Text] = column(
        "Whether and why follow-up ends here",
        codes=codes.END_OF_FOLLOWUP,
        filled=True,
        example="no",
    )

    class Config:
        metadata = {"key": ["episode_id", "day", "contact"], "row": "one contact"}

    @row_rule(
        "dhi_is_even",
        column="dhi_total",
        message="dhi_total is odd, but its 25 items score 0, 2 or 4 (Jacobson & Newman 1990).",
        fix="Add the 25 items again.",
    )
    def _dhi_is_even(cls, rows: pd.DataFrame) -> pd.Series:
        return (rows["dhi_total"] % 2 == 0).fillna(True)


TABLES: dict[str, type[Table]] = {
    "episodes": Episodes,
    "examinations": Examinations,
    "treatments": Treatments,
    "followups": Followups,
}
ALL_TABLES: tuple[type[Table], ...] = (Submission, *TABLES.values())
