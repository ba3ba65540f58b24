"""What published trials found, as data: types of `config/published.yaml`,
beside which the pool's own shares are shown."""

from typing import Annotated

from pydantic import Field, model_validator

from schemas import codes
from schemas.criteria import Arm, Canal, Closed, OneOf

PROVENANCE = {
    "read": "the counts were read in the abstract or a page of the publication",
    "restated": "the counts were read in another publication that restates them",
    "recomputed": "the counts were worked out from printed percentages",
    "from memory": "the counts are from memory and want checking against the publication",
}
Provenance = Annotated[str, OneOf(PROVENANCE)]


class TrialArm(Closed):
    """One treatment of a trial: how many had it, and how many of them were resolved at the time of
    the trial's test."""

    family: str = Field(min_length=1, description="Family of config/maneuvers.yaml")
    events: int = Field(ge=0)
    total: int = Field(ge=1)

    @model_validator(mode="after")
    def _events_within_total(self) -> "TrialArm":
        if self.events > self.total:
            raise ValueError("events must not be above total")
        return self


class Trial(Closed):
    """One outcome of a trial at one time."""

    citation: str = Field(min_length=1)
    canal: Canal
    canal_arms: tuple[Arm, ...] = Field(
        default=(), description="Arms of the canal; empty where the trial did not tell them apart"
    )
    day: int = Field(
        ge=1,
        description=(
            "Day of the trial's test, from the first treatment; a week's or a month's visit by its "
            "nominal day"
        ),
    )
    endpoint: Annotated[str, OneOf(codes.ENDPOINT)] = Field(
        description="The endpoint of this project that comes nearest"
    )
    measured: str = Field(min_length=1, description="What the trial counted, in words")
    arms: tuple[TrialArm, ...] = Field(min_length=1)
    provenance: Provenance

    @model_validator(mode="after")
    def _arms_differ(self) -> "Trial":
        families = [arm.family for arm in self.arms]
        if len(set(families)) < len(families):
            raise ValueError("two arms have the same family")
        return self


class PublishedPool(Closed):
    """A published pool of such trials: a treatment against a comparator, one odds ratio for all."""

    citation: str = Field(min_length=1)
    trials: tuple[str, ...] = Field(min_length=2)
    treatment: str = Field(description="Family of the treated arms")
    comparator: str = Field(description="Family of the other arms")
    odds_ratio: Annotated[float, Field(gt=0)] = Field(
        description="As printed, with its 95 % confidence interval"
    )
    lower: Annotated[float, Field(gt=0)]
    upper: Annotated[float, Field(gt=0)]
    provenance: Provenance


class Published(Closed):
    """`config/published.yaml`."""

    trials: dict[str, Trial]
    pools: dict[str, PublishedPool] = {}

    @model_validator(mode="after")
    def _pools_name_trials(self) -> "Published":
        for name, pool in self.pools.items():
            for trial in pool.trials:
                families = (
                    {arm.family for arm in self.trials[trial].arms}
                    if trial in self.trials
                    else set()
                )
                if not {pool.treatment, pool.comparator} <= families:
                    raise ValueError(f"{name}: {trial} is no trial with both arms")
        return self
