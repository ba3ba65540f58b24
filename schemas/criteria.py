"""What the tests mean, as data: types of `config/criteria.yaml`."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler, model_validator

from schemas import codes
from schemas.delivery import Episodes


@dataclass(frozen=True)
class OneOf:
    """In `Annotated[str, OneOf(codes)]`: the text is one of these codes."""

    codes: Iterable[str]

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> Any:
        """Checked, and told where it is wrong, as any closed list is."""
        return handler.generate_schema(Literal[tuple(self.codes)])


Standing = Literal["established", "emerging", "tentative", "common practice", "proposal"]
Canal = Literal["posterior", "lateral", "anterior"]
Arm = Literal["long", "short", "cupula", "unknown"]
Mechanism = Literal["canalolithiasis", "cupulolithiasis", "unknown"]
TestName = Annotated[str, OneOf(codes.TEST)]
Ear = Literal["lower_ear", "torsion_ear", "opposite_of_torsion_ear", "roll_side", "unknown"]
Weight = Literal["decisive", "strong", "moderate", "weak"]


class Closed(BaseModel):
    """A frozen part of the configuration that knows all of its keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Sourced(Closed):
    """A rule that says what it looks for, where it comes from, and how well it stands."""

    says: str
    standing: Standing
    source: str


class Signs(Closed):
    """What nystagmus may look like: a list names the values that fit;
    a key left out fits anything."""

    vertical: tuple[Literal["up", "down", "none"], ...] | None = None
    torsion_toward: tuple[Literal["lower_ear", "upper_ear", "midline", "none"], ...] | None = None
    horizontal: (
        tuple[Literal["geotropic", "apogeotropic", "same_way", "right", "left", "none"], ...] | None
    ) = None
    vertigo: tuple[Literal["none", "mild", "moderate", "severe"], ...] | None = None
    reverses_on_sitting: tuple[Literal["yes", "no"], ...] | None = None
    duration: tuple[Literal["short", "borderline", "long"], ...] | None = None
    timed: bool = Field(default=False, description="The duration must have been measured")
    latency_least_s: float | None = Field(default=None, description="Latency at least, seconds")
    velocity_kept_below: float | None = Field(
        default=None, description="Velocity at 40 s as a part of the peak, below"
    )
    peak_most: float | None = Field(
        default=None, description="Greatest velocity at most, degrees per second"
    )
    velocity: tuple[Literal["slow", "fast"], ...] | None = None
    alike: tuple[Literal["yes", "no"], ...] | None = Field(
        default=None, description="Of a pair of roll tests: both sides are about as fast"
    )
    felt_or_fast: bool = Field(
        default=False,
        description="With vertigo, or faster than in healthy people: what is neither measured nor "
        "felt does not fit",
    )


class Pattern(Signs):
    """What one test must show; with `both_sides`, what a pair of supine roll tests must show."""

    tests: tuple[TestName, ...]
    both_sides: bool = False


class Expectation(Sourced, Signs):
    """What the published description of a variant adds to its criterion: it is no condition.

    Where it was measured and is otherwise, a definite criterion is only probable; where it was not
    measured, nothing changes.
    """


class Criterion(Pattern, Sourced):
    """A pattern that allows a variant of positional vertigo.

    What was not measured fits, but lowers the certainty.
    """

    expects: tuple[Expectation, ...] = Field(
        default=(), description="What the description adds, without being a condition"
    )
    silent_tests: tuple[TestName, ...] = Field(
        default=(),
        description="One of them was done on the same ear, and none ever showed nystagmus there",
    )
    unseen_in: tuple[TestName, ...] = Field(
        default=(),
        description="None of them showed nystagmus on the same ear, whether they were done or not",
    )
    unless_silent: tuple[TestName, ...] = Field(
        default=(),
        description="Not met where one of them was done on the same ear, and none showed nystagmus",
    )
    also_seen: Pattern | None = Field(
        default=None, description="Another test on the same ear must show this"
    )
    refines: str | None = Field(
        default=None, description="A criterion that this one replaces where both are met"
    )
    canal: Canal | Literal["unknown"]
    side: Ear
    arm: Arm
    arm_basis: Literal["sitting_up", "half_dix_hallpike"] | None = None
    mechanism: Mechanism
    certainty: Literal["definite", "probable", "emerging", "suspected", "subjective"]


class Flag(Sourced):
    """A finding that speaks for another cause: an answer in an episode's field,
    or a test before treatment that shows a pattern.

    What was not recorded raises no flag.
    """

    weight: Weight
    field: str | None = None
    value: str = "yes"
    pattern: Pattern | None = None
    silent_tests: tuple[TestName, ...] = ()
    positions_least: int = Field(
        default=1, description="Different positions that show the pattern, at least"
    )

    @model_validator(mode="after")
    def _one_kind(self) -> "Flag":
        if (self.field is None) == (self.pattern is None):
            raise ValueError("a flag has either a field or a pattern")
        if self.field is not None and self.value not in (
            Episodes.describe()[self.field].codes or ()
        ):
            raise ValueError(f"{self.field} cannot be {self.value}")
        return self


