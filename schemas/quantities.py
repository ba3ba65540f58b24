"""Every number that an analysis can state: what it is, on which scale, whom it counts,
and what of it may leave.

A quantity is declared once, in schemas/declared, by the pattern of its term; whoever states,
protects or prints a number reads what it is from there. Who is counted is a set of people by name,
narrowed by the stratum: two rows that count one set, in whatever analysis, have one count, and sets
that divide, hold or add up to each other (schemas/identities.py) tell of each other.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from schemas.strata import VARIABLES


class Undeclared(Exception):
    """An analysis states a number that no declaration knows,
    so that nobody can say whom it would give away."""


@dataclass(frozen=True)
class Kind:
    """What sort of number it is.

    Attributes
    ----------
    means
        In words.
    least, most
        Ends of its scale.
    decimals
        How many leave; None: those of a share.
    counts
        Which counts leave, of "episodes" and "events".
    error
        Whether the standard error does: of a share or a mean it would tell of how many it is one.
    unit
        Its unit.
    fixed_notes
        Whether its notes are texts of the program that say nothing of the data, and leave as they
        are.
    """

    means: str
    least: float | None = None
    most: float | None = None
    decimals: int | None = 2
    counts: tuple[str, ...] = ()
    error: bool = False
    unit: str = ""
    fixed_notes: bool = False


KINDS = {
    "count": Kind("how many people", 0, None, 0, ("episodes", "events"), unit="episodes"),
    "share": Kind("part of those counted that has the event", 0, 1, None, ("episodes", "events")),
    "part": Kind("part of those counted, without how many it is", 0, 1, None, ("episodes",)),
    "session share": Kind(
        "part of the sessions of those counted that has the event", 0, 1, None, ("episodes",)
    ),
    "probability": Kind(
        "estimated part of those counted, of whom not all are known", 0, 1, None, ("episodes",)
    ),
    "modelled share": Kind("part that a model expects", 0, 1, None),
    "number": Kind("whole number of something other than people", 0, None, 0),
    "agreement": Kind("agreement beyond chance", -1, 1, 2, ("episodes",)),
    "days": Kind("days, whole or on average", 0, None, 1, ("episodes",), unit="days"),
    "sessions": Kind("sessions on average", 0, None, 1, ("episodes",), unit="sessions"),
    "years": Kind("age", 0, None, 0, ("episodes",), unit="years"),
    "points": Kind("mean of a score", 0, 100, 1, ("episodes",), unit="points"),
    "difference of points": Kind(
        "difference of two means of a score", -100, 100, 1, ("episodes",), unit="points"
    ),
    "difference of shares": Kind("difference of two shares", -1, 1, 2, ("episodes",)),
    "difference of days": Kind(
        "difference of two means of days", None, None, 1, ("episodes",), unit="days"
    ),
    "ratio": Kind("how many times as great", 0, None, 2, error=True),
    "part avoided": Kind(
        "part of events that a model expects not to have been; negative: more of them", None, 1, 2
    ),
    "coefficient": Kind("coefficient of a model", None, None, 2, error=True),
    "spread": Kind("variance, standard deviation or scale", 0, None, 2),
    "statistic": Kind("test statistic or other figure of a fit", None, None, 2),
    "difference of fits": Kind(
        "how far two programs are apart on the same rows", 0, None, 6, fixed_notes=True
    ),
    "criterion": Kind("information criterion", None, None, 1),
    "size": Kind("effective number of people", 0, None, 0),
}
OF_SESSIONS = "session share"  # one person may have several
# parts of the very people that are counted
SHARES = ("share", "part", OF_SESSIONS, "probability")


@dataclass(frozen=True)
class People:
    """A set of people.

    Attributes
    ----------
    name
        What they are called.
    by
        Variables of the stratum that narrow it; None: all of them.
    fields
        What narrows it further. It and `name` may hold the parameters of a term or stratum,
        `{endpoint}` and `{population}`.
    """

    name: str
    by: tuple[str, ...] | None = None
    fields: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Quantity:
    """One sort of row.

    Attributes
    ----------
    term, stratum
        Their patterns, of the stratum where it matters.
    kind
        Name in KINDS.
    words
        What people call it, with the parameters of the term, as `{day}`.
    episodes, events
        The people whom n_episodes counts, and those whom n_events, or a count itself, counts; None
        where nobody is counted, or where the number is an answer of a model and no count of people
        leaves.
    worth
        Where something must be given up so that a small group stays hidden, less worth goes first.
    stays
        Whether it is never released: so fine a division.
    sized
        Whether its counts leave; not where they are so near to another number.
    direction
        What a value on either side of none says.
    among
        The variances or the diagnostics, in whose tables it stands too.
    """

    term: str
    kind: str
    words: str
    episodes: People | None = None
    events: People | None = None
    stratum: str = ""
    worth: int = 1
    stays: bool = False
    sized: bool = True
    direction: str = ""
    among: str = ""

    @cached_property
    def pattern(self) -> re.Pattern:
        """What a whole term of this quantity looks like."""
        return compile_pattern(self.term)

    @cached_property
    def strata(self) -> re.Pattern:
        """What a whole stratum of this quantity looks like."""
        return compile_pattern(self.stratum) if self.stratum else re.compile(".*")


VARIANCES, DIAGNOSTICS = "variances", "diagnostics"
# what may stand for a {name} of a pattern; anything but a separator, if it is not here
PARAMETERS = {
    "day": r"\d+|…",  # … where a page says what holds of every day
    "points": r"\d+",
    "percent": r"\d+",
    "coverage": r"[\d.]+",
    "edge": r"upper|lower",
    "arm": r"repeat|change",
    "source": r"planted|found|naive",
    "when": r"before|after",
    "variable": "|".join(VARIABLES),
    "level": r".+",
    "class": r".+",
    "family": r"[^,]+",
}


def compile_pattern(template: str) -> re.Pattern:
    """The regular expression of a template such as `risk_{arm}_day_{day}`,
    with a group for each name."""
    parts = re.split(r"\{(\w+)\}", template)
    named = [
        re.escape(part) if k % 2 == 0 else f"(?P<{part}>{PARAMETERS.get(part, '[^,:=]+')})"
        for k, part in enumerate(parts)
    ]
    return re.compile("".join(named))


@dataclass(frozen=True)
class Found:
    """The quantity of one row, with the parameters that its term and stratum fill in."""

    quantity: Quantity
    parameters: Mapping[str, str]
