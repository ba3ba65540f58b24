"""The configuration as closed, frozen types: a misspelt key or a value out of range is named before
anything runs."""

from itertools import combinations
from math import ceil
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError, model_validator

from schemas import codes
from schemas.criteria import Closed, Criteria, OneOf
from schemas.failure import Failure
from schemas.maneuver import Maneuvers
from schemas.order_plan import FirstChoice, SecondLine, Strategies, Variable, Variant
from schemas.plan_faults import describe_faults, load_plan_file
from schemas.published import Published
from schemas.site_map import SiteMap, read_site_maps

PARTS = ("study", "maneuvers", "criteria", "failure", "published")  # of a plan: one file each
SITES = "sites"  # folder of a plan: one file for each site that has names of its own
Endpoint = Annotated[str, OneOf(codes.ENDPOINT)]


class Guards(Closed):
    """When a number is held back, whatever the estimator says."""

    min_episodes: int = Field(ge=2, description="Fewer episodes give a status, not a number")
    min_events: int = Field(
        ge=1,
        description=(
            "Classes of fewer events, or fewer episodes without one, have no coefficient of their "
            "own in a model"
        ),
    )
    min_sites: int = Field(
        ge=2, description="Fewer sites give no statement on differences between sites"
    )
    min_chance: float = Field(
        gt=0, lt=0.5, description="Positivity: least probability of each choice that is compared"
    )
    widest_range_points: float = Field(
        gt=0,
        le=100,
        description="Limits further apart than this part of their scale, in percent, give a status",
    )
    widest_ratio: float = Field(
        gt=1,
        description="So does a ratio whose upper limit is more than so many times the lower one",
    )


class Resolution(Closed):
    """When a spell counts as resolved, and when a new one begins."""

    primary: Endpoint = Field(description="Endpoint of the committee report")
    confirmation_day: int = Field(
        ge=1, description="Days after the last maneuver from which a negative test counts"
    )
    recurrence_gap: int = Field(
        ge=1, description="Symptom-free days after which vertigo is a recurrence, a new spell"
    )


class Curves(Closed):
    """The time-to-resolution curves."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days on which shares are reported"
    )
    horizon_day: int = Field(ge=1, description="Last day that is estimated")
    strata: tuple[
        tuple[Literal["canal", "side", "arm", "mechanism", "first_maneuver"], ...], ...
    ] = Field(
        description=(
            "Parts of the pool that get a curve of their own; several names in one entry are "
            "crossed"
        )
    )

    @model_validator(mode="after")
    def _days_within_horizon(self) -> "Curves":
        if list(self.days) != sorted(set(self.days)) or max(self.days) > self.horizon_day:
            raise ValueError("curves.days must rise and end at or before curves.horizon_day")
        return self


class Regression(Closed):
    """Time ratios."""

    families: tuple[Literal["weibull", "lognormal", "loglogistic"], ...] = Field(
        min_length=1, description="Distributions that are tried; the one of least AIC is reported"
    )
    terms: tuple[Variable, ...] = Field(description="What the time ratios are adjusted for")


class AttemptSuccess(Closed):
    """What the next test after an attempt shows."""

    terms: tuple[Variable, ...]
    quadrature_points: int = Field(
        ge=11,
        description="Points of the adaptive quadrature over patients; checked at twice as many",
    )
    random_sites_from: int = Field(
        ge=3, description="With fewer sites each has its own fixed effect"
    )
    resolved_shares: tuple[Annotated[float, Field(gt=0, lt=1)], ...] = Field(
        description="Shares of which is asked after how many attempts they are reached"
    )


class Handicap(Closed):
    """Change of the Dizziness Handicap Inventory."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days on which the mean total is reported"
    )
    important_changes: tuple[Annotated[int, Field(ge=1, le=100)], ...] = Field(
        description="Falls of the total that count as important; sources conflict, so each is shown"
    )