class LaterFlag(Sourced):
    """What speaks for another cause only after a while: a pattern that stays or, without one,
    vertigo that is not resolved.

    It must have stayed for `days_least` days and outlasted `sessions_least` sessions of maneuvers
    that suit it.
    """

    pattern: Pattern | None = None
    days_least: int = Field(
        default=0, ge=0, description="Days from the first test that shows it, at least"
    )
    sessions_least: int = Field(
        default=0, ge=0, description="Completed sessions that fit, on different days, at least"
    )
    verified_by: tuple[Annotated[str, OneOf(codes.PERFORMED_BY)], ...] = Field(
        default=(), description="Whose sessions count as verified"
    )

    @model_validator(mode="after")
    def _asks_for_time_or_sessions(self) -> "LaterFlag":
        if not self.days_least and not self.sessions_least:
            raise ValueError("a later flag needs days_least or sessions_least")
        if bool(self.sessions_least) != bool(self.verified_by):
            raise ValueError("sessions_least and verified_by need each other")
        return self


class OtherCause(Sourced):
    """Another cause by its published criteria, as far as the fields allow: all answers must hold,
    and the patterns be seen if there are any."""

    diagnosis: Annotated[
        str, OneOf([code for code in codes.OTHER_DIAGNOSIS if code not in ("none", "unknown")])
    ]
    answers: dict[str, Literal["yes", "no"]] = {}
    unless: dict[str, str] = Field(default={}, description="None of these answers may be given")
    pattern: Pattern | None = None
    also_seen: Pattern | None = Field(
        default=None, description="Another test of the episode must show this"
    )
    nothing_in: tuple[tuple[TestName, ...], ...] = Field(
        default=(),
        description="One test of each group was done, on both ears if it has a side, and no test "
        "before treatment showed nystagmus or vertigo",
    )
    undecided: bool = Field(
        default=False,
        description="The tests fit it and positional vertigo alike, unless what was measured says "
        "otherwise: the episode is undetermined",
    )

    @model_validator(mode="after")
    def _answers_are_codes(self) -> "OtherCause":
        _require_answers(self.answers | self.unless)
        return self

    @property
    def rests_on_answers(self) -> bool:
        """Whether no test has to show anything."""
        return self.pattern is None


class ResolvedHistory(Sourced):
    """What an episode must tell, with silent tests, to be positional vertigo that has resolved."""

    answers: dict[str, Literal["yes", "no"]]
    unless: dict[str, str] = Field(default={}, description="None of these answers may be given")
    attack_below_s: float = Field(gt=0, description="Attacks are shorter, seconds")
    nothing_in: tuple[tuple[TestName, ...], ...] = Field(
        description="One test of each group was done, on both ears if it has a side, and no test "
        "before treatment showed nystagmus or vertigo"
    )

    @model_validator(mode="after")
    def _answers_are_codes(self) -> "ResolvedHistory":
        _require_answers(self.answers | self.unless)
        return self


def _require_answers(answers: Mapping[str, str]) -> None:
    described = Episodes.describe()
    for field, answer in answers.items():
        if field not in described or answer not in (described[field].codes or ()):
            raise ValueError(f"{field} cannot be {answer}")


class DurationClasses(Closed):
    """Seconds between which a duration is neither clearly short nor clearly long."""

    borderline_from_s: float = Field(gt=0)
    borderline_to_s: float = Field(gt=0)
    standing: Standing
    source: str


class HealthyVelocity(Closed):
    """Slow-phase velocities of positional nystagmus that few healthy people exceed, degrees per
    second."""

    horizontal: float = Field(gt=0)
    vertical: float = Field(gt=0, description="Also of vertical nystagmus with another part")
    standing: Standing
    source: str


class Criteria(Closed):
    """`config/criteria.yaml`."""

    duration: DurationClasses
    healthy_velocity: HealthyVelocity
    tests_of_canal: dict[Canal, tuple[TestName, ...]] = Field(
        description="Tests whose turning negative confirms resolution"
    )
    tests_of_short_arm: tuple[TestName, ...] = Field(
        description="Further such tests where the arm is short"
    )
    same_test: dict[TestName, TestName] = Field(
        description="Tests that stand for another: a repeat of either counts"
    )
    criteria: dict[str, Criterion]
    flags: dict[str, Flag]
    other_causes: dict[str, OtherCause]
    resolved_history: ResolvedHistory
    later_flags: dict[str, LaterFlag]

    @model_validator(mode="after")
    def _parts_fit(self) -> "Criteria":
        if self.duration.borderline_from_s >= self.duration.borderline_to_s:
            raise ValueError("duration: the borderline band must begin before it ends")
        named = {c.refines for c in self.criteria.values() if c.refines is not None}
        unknown = named - set(self.criteria)
        if unknown:
            raise ValueError(f"refines names no criterion: {', '.join(sorted(unknown))}")
        return self
