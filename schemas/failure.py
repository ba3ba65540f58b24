"""What `config/failure.yaml` holds: which pattern in the record is evidence for which reason of a
first maneuver's failure."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.criteria import Canal, Closed, OneOf, Standing

VIEW = {
    "at_the_time": "from what was known on the day on which the failure was seen",
    "in_hindsight": "from the whole record",
}
REASON = {
    "technique": "the maneuver was not done as usual",
    "wrong_side": "the wrong ear was treated",
    "wrong_canal": "another canal was treated",
    "wrong_arm": "debris was in another arm of the canal",
    "adherent_debris": "debris was adherent to the cupula",
    "canal_switch": "debris moved into another canal",
    "reentry": "debris moved back into the same canal, or a tired test had looked clear",
    "several_canals": "several canals or both ears were affected",
    "not_positional": "something other than positional vertigo",
    "recurrence_read_as_failure": "the vertigo had resolved after the maneuver, and recurred",
    "residual_dizziness_read_as_failure": (
        "the vertigo had resolved after the maneuver, and unsteadiness without positional "
        "vertigo was left"
    ),
    "remission_anyway": "it resolved later without the help of a maneuver",
    "never_tested_again": (
        "not tested again, nor reported to be free of vertigo, so that nothing is known of the "
        "maneuver's success"
    ),
    "undetermined": "the record holds evidence for none of these",
}
EVIDENCE = {
    "hold_below_usual": "positions were held for less than the usual time",
    "head_turn_outside": "the head turn, as measured, lay outside the tolerance",
    "head_turn_outside_by_estimate": (
        "the head turn lay outside the tolerance, but was estimated or its source is not known"
    ),
    "head_hang_outside": "the head hang, as measured, lay outside the tolerance",
    "head_hang_outside_by_estimate": (
        "the head hang lay outside the tolerance, but was estimated or its source is not known"
    ),
    "not_completed": "not all positions were reached",
    "fewer_than_planned": "a course at home of which little was done",
    "done_alone": "nobody watched the maneuver",
    "treated_other_ear": "the ear that was treated is not one that the first tests allow",
    "later_test_other_ear": "tests after the maneuver point to the ear that was not treated",
    "maneuver_for_other_canal": "the maneuver is for no canal that the first tests allow",
    "untested_canal_positive": "a canal that had not been tested before the maneuver is positive",
    "silent_canal_positive": (
        "a canal whose test had been silent before the maneuver is positive, and may have been "
        "missed"
    ),
    "maneuver_for_other_arm": "the maneuver is for no arm that the first tests allow",
    "later_test_other_arm": "tests after the maneuver point to an arm that it is not for",
    "other_arm_maneuver_worked": (
        "a later maneuver for the other arm of the same canal was followed by negative tests"
    ),
    "maneuver_for_free_debris": (
        "the first tests point to adherent debris, and the maneuver is for free debris"
    ),
    "nystagmus_long": "nystagmus after the maneuver lasted longer than free debris explains",
    "borderline_without_fatigue": (
        "nystagmus after the maneuver lasted about a minute and did not weaken on repetition"
    ),
    "adherent_maneuver_worked": (
        "a later maneuver for adherent debris was followed by negative tests"
    ),
    "canal_switch_recorded": "the site recorded a canal switch during the maneuver",
    "tested_canal_newly_positive": "a canal that had been silent before the maneuver is positive",
    "cleared_within_visit": (
        "the tests were negative in the visit of the maneuver, not only while nystagmus may have "
        "been tired, and positive later"
    ),
    "first_tests_several": "the first tests show several canals or both ears",
    "later_tests_several": "tests of one day after the maneuver show several canals or both ears",
    "other_diagnosis_made": "the site made another diagnosis",
    "reclassified": "the site no longer thinks that it is positional vertigo",
    "spoken_against": (
        "flags, other criteria or the site's own record spoke against it from the first"
    ),
    "negative_day_between": "the tests had turned negative before they were positive again",
    "retreated_for_dizziness_only": (
        "treated again with negative tests and no positional symptoms, but other dizziness"
    ),
    "resolved_without_fitting_maneuver": (
        "it resolved, and no maneuver that could fit was given since the failure"
    ),
    "resolved_long_after_onset": (
        "still positive after the last maneuver, as long after onset as it lasts untreated on the "
        "average, then resolved"
    ),
    "retreated_before_a_test": "the next maneuver was given before any test",
    "no_later_test": "no later test can tell",
}

TECHNIQUE = {  # the parts of the reason, each with its words and its evidence
    "hold": ("positions held for less than usual", ("hold_below_usual",)),
    "angle": (
        "head turn or hang outside the tolerance",
        (
            "head_turn_outside",
            "head_turn_outside_by_estimate",
            "head_hang_outside",
            "head_hang_outside_by_estimate",
        ),
    ),
    "completed": ("not all positions reached", ("not_completed",)),
    "alone": ("nobody watched", ("done_alone",)),
    "doses": ("a course at home hardly done", ("fewer_than_planned",)),
}


class Pattern(Closed):
    """One pattern in the record: the reason for which it is evidence, and who says so."""

    reason: Annotated[str, OneOf([r for r in REASON if r != "undetermined"])]
    source: str = Field(min_length=1)
    standing: Standing


class Tolerance(Closed):
    """Bounds within which a maneuver worked in an experiment; both bounds belong to what worked."""

    says: str = Field(min_length=1)
    maneuvers: tuple[str, ...] = Field(min_length=1)
    column: Literal["head_turn_deg", "head_hang_deg"]
    least: float | None = Field(default=None, ge=0)
    most: float | None = Field(default=None, ge=0)
    source: str = Field(min_length=1)
    standing: Standing

    @model_validator(mode="after")
    def _bounds_in_order(self) -> "Tolerance":
        if self.least is None and self.most is None:
            raise ValueError("a tolerance needs a least or a most")
        if self.least is not None and self.most is not None and self.least > self.most:
            raise ValueError("least must not be above most")
        return self


class GrossAngle(Closed):
    """How far outside of the usual range an angle is grossly wrong."""

    beyond_deg: float = Field(gt=0)
    source: str = Field(min_length=1)
    standing: Standing


class Fatigue(Closed):
    """How long after a maneuver a silent test may only be tired."""

    over_after_min: float = Field(gt=0)
    source: str = Field(min_length=1)
    standing: Standing


class Doses(Closed):
    """How much of a planned course at home must have been done."""

    least_share: float = Field(gt=0, le=1)
    source: str = Field(min_length=1)
    standing: Standing


class Remission(Closed):
    """How many days the vertigo of a canal lasts without treatment, from onset."""

    days: Annotated[int, Field(ge=1)]
    source: str = Field(min_length=1)
    standing: Standing


class Failure(Closed):
    """`config/failure.yaml`: a pattern or tolerance left out is not looked for."""

    patterns: dict[Annotated[str, OneOf(EVIDENCE)], Pattern]
    tolerances: dict[str, Tolerance]
    gross_angle: GrossAngle | None = None
    fatigue: Fatigue | None = None
    doses: Doses | None = None
    trusted_angle_sources: tuple[Literal["measured", "estimated", "not_recorded"], ...]
    alone: tuple[Literal["clinician", "self_supervised", "self_unsupervised", "caregiver"], ...]
    remission: dict[Canal, Remission]
