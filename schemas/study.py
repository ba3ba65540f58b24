"""The configuration as closed, frozen types: a misspelt key or a value out of range is named before anything runs."""

from pathlib import Path
from typing import Annotated, Literal

import yaml
from pydantic import Field, model_validator

from schemas import codes
from schemas.criteria import Closed, Criteria
from schemas.failure import Failure
from schemas.maneuver import Maneuver

PARTS = ("study", "maneuvers", "criteria", "failure")  # of a plan: one file each
Endpoint = Literal[tuple(codes.ENDPOINT)]


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


class Config(Closed):
    """Everything that the analyses are told, from one folder."""

    study: Study
    maneuvers: dict[str, Maneuver]
    criteria: Criteria
    failure: Failure


def read_config(folder: Path) -> Config:
    """The configuration in `folder`; raises pydantic.ValidationError naming the key that is wrong, or FileNotFoundError."""
    parts = {name: yaml.safe_load((folder / f"{name}.yaml").read_text("utf-8")) for name in PARTS}
    return Config.model_validate(parts)