class Recurrence(Closed):
    """Recurrence after confirmed resolution."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days after resolution on which shares are reported"
    )


class NonPositional(Closed):
    """Recognition by the site of what was probably not positional vertigo."""

    days: tuple[Annotated[int, Field(ge=0)], ...] = Field(
        description="Days by which the shares recognised are reported"
    )


class SitePooling(Closed):
    """The mean over sites of shares resolved."""

    days: tuple[Annotated[int, Field(ge=1)], ...]


class SiteMonitoring(Closed):
    """Each site beside the mean of the sites."""

    min_episodes: int = Field(ge=2, description="Smaller sites are not compared")
    terms: tuple[Variable, ...] = Field(
        description="Case mix that comparisons of sites take into account"
    )


class Sensitivity(Closed):
    """What the primary answers are tried under."""

    recurrence_gaps: tuple[Annotated[int, Field(ge=1)], ...]
    duration_limits_s: tuple[Annotated[float, Field(gt=0)], ...] = Field(
        description="Limits between free and adherent debris, each without a borderline band"
    )


class Disclosure(Closed):
    """Protection of people in small groups, and of sites."""

    min_cell: int = Field(ge=2, description="Nobody can tell a group of 1 to one below this")
    round_counts: int = Field(
        ge=2,
        multiple_of=2,
        description=(
            "Counts of parts of the pool are rounded to multiples of this, from half of it upwards"
        ),
    )
    min_sites: int = Field(
        ge=1,
        description="Numbers that rest on fewer sites are hidden, unless they are a site's own",
    )
    max_share: float = Field(
        gt=0,
        le=1,
        description=(
            "Numbers are hidden of which one site contributes more than this share of the episodes"
        ),
    )
    min_renewed: float = Field(
        ge=0,
        le=1,
        description=(
            "A new release is made only if it shows at least this part of the numbers that the "
            "last one shows; else that one stays"
        ),
    )

    @property
    def least_shown(self) -> int:
        """The least count that is shown: the first from `min_cell` on that is rounded upwards, so
        that no rounded number stands for fewer counts than another, and whoever knows some of those
        counted learns no more of the others than from any other number."""
        half = self.round_counts // 2
        return half + self.round_counts * ceil(max(self.min_cell - half, 0) / self.round_counts)


def round_count(number: int, multiple: int) -> int:
    """The nearest multiple; what lies in the middle goes up."""
    return multiple * ((number + multiple // 2) // multiple)


class Misreading(Closed):
    """How often a test shows what there is: fixed, and varied to see what hangs on it."""

    sensitivity: float = Field(gt=0.5, lt=1, description="Positive where vertigo is unresolved")
    specificity: float = Field(gt=0.5, lt=1, description="Negative where it is resolved")
    varied: tuple[tuple[float, float], ...] = Field(
        description="Other pairs of sensitivity and specificity under which the answer is given too"
    )


class Study(Closed):
    """`config/study.yaml`: the plan that was fixed before the data were seen."""

    title: str
    seed: int
    resolution: Resolution
    guards: Guards
    variants: dict[str, Variant] = Field(
        description="Variants by name, of which each analysis names those that it takes"
    )
    curves: Curves
    misreading: Misreading
    regression: Regression
    attempt_success: AttemptSuccess
    first_choice: FirstChoice
    second_line: SecondLine
    strategies: Strategies
    handicap: Handicap
    recurrence: Recurrence
    non_positional: NonPositional
    site_pooling: SitePooling
    site_monitoring: SiteMonitoring
    sensitivity: Sensitivity
    disclosure: Disclosure

    @model_validator(mode="after")
    def _courses_end_within_the_curves(self) -> "Study":
        plan = self.strategies
        last = max(*plan.days, plan.horizon_day, plan.retest_days * (plan.sessions - 1))
        if last > self.curves.horizon_day:
            raise ValueError("strategies must end at or before curves.horizon_day")
        if max(*self.first_choice.days, self.first_choice.horizon_day) > self.curves.horizon_day:
            raise ValueError("first_choice must end at or before curves.horizon_day")
        return self

    @model_validator(mode="after")
    def _variants_are_known(self) -> "Study":
        for part in ("first_choice", "second_line", "strategies"):
            if unknown := sorted(set(getattr(self, part).variants) - set(self.variants)):
                raise ValueError(f"{part}.variants: no variants of this plan: {', '.join(unknown)}")
        for one, other in combinations(self.first_choice.variants, 2):
            if self.variants[one].overlaps(self.variants[other]):
                raise ValueError(f"first_choice.variants: an episode may be {one} and {other}")
        return self

    @model_validator(mode="after")
    def _strategies_are_of_distinct_variants(self) -> "Study":
        chosen = {name: self.variants[name] for name in self.strategies.variants}
        for name, variant in chosen.items():
            if variant.canal is None or variant.is_circular:
                raise ValueError(f"strategies.variants: {name} names no canal, or is circular")
        for one, other in combinations(chosen, 2):
            same = chosen[one].values == chosen[other].values
            if same or chosen[one].overlaps(chosen[other]):
                raise ValueError(f"strategies.variants: an episode may be {one} and {other}")
        return self


class Config(Closed):
    """Everything that the analyses are told, from one folder."""

    study: Study
    maneuvers: Maneuvers
    criteria: Criteria
    failure: Failure
    published: Published
    sites: dict[str, SiteMap] = Field(
        default={}, description="Own names of tables, columns and codes, by site"
    )

    @model_validator(mode="after")
    def _own_names_of_maneuvers_are_known(self) -> "Config":
        for site, site_map in self.sites.items():
            meant = set(site_map.codes.get("treatments", {}).get("maneuver", {}).values())
            if unknown := sorted(meant - set(self.maneuvers)):
                raise ValueError(
                    f"sites/{site}.yaml: no maneuvers of maneuvers.yaml: {', '.join(unknown)}"
                )
        return self


def read_config(folder: Path) -> Config:
    """The configuration in `folder`; raises PlanFault with a sentence for each fault,
    its file and line."""
    files = {name: load_plan_file(folder / f"{name}.yaml") for name in PARTS}
    sites = read_site_maps(folder / SITES)
    try:
        return Config.model_validate(
            {name: file.content for name, file in files.items()} | {"sites": sites}
        )
    except ValidationError as error:
        raise describe_faults(error, files, Config) from None
