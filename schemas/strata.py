"""The variables that divide the pool, with their values: what a stratum or a comparison of an
estimate can be made of.

A stratum is `all`, or parts `variable=value` with commas between; a comparison is one such part or
of COMPARED_WITH. Which variables tell sets of people apart, and which can hold of one person twice,
is told in schemas/identities.py.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import cache

from schemas import codes
from schemas.failure import VIEW


class UnknownStratum(ValueError):
    """A stratum or comparison with a variable, or a value of one, that is not declared."""


@dataclass(frozen=True)
class Variable:
    """What a variable is called in running text, and its values: codes,
    or what a whole value looks like where the plan or the data name them."""

    words: str
    values: Collection[str] | str = r"[^,=]+"

    def knows(self, value: str) -> bool:
        """Whether it can have this value."""
        return (
            bool(re.fullmatch(self.values, value))
            if isinstance(self.values, str)
            else value in self.values
        )


FAMILY = r"[a-z][a-z0-9_]*"  # a family of maneuvers of the plan
THEN, TOGETHER = " > ", " + "  # between sessions of a path, and between families of one session
NUMBER = r"\d+\+?"
VARIABLES = {
    "age": Variable("age", r"\d+-\d+|\d+\+"),
    "age_decade": Variable("age, by decade"),
    "arm": Variable("arm", codes.ARM),
    "arm_basis": Variable("definition of the short arm", codes.ARM_BASIS),
    "attempt": Variable("attempt number", NUMBER),
    "attempt_number": Variable("attempt number", NUMBER),
    "basis": Variable("definition", codes.ARM_BASIS),
    "canal": Variable("canal", codes.CANAL),
    "canal_arm": Variable("canal and arm"),
    "cause": Variable("cause", codes.CAUSE),
    "certainty": Variable("certainty", codes.CERTAINTY),
    "change_to": Variable("changed to", FAMILY),
    "completed": Variable("all positions reached", codes.YES_NO),
    "failure_duration": Variable("nystagmus at the failed examination"),
    "failure_grade": Variable("grade of vertigo at the failed examination"),
    "failure_log_duration": Variable("log duration of nystagmus at the failed examination"),
    "failure_log_velocity": Variable("log velocity of nystagmus at the failed examination"),
    "failure_velocity": Variable("velocity of nystagmus at the failed examination"),
    "failure_vertigo": Variable("vertigo at the failed examination"),
    "family": Variable("maneuver", FAMILY),
    "first_family": Variable("first maneuver"),
    "first_fit": Variable("first maneuver suited the variant"),
    "first_maneuver": Variable("first maneuver", FAMILY),
    "fit": Variable("maneuver suited the variant"),
    "head_hang": Variable("head below horizontal"),
    "head_turn": Variable("head turn"),
    "hold": Variable("hold of each position"),
    "later_flag": Variable("later flag", FAMILY),
    "measure": Variable("part of the technique", FAMILY),
    "mechanism": Variable("mechanism", codes.MECHANISM),
    "model": Variable("model", FAMILY),
    "neck_limitation": Variable("limited neck", codes.YES_NO),
    "onset": Variable("time since onset"),
    "path": Variable(
        "path", rf"(\.\.|{FAMILY})(({re.escape(THEN)}|{re.escape(TOGETHER)})(\.\.|{FAMILY}))*"
    ),
    "place": Variable(
        "where it was done", ("clinic", "home supervised", "home alone", "by video", "several")
    ),
    "planted": Variable("planted", FAMILY),
    "pool": Variable("pool", FAMILY),
    "previous": Variable("previous maneuver"),
    "prior": Variable("earlier episodes"),
    "read": Variable("read as", FAMILY),
    "reason": Variable("reason", FAMILY),
    "resolution_seen_by_then": Variable("resolution seen by then", ("no", "yes")),
    "same_visit": Variable("result in the same visit"),
    "setting": Variable("setting"),
    "sex": Variable("sex", codes.SEX),
    "side": Variable("side", codes.SIDE),
    "site": Variable("site", r"S\d{2,3}|[A-Z]{1,2}|one"),
    "strategy": Variable("order of maneuvers", rf"{FAMILY}({re.escape(THEN)}{FAMILY})*"),
    "trial": Variable("trial", FAMILY),
    "up_to_attempts": Variable("up to attempt", r"\d+"),
    "variant": Variable("variant", FAMILY),
    "variation": Variable("variation", FAMILY),
    "view": Variable("view", tuple(VIEW)),
    "wait": Variable("wait for the second session"),
}
WHOLE, LEAST, GREATEST = "all", "least", "greatest"
SMALLER_CELLS = (
    # before the variables of a table, `a x b`: all its cells that are too small for a number
    "smaller cells: "
)
COMPARED_WITH = (
    "repeat",
    "usual strategy",
    "one less",
    "one decade younger",
    "day 0",
    "resolution not seen by then",
    "no difference between classes",
    "estimate without a distribution (NPMLE)",
)


@cache
def split_stratum(stratum: str) -> dict[str, str]:
    """`canal=posterior,arm=short` as a dict; `all` as an empty one.

    The dict is shared: do not change it.
    """
    return dict(part.split("=", 1) for part in stratum.split(",") if "=" in part)


@cache
def check_stratum(stratum: str) -> None:
    """Raises UnknownStratum if it is made of anything that is not declared."""
    if stratum.startswith(SMALLER_CELLS):
        unknown = [
            name
            for name in stratum.removeprefix(SMALLER_CELLS).split(" x ")
            if name not in VARIABLES
        ]
    else:
        unknown = [
            part
            for part in stratum.split(",")
            if not (part in (WHOLE, LEAST, GREATEST) or _is_part(part))
        ]
    if unknown:
        raise UnknownStratum(
            f"schemas/strata.py declares no {unknown[0]!r}, of which the stratum {stratum!r} is "
            "made"
        )


@cache
def check_comparison(comparison: str) -> None:
    """Raises UnknownStratum if it is neither a declared part of the pool nor of COMPARED_WITH."""
    if comparison not in COMPARED_WITH and not all(map(_is_part, comparison.split(","))):
        raise UnknownStratum(f"schemas/strata.py declares no comparison with {comparison!r}")


def _is_part(part: str) -> bool:
    variable, equals, value = part.partition("=")
    return bool(equals) and variable in VARIABLES and VARIABLES[variable].knows(value)
