"""What `config/maneuvers.yaml` says of each maneuver: what it is for, how it is usually done,
and when to be careful."""

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from schemas.criteria import Arm, Canal, Closed, Mechanism, OneOf, Standing
from schemas.synonyms import Vocabulary

CAUTION = {
    "neck": "neck disease, or little movement of the neck",
    "neck_instability": "an unstable neck, as after a fracture or in rheumatoid arthritis",
    "back": "disease of the back, or a stiff trunk",
    "hips": "stiff or painful hips",
    "knees": "knees that do not bear kneeling",
    "weight": "a body weight that makes rolling hard",
    "circulation": "poor blood flow through, or a recent tear of, the arteries of the neck",
    "lying_flat": "a heart or lungs that do not bear lying flat",
    "eye": "retinal detachment, or a recent operation on the eye",
    "ear": "a recent operation on the ear",
}
FIT = {
    "yes": "suits every variant that the tests allow",
    "no": "suits no variant that the tests allow",
    "unknown": "suits some variants that the tests allow, or too little is known",
    "not_applicable": "nothing was moved: observation or a sham maneuver",
}


USUAL = {  # column of treatments: the ends of its usual range
    "hold_s": ("hold_least_s", "hold_most_s"),
    "head_turn_deg": ("head_turn_least_deg", "head_turn_most_deg"),
    "head_hang_deg": ("head_hang_least_deg", "head_hang_most_deg"),
}


class Technique(Closed):
    """How a maneuver is usually done."""

    positions: tuple[str, ...] = Field(
        min_length=1, description="Positions of head and body in their order, in words"
    )
    hold_least_s: float | None = Field(
        default=None, gt=0, description="Shortest usual hold of each position, seconds"
    )
    hold_most_s: float | None = Field(
        default=None, gt=0, description="Longest usual hold of each position, seconds"
    )
    head_turn_least_deg: float | None = Field(
        default=None, ge=0, description="Least usual turn of the head at the start, degrees"
    )
    head_turn_most_deg: float | None = Field(
        default=None, ge=0, description="Greatest usual turn of the head at the start, degrees"
    )
    head_hang_least_deg: float | None = Field(
        default=None, ge=0, description="Least usual fall of the head below horizontal, degrees"
    )
    head_hang_most_deg: float | None = Field(
        default=None, ge=0, description="Greatest usual fall of the head below horizontal, degrees"
    )
    source: str = Field(min_length=1)
    standing: Standing

    @model_validator(mode="after")
    def _ranges_in_order(self) -> "Technique":
        for column in USUAL:
            least, most = self.find_usual(column)
            if least is not None and most is not None and least > most:
                least_name, most_name = USUAL[column]
                raise ValueError(f"{least_name} must not be above {most_name}")
        return self

    def find_usual(self, column: str) -> tuple[float | None, float | None]:
        """The ends of the usual range of a column of treatments; None where it has no such end."""
        least, most = USUAL[column]
        return getattr(self, least), getattr(self, most)


class Cautions(Closed):
    """Conditions in which a licensed practitioner thinks twice before this maneuver."""

    codes: tuple[Annotated[str, OneOf(CAUTION)], ...] = Field(min_length=1)
    source: str = Field(min_length=1)
    standing: Standing


class Maneuver(Closed):
    """One maneuver of `config/maneuvers.yaml`."""

    name: str = Field(description="Name in the literature")
    also_called: tuple[str, ...] = Field(
        default=(),
        description=(
            "Other names of it alone, common practice: a coordinator who enters one is asked"
        ),
    )
    family: str = Field(description="Maneuvers of one family are variants of one idea")
    kind: Literal["maneuver", "exercise", "observation", "sham", "unlisted"]
    canals: tuple[Canal, ...]
    arms: tuple[Arm, ...]
    mechanisms: tuple[Mechanism, ...]
    sided: bool = Field(
        description="Given for an ear, which the record must name unless it treats both at once"
    )
    treats: Literal["one_ear", "both_ears_at_once"] | None = Field(
        default=None,
        description=(
            "Ears that it can clear; empty where nothing is moved or the maneuver is not listed"
        ),
    )
    acts_days: int = Field(
        default=1,
        ge=1,
        description="On how many days it acts: a course of exercises on each of its days",
    )
    source: str
    standing: Standing
    technique: Technique | None = None
    cautions: Cautions | None = None
    alternatives: tuple[str, ...] = Field(
        default=(), description="Codes of maneuvers in use for the same variants"
    )

    @model_validator(mode="after")
    def _ears_agree(self) -> "Maneuver":
        if self.kind in ("maneuver", "exercise"):
            if self.treats is None or (self.treats == "one_ear" and not self.sided):
                raise ValueError(
                    "treats must be one_ear or both_ears_at_once, and a maneuver without a side "
                    "treats both"
                )
            if self.technique is None:
                raise ValueError("technique is missing")
        elif self.treats or self.technique or self.cautions or self.alternatives:
            raise ValueError(
                "only maneuvers and exercises have treats, technique, cautions and alternatives"
            )
        return self


def check_alternatives(maneuvers: dict[str, Maneuver]) -> dict[str, Maneuver]:
    """The same maneuvers; raises ValueError where an alternative is not listed,
    is the maneuver itself, or shares no canal."""
    for code, maneuver in maneuvers.items():
        for other in maneuver.alternatives:
            if other == code or other not in maneuvers:
                raise ValueError(
                    f"{code}: alternative {other} is not another maneuver of this list"
                )
            if not set(maneuver.canals) & set(maneuvers[other].canals):
                raise ValueError(f"{code}: alternative {other} is for no canal of it")
    return maneuvers


def check_names(maneuvers: dict[str, Maneuver]) -> dict[str, Maneuver]:
    """The same maneuvers; raises ValueError where another name could mean two of them."""
    names = [name for code, maneuver in maneuvers.items() for name in (code, *maneuver.also_called)]
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise ValueError(f"two maneuvers are called {', '.join(twice)}")
    return maneuvers


def make_maneuver_vocabulary(maneuvers: Mapping[str, Maneuver]) -> Vocabulary:
    """The codes of the list with their other names."""
    return Vocabulary(
        tuple(maneuvers), {name: code for code, m in maneuvers.items() for name in m.also_called}
    )


Maneuvers = Annotated[
    dict[str, Maneuver], AfterValidator(check_alternatives), AfterValidator(check_names)
]
