"""What the plan says of the order of maneuvers: the variants that are told apart, which maneuver
came first, and what followed one that failed."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas import codes
from schemas.criteria import Closed, OneOf

# what pipeline/analyses/covariates.py and the rows of each analysis can tell of an episode or an
# attempt
Variable = Literal[
    "age_decade",
    "sex",
    "onset",
    "prior",
    "cause",
    "canal_arm",
    "mechanism",
    "first_family",
    "attempt_number",
    "previous",
    "fit",
    "setting",
    "place",
    "first_fit",
    "same_visit",
    "failure_vertigo",
    "failure_duration",
    "failure_velocity",
    "failure_grade",
    "failure_log_duration",
    "failure_log_velocity",
    "wait",
    "site",
]


class Variant(Closed):
    """A variant that examinations can tell, by what was adjudicated; what is left out may be
    anything."""

    canal: Annotated[str, OneOf(tuple(codes.CANAL))] | None = None
    arm: Annotated[str, OneOf(tuple(codes.ARM))] | None = None
    arm_basis: Annotated[str, OneOf(tuple(codes.ARM_BASIS))] | None = None
    mechanism: Annotated[str, OneOf(tuple(codes.MECHANISM))] | None = None
    suspected: bool = Field(
        default=True, description="Whether those that are merely suspected belong to it"
    )

    @property
    def values(self) -> dict[str, str]:
        """The adjudicated values that define it, by column."""
        return self.model_dump(exclude={"suspected"}, exclude_none=True)

    @property
    def is_circular(self) -> bool:
        """Whether the response to a maneuver names it, so that its outcome is its definition."""
        return self.arm_basis == "treatment_response"

    def overlaps(self, other: "Variant") -> bool:
        """Whether an episode may be of both, though neither is the other one without the merely
        suspected."""
        mine, theirs = self.values, other.values
        if mine == theirs:
            return self.suspected == other.suspected
        return all(mine[column] == theirs[column] for column in mine.keys() & theirs.keys())


class FirstChoice(Closed):
    """Which first maneuver cleared which variant."""

    variants: tuple[str, ...] = Field(min_length=1, description="Variants that are shown")
    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        min_length=1, description="Days after the first session on which shares are told"
    )
    horizon_day: int = Field(ge=2, description="Up to which day days with vertigo are counted")
    terms: tuple[Variable, ...] = Field(description="What was known when the first was chosen")
    truncate: tuple[float, float] = Field(description="Quantiles at which weights are cut")
    least_own_part: float = Field(
        gt=0,
        lt=1,
        description=(
            "A pooled share of which the cell's own records tell less than this part is held back"
        ),
    )
    answer_points: float = Field(
        gt=0,
        lt=100,
        description="Of 100: limits so far apart, or less, are an answer",
    )

    @model_validator(mode="after")
    def _quantiles_rise(self) -> "FirstChoice":
        if not 0 <= self.truncate[0] < self.truncate[1] <= 1:
            raise ValueError("first_choice.truncate must be two rising quantiles")
        return self


class SecondLine(Closed):
    """After a failed first attempt: repeat, or change."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days after the second session on which risks are compared"
    )
    primary_day: int = Field(ge=1, description="The day of the pre-specified comparison")
    horizon_day: int = Field(ge=1, description="Restriction of the mean time to resolution")
    truncate: tuple[float, float] = Field(description="Quantiles at which weights are cut")
    terms: tuple[Variable, ...] = Field(description="What was known at the moment of the choice")
    variants: tuple[str, ...] = Field(description="Variants that are compared by themselves")

    @model_validator(mode="after")
    def _days_fit(self) -> "SecondLine":
        if self.primary_day not in self.days or max(self.days) > self.horizon_day:
            raise ValueError(
                "second_line: primary_day must be one of days, and none may be after horizon_day"
            )
        if not 0 <= self.truncate[0] < self.truncate[1] <= 1:
            raise ValueError("second_line.truncate must be two rising quantiles")
        return self


class Strategies(Closed):
    """Which maneuver in which order: a test on every so-many-th day, and a session while it is
    positive."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days after the first session on which shares are compared"
    )
    horizon_day: int = Field(ge=1, description="Up to which day days with vertigo are counted")
    retest_days: int = Field(ge=1, description="Days between sessions, and to the next test")
    sessions: int = Field(ge=2, description="Sessions at the most")
    terms: tuple[Variable, ...] = Field(
        description="What was known when a later session was chosen, for the way by weights; for "
        "the first one it is first_choice.terms"
    )
    variants: tuple[str, ...] = Field(
        min_length=1, description="Variants whose orders are compared; no episode is of two"
    )
