"""The configuration as closed, frozen types: a misspelt key or a value out of range is named before anything runs."""

from pathlib import Path
from typing import Annotated, Literal

import yaml
from pydantic import BaseModel, ConfigDict, Field, model_validator

from schemas import codes

Standing = Literal["established", "emerging", "tentative", "common practice", "proposal"]
Canal = Literal["posterior", "lateral", "anterior"]
Arm = Literal["long", "short", "cupula", "unknown"]
Mechanism = Literal["canalolithiasis", "cupulolithiasis", "unknown"]
TestName = Literal[tuple(codes.TEST)]
Endpoint = Literal[tuple(codes.ENDPOINT)]


class Closed(BaseModel):
    """A frozen part of the configuration that knows all of its keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Resolution(Closed):
    """When a spell counts as resolved, and when a new one begins."""

    primary: Endpoint = Field(description="Endpoint of the committee report")
    confirmation_day: int = Field(ge=1, description="Days after the last maneuver from which a negative look counts")
    recurrence_gap: int = Field(ge=1, description="Symptom-free days after which a return is a new spell")


class Curves(Closed):
    """The time-to-resolution curves."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(description="Days on which shares are reported")
    horizon_day: int = Field(ge=1, description="Last day that is estimated")
    strata: tuple[tuple[Literal["canal", "side", "arm", "mechanism", "first_maneuver"], ...], ...] = Field(
        description="Parts of the pool that get a curve of their own; several names in one entry are crossed"
    )
    replicates: int = Field(ge=100, description="Bootstrap replicates behind each band")
    min_episodes: int = Field(ge=2, description="Fewer episodes give a status, not a number")
    min_events: int = Field(ge=1, description="Fewer resolutions give a status, not a number")

    @model_validator(mode="after")
    def _days_within_horizon(self) -> "Curves":
        if list(self.days) != sorted(set(self.days)) or max(self.days) > self.horizon_day:
            raise ValueError("curves.days must rise and end at or before curves.horizon_day")
        return self


class Disclosure(Closed):
    """Protection of people in small groups."""

    min_cell: int = Field(ge=2, description="Counts from 1 to one below this are hidden")


class Study(Closed):
    """`config/study.yaml`: the plan that was fixed before the data were seen."""

    title: str
    seed: int
    resolution: Resolution
    curves: Curves
    disclosure: Disclosure


class Maneuver(Closed):
    """One maneuver of `config/maneuvers.yaml`."""

    name: str = Field(description="Name in the literature")
    family: str = Field(description="Maneuvers of one family are variants of one idea")
    kind: Literal["maneuver", "exercise", "observation", "sham", "unlisted"]
    canals: tuple[Canal, ...]
    arms: tuple[Arm, ...]
    mechanisms: tuple[Mechanism, ...]
    sided: bool = Field(description="Done for one ear, so that the record must name it")
    source: str
    standing: Standing


class Criterion(Closed):
    """One diagnostic pattern of `config/criteria.yaml`: what a look must show, and which variant it then allows.

    A list names the values that fit; a key left out fits anything. What was not measured fits, but lowers the certainty.
    """

    says: str
    tests: tuple[TestName, ...]
    both_sides: bool = Field(default=False, description="The same pattern must appear with either ear down")
    vertical: tuple[Literal["up", "down", "none"], ...] | None = None
    torsion_toward: tuple[Literal["lower_ear", "upper_ear", "midline", "none"], ...] | None = None
    horizontal: tuple[Literal["geotropic", "apogeotropic", "right", "left", "none"], ...] | None = None
    duration: tuple[Literal["short", "borderline", "long"], ...] | None = None
    silent_tests: tuple[TestName, ...] = Field(
        default=(), description="Tests that must have been done without nystagmus"
    )
    canal: Canal
    side: Literal["lower_ear", "torsion_ear", "opposite_of_torsion_ear", "stronger_ear", "weaker_ear"]
    arm: Arm
    arm_basis: Literal["sitting_up", "half_dix_hallpike"] | None = None
    mechanism: Mechanism
    certainty: Literal["definite", "probable", "emerging"]
    standing: Standing
    source: str


class RedFlag(Closed):
    """A finding that speaks for a cause other than canal debris: an answer `value` in the episode's `field`."""

    says: str
    field: str
    value: str
    weight: Literal["decisive"]
    standing: Standing
    source: str


class DurationClasses(Closed):
    """Seconds between which a duration is neither clearly short nor clearly long."""

    borderline_from_s: float = Field(gt=0)
    borderline_to_s: float = Field(gt=0)
    standing: Standing
    source: str


class Criteria(Closed):
    """`config/criteria.yaml`: what the looks mean."""

    duration: DurationClasses
    tests_of_canal: dict[Canal, tuple[TestName, ...]] = Field(
        description="Tests whose turning negative confirms resolution"
    )
    tests_of_short_arm: tuple[TestName, ...] = Field(description="Further such tests where the arm is short")
    same_test: dict[TestName, TestName] = Field(description="Tests that stand for another: a repeat of either counts")
    criteria: dict[str, Criterion]
    red_flags: dict[str, RedFlag]

    @model_validator(mode="after")
    def _band_in_order(self) -> "Criteria":
        if self.duration.borderline_from_s >= self.duration.borderline_to_s:
            raise ValueError("duration: the borderline band must begin before it ends")
        return self


class Config(Closed):
    """Everything that the analyses are told, from one folder."""

    study: Study
    maneuvers: dict[str, Maneuver]
    criteria: Criteria


def read_config(folder: Path) -> Config:
    """The configuration in `folder`; raises pydantic.ValidationError naming the key that is wrong, or FileNotFoundError."""
    parts = {
        name: yaml.safe_load((folder / f"{name}.yaml").read_text("utf-8"))
        for name in ("study", "maneuvers", "criteria")
    }
    return Config.model_validate(parts)
