"""What the pipeline makes of the delivered tables: findings, verdicts, spells and attempts."""

from typing import Any

from pandera.typing import Series

from schemas import codes
from schemas.columns import Flag, Integer, Number, Table, Text, column
from schemas.failure import REASON, VIEW
from schemas.maneuver import FIT


def site() -> Any:
    """Code of the site: the first part of every key."""
    return column("Code of the site", filled=True)


def episode_id() -> Any:
    """Pseudonym of the episode: the second part of every key."""
    return column("Pseudonym of the episode", filled=True)


class ExaminedDays(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    day: Series[Integer] = column("Day of the tests", unit="days from day 0", filled=True)
    reason: Series[Text] = column(
        "Why the patient was examined on that day; empty if not recorded, or if rows of the day "
        "contradict each other",
        codes=codes.TEST_REASON,
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "day"],
            "row": "one day on which an episode was examined",
        }


class Findings(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    day: Series[Integer] = column("Day of the test", unit="days from day 0", filled=True)
    examination: Series[Integer] = column("Order within the day", filled=True)
    test: Series[Text] = column("Positional test", codes=codes.TEST, filled=True)
    side: Series[Text] = column("Ear down or head turned to", codes=codes.TEST_SIDE, filled=True)
    nystagmus: Series[Flag] = column("Nystagmus was seen", filled=True)
    positive: Series[Flag] = column("Nystagmus was seen or vertigo was felt", filled=True)
    before_treatment: Series[Flag] = column("The test came before the first attempt", filled=True)
    torsion_toward: Series[Text] = column(
        "Where the upper poles of the eyes beat, seen from the test",
        codes=codes.TORSION_TOWARD,
        filled=True,
    )
    duration_class: Series[Text] = column(
        "Duration against the limit between free and adherent debris",
        codes=codes.DURATION_CLASS,
        filled=True,
    )
    velocity_class: Series[Text] = column(
        "Greatest slow-phase velocity against that of healthy people, by direction",
        codes=codes.VELOCITY_CLASS,
        filled=True,
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "day", "examination", "test", "side"],
            "row": "what one test shows",
        }


