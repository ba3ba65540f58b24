"""The parts of the pool that have a curve: which may stand beside each other, how large they are,
why one has none."""

from pipeline.reports.readings import Reading, Readings
from pipeline.reports.wording import (
    SHORT,
    VARIABLES,
    order_stratum,
    say_why_missing,
)
from schemas import codes
from schemas.strata import split_stratum


def list_comparable(readings: Readings) -> list[str]:
    """Strata that may stand beside each other, each of the three definitions of a short arm for
    itself.

    Left out: an arm called short because it responded to a maneuver, whose response would prove
    itself; and short arms of several definitions in one, where the definitions are also given
    apart. Each way of dividing the pool stays together.
    """
    strata = readings.strata()
    pooled = {stratum.partition(",basis=")[0] for stratum in strata if ",basis=" in stratum}
    kept = [
        s
        for s in strata
        if split_stratum(s).get("basis") != "treatment_response" and s not in pooled
    ]
    order = list(VARIABLES)
    return sorted(
        kept, key=lambda s: ([order.index(v) for v in list_variables(s)], order_stratum(s))
    )


def list_variables(stratum: str) -> tuple[str, ...]:
    """The variables that divide the pool into this stratum;
    a definition of the short arm is no further variable."""
    return tuple(variable for variable in split_stratum(stratum) if variable != "basis")


def find_size(readings: Readings, stratum: str) -> Reading:
    """A reading that tells how many episodes and sites a stratum has;
    an empty one if all are hidden."""
    sized = [r for r in _list_curve_terms(readings, stratum) if r.n_episodes is not None]
    return sized[0] if sized else Reading()


def say_why_none(readings: Readings, stratum: str) -> str:
    """Why a stratum has no curve: a reason that its estimates give;
    that they are hidden says least."""
    reasons = [reading for reading in _list_curve_terms(readings, stratum) if not reading.usable]
    reasons.sort(
        key=lambda reading: (reading.status == "suppressed", reading.status, reading.note or "")
    )
    return say_why_missing(reasons[0] if reasons else Reading())


def choose_largest(readings: Readings, strata: list[str], most: int) -> list[str]:
    """At most `most` strata, those with the most episodes, in the order in which they were
    given."""
    sizes = {stratum: find_size(readings, stratum).n_episodes or 0 for stratum in strata}
    largest = sorted(strata, key=lambda stratum: (-sizes[stratum], strata.index(stratum)))[:most]
    return [stratum for stratum in strata if stratum in largest]


def say_short_arm(readings: Readings) -> list[str]:
    """How the short arm was told, where any stratum is called short;
    the definitions are never added up."""
    short = [s for s in readings.strata() if split_stratum(s).get("arm") in codes.SHORT_ARMS]
    if not short:
        return []
    sentences = [
        (
            "Three working definitions of the short arm of the posterior canal are in use, and "
            "they do not mean the same: "
        )
        + "; ".join(
            codes.ARM_BASIS[basis]
            for basis in ("sitting_up", "half_dix_hallpike", "treatment_response")
        )
        + ". They are shown apart and never added up."
    ]
    if any(split_stratum(s).get("basis") == "treatment_response" for s in short):
        sentences.append(
            f"Where an arm was called short by the {SHORT['basis']['treatment_response']}, its "
            "response is part of the definition: such episodes have no figure and no share here, "
            "and must not be compared on response."
        )
    return sentences


def choose_days(days: tuple[int, ...]) -> tuple[int, ...]:
    """The days that sentences speak of: the first one from a week on, and the last one."""
    return tuple(dict.fromkeys((next((day for day in days if day >= 7), days[-1]), days[-1])))


def _list_curve_terms(readings: Readings, stratum: str) -> list[Reading]:
    """All readings of a stratum whose sites are those of the stratum;
    those of a part known on a day may be fewer."""
    return [
        reading for term, reading in readings.of(stratum).items() if not term.startswith("known_")
    ]