class Adjudications(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    positional: Series[Text] = column(
        "Whether this was positional vertigo, by what was known at the first attempt",
        codes=codes.POSITIONAL,
        filled=True,
    )
    variants: Series[Text] = column(
        "All variants that the tests allow, as canal/side/arm/mechanism, separated by blanks",
        filled=True,
    )
    canal: Series[Text] = column(
        "Canal, where the allowed variants agree", codes=codes.CANAL, filled=True
    )
    side: Series[Text] = column(
        "Side, where the allowed variants agree", codes=codes.SIDE, filled=True
    )
    arm: Series[Text] = column(
        "Arm of the canal, where the allowed variants agree", codes=codes.ARM, filled=True
    )
    arm_basis: Series[Text] = column(
        "Working definition by which the arm is short", codes=codes.ARM_BASIS
    )
    mechanism: Series[Text] = column(
        "Free or adherent debris, where the allowed variants agree",
        codes=codes.MECHANISM,
        filled=True,
    )
    certainty: Series[Text] = column(
        "How well the criteria are met", codes=codes.CERTAINTY, filled=True
    )
    side_by: Series[Text] = column(
        "How a lateral-canal side was told: intensity, or a tie-breaking sign",
        codes={
            "intensity": "stronger response",
            "signs": "lying-down, bow or lean nystagmus",
            "direction": "the ear away from which it beats on both sides",
            "plane": "the plane of the nystagmus",
        },
    )
    side_signs: Series[Text] = column(
        "What each lateral-canal sign says, as sign=ear, separated by blanks", filled=True
    )
    known_day: Series[Integer] = column(
        "Day on which the verdict could first have been known", unit="days from day 0"
    )
    reclassified_day: Series[Integer] = column(
        "Day after the first attempt on which the case was found to be probably non-positional "
        "after all",
        unit="days from day 0",
    )
    recognised_day: Series[Integer] = column(
        "Day on which the site itself first held it for something else: another diagnosis, a "
        "working diagnosis without a canal (as of the first test), or the end of its follow-up; "
        "empty if never",
        unit="days from day 0",
    )
    criteria: Series[Text] = column(
        "Criteria of positional vertigo that are met, separated by blanks", filled=True
    )
    reasons_against: Series[Text] = column(
        "What speaks for another cause: red flags, another diagnosis of the site as "
        "other_diagnosis=..., no_canal_recorded",
        filled=True,
    )

    class Config:
        metadata = {"key": ["site", "episode_id"], "row": "the verdict on one episode"}


class ReasonsAgainst(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    reason: Series[Text] = column(
        "What speaks for another cause, as in reasons_against of the verdict", filled=True
    )
    known_day: Series[Integer] = column(
        "First day on which it was on record; answers and a working diagnosis without a canal are "
        "taken as of the first test",
        unit="days from day 0",
        filled=True,
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "reason"],
            "row": "one reason against positional vertigo, known when the first attempt was given",
        }


class Spells(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    endpoint: Series[Text] = column("What counts as resolved", codes=codes.ENDPOINT, filled=True)
    spell: Series[Integer] = column(
        "1 for the first; a recurrence after the agreed gap opens the next", ge=1, filled=True
    )
    patient_id: Series[Text] = column("Pseudonym of the patient", filled=True)
    start_day: Series[Integer] = column(
        "Day from which the spell's time is counted", unit="days from day 0", filled=True
    )
    left_days: Series[Number] = column(
        "Resolution came after this time",
        unit="days from the start of the spell",
        ge=0,
        filled=True,
    )
    right_days: Series[Number] = column(
        "Resolution came at or before this time; infinite if never seen",
        unit="days from the start of the spell",
        filled=True,
    )
    last_test_days: Series[Number] = column(
        "Time of the last test that could decide",
        unit="days from the start of the spell",
        ge=0,
        filled=True,
    )
    status: Series[Text] = column(
        "What is known of resolution", codes=codes.SPELL_STATUS, filled=True
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "endpoint", "spell"],
            "row": "time to resolution of one spell by one endpoint",
        }


class Attempts(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    session: Series[Integer] = column(
        "Order of the treatment day within the episode", ge=1, filled=True
    )
    patient_id: Series[Text] = column("Pseudonym of the patient", filled=True)
    day: Series[Integer] = column("Day of the session", unit="days from day 0", filled=True)
    spell: Series[Integer] = column(
        "Its spell by the objective endpoint; on a recurrence's day the new one", ge=1, filled=True
    )
    attempt: Series[Integer] = column(
        "Number of its first attempt within the episode", ge=1, filled=True
    )
    attempts: Series[Integer] = column("Attempts given on that day", ge=1, filled=True)
    maneuver: Series[Text] = column("Codes of the maneuvers given, in their order", filled=True)
    family: Series[Text] = column("Families of the maneuvers given, in their order", filled=True)
    side: Series[Text] = column("Ear that was treated", codes=codes.MANEUVER_SIDE, filled=True)
    fit: Series[Text] = column(
        "Whether a maneuver of the session suits what the tests before treatment allow: yes if one "
        "does, no if none does",
        codes=FIT,
        filled=True,
    )
    setting: Series[Text] = column(
        "Where it was given",
        codes=codes.SETTING | {"several": "attempts of the day differ"},
        filled=True,
    )
    performed_by: Series[Text] = column(
        "Who carried it out",
        codes=codes.PERFORMED_BY | {"several": "attempts of the day differ"},
        filled=True,
    )
    completed: Series[Text] = column(
        "Every attempt of the session reached all positions", codes=codes.YES_NO, filled=True
    )
    previous_maneuver: Series[Text] = column(
        "The maneuvers of the session before; empty for the first"
    )
    at_risk: Series[Flag] = column("Not known to be resolved when the session began", filled=True)
    same_visit: Series[Text] = column(
        "What the tests after the last attempt of the day showed; no confirmation",
        codes=codes.ATTEMPT_OUTCOME,
        filled=True,
    )
    next_test_days: Series[Number] = column(
        "Time from the session to the deciding test after it", unit="days", ge=0
    )
    outcome: Series[Text] = column(
        "What the next deciding test showed", codes=codes.ATTEMPT_OUTCOME, filled=True
    )
    next_vertigo: Series[Text] = column(
        "Worst vertigo at the deciding tests of that day that came before the next session; empty "
        "if there were none",
        codes=codes.VERTIGO,
    )
    next_duration_s: Series[Number] = column(
        "Longest nystagmus at these tests; 0 if none was seen, empty if not measured",
        unit="seconds",
        ge=0,
    )
    next_peak_spv: Series[Number] = column(
        "Greatest slow-phase velocity at these tests; 0 if no nystagmus was seen, empty if not "
        "measured",
        unit="degrees per second",
        ge=0,
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "session"],
            "row": "one treatment session and what the next test showed",
        }


class Sequences(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    patient_id: Series[Text] = column("Pseudonym of the patient", filled=True)
    path: Series[Text] = column(
        "Families of the sessions up to resolution in their order, separated by >; families of one "
        "session by +",
        filled=True,
    )
    outcomes: Series[Text] = column(
        "What the next deciding test after each of them showed, as in attempts, separated by >",
        filled=True,
    )
    sessions: Series[Integer] = column("Sessions up to resolution", ge=1, filled=True)
    resolved_after: Series[Integer] = column(
        "Sessions given before the day on which resolution was seen; empty if it was not", ge=1
    )
    at_next_test: Series[Flag] = column(
        "Resolution was seen at the next deciding test after the last of them, not at a later one; "
        "empty if it was not seen"
    )
    status: Series[Text] = column(
        "What is known of resolution", codes=codes.SPELL_STATUS, filled=True
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id"],
            "row": "the maneuvers of one treated positional episode, up to resolution",
        }


class LaterFlags(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    flag: Series[Text] = column(
        "What speaks for another cause, as named in config/criteria.yaml", filled=True
    )
    since_day: Series[Integer] = column(
        "Day from which on it was shown", unit="days from day 0", filled=True
    )
    known_day: Series[Integer] = column(
        "First day on which it could be known", unit="days from day 0", filled=True
    )
    sessions: Series[Integer] = column("Fitting sessions between these days", ge=0, filled=True)

    class Config:
        metadata = {
            "key": ["site", "episode_id", "flag"],
            "row": "one sign of another cause that only time shows",
        }


class FailureReasons(Table):
    site: Series[Text] = site()
    episode_id: Series[Text] = episode_id()
    view: Series[Text] = column("What is taken into account", codes=VIEW, filled=True)
    reason: Series[Text] = column(
        "Reason why the first session failed, was taken to have failed or tells nothing; several "
        "at "
        "once are possible",
        codes=REASON,
        filled=True,
    )
    evidence: Series[Text] = column(
        "Patterns in the record that speak for it, as codes of config/failure.yaml separated by "
        "blanks; empty if undetermined"
    )
    known_day: Series[Integer] = column(
        "First day on which the failure and a pattern had been seen; empty if the patient was "
        "not seen again",
        unit="days from day 0",
    )

    class Config:
        metadata = {
            "key": ["site", "episode_id", "view", "reason"],
            "row": "one reason with evidence for the failure of a first session",
        }


DERIVED: dict[str, type[Table]] = {
    "examined_days": ExaminedDays,
    "findings": Findings,
    "reasons_against": ReasonsAgainst,
    "adjudications": Adjudications,
    "spells": Spells,
    "attempts": Attempts,
    "sequences": Sequences,
    "later_flags": LaterFlags,
    "failure_reasons": FailureReasons,
}
