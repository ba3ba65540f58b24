"""What can be said of the share resolved by a day: one share with its limits, or else the bounds
that hold whatever became of those whose tests do not tell.

The share is that of the model of the days of testing (joint_resolution), of all who were treated.
The days on which tests turned negative (resolution_curves) are later, and are never told as days
of resolution.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from pipeline.reports.committee.picture import state_share
from pipeline.reports.committee.strata import find_size, list_variables
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    BLANK,
    HIDDEN,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    say_count,
    say_episodes,
    say_share,
    show_share,
)
from schemas.study import Config

BOUNDED = ((), ("canal",), ("mechanism",))  # ways of dividing the pool of which bounds are told
OF_100 = f"of{BLANK}100"  # tells bounds from confidence limits, which are in percent
WHATEVER = "whatever became of those whose tests do not tell"
WHAT_WOULD_END_IT = (
    "One telephone contact on the same day after the maneuver for everybody would end this."
)
# the records cannot tell, whereas too few people or protection are no matter of when to test
UNTOLD = ("not_identified", "too_wide")


@dataclass(frozen=True)
class Course:
    """What is told of resolution by day.

    Attributes
    ----------
    model
        Shares resolved.
    tests
        Shares whose tests had turned negative.
    """

    model: Readings
    tests: Readings


def read_course(estimates: dict[str, pd.DataFrame], config: Config) -> Course:
    """Both, by the plan's meaning of resolved."""
    primary = config.study.resolution.primary
    model, tests = (
        read_estimates(estimates, analysis, "positional", primary)
        for analysis in ("joint_resolution", "resolution_curves")
    )
    return Course(model, tests)


def read_share(model: Readings, stratum: str, day: int) -> Reading:
    """The share resolved by a day."""
    return model[stratum, f"resolved_by_day_{day}"]


def read_bounds(model: Readings, stratum: str, day: int) -> tuple[float, float] | None:
    """Read between which shares those lie whose tests do not tell.

    A hidden part counts as its limit, or as nobody, so that the bounds hold too.

    Parameters
    ----------
    model
        Readings of the curves.
    stratum
        Of whom.
    day
        By when.

    Returns
    -------
    tuple of float or None
        The least and the greatest share resolved; None where nothing is known.
    """
    if list_variables(stratum) not in BOUNDED:
        return None
    resolved, unresolved = (
        _find_least(model[stratum, f"known_{part}_by_day_{day}"])
        for part in ("resolved", "unresolved")
    )
    return (resolved, 1 - unresolved) if resolved or unresolved else None


def _find_least(part: Reading) -> float:
    """The share of a part, or the least that it can be."""
    share = part.estimate if part.usable else part.lower if part.bounded else None
    return share or 0.0


def is_told(model: Readings, stratum: str, day: int) -> bool:
    """Whether there is a share, or bounds in its place."""
    return read_share(model, stratum, day).usable or stands_in(model, stratum, day) is not None


def stands_in(model: Readings, stratum: str, day: int) -> tuple[float, float] | None:
    """The bounds of a day that has no share, nor a limit of it."""
    share = read_share(model, stratum, day)
    return None if share.usable or share.bounded else read_bounds(model, stratum, day)


def show_resolved(model: Readings, stratum: str, day: int) -> str:
    """'62 % (58 to 66)' for a table; '24 to 78 of 100' where there are only bounds, or one word
    why there is nothing."""
    bounds = stands_in(model, stratum, day)
    return show_share(read_share(model, stratum, day)) if bounds is None else _show_bounds(bounds)


def say_resolved(model: Readings, stratum: str, day: int) -> str:
    """'about 62 % (between 58 and 66 %)', 'between 24 and 78 of 100', or one word why there is
    nothing."""
    share, bounds = read_share(model, stratum, day), stands_in(model, stratum, day)
    if share.usable:
        return say_share(share)
    return mark_missing(share) if bounds is None else say_ends(bounds)


def say_parts(model: Readings, by_stratum: Mapping[str, str], day: int) -> str:
    """Shares of parts of the pool by stratum, in one sentence; what bounds are, where any is."""
    if not by_stratum:
        return ""
    bounds = any(stands_in(model, stratum, day) for stratum in by_stratum)
    what = f" Numbers “of 100” are bounds that hold {WHATEVER}." if bounds else ""
    return f"Resolved by day {day}: {join_words(by_stratum.values())}.{what}"


def state_resolved(model: Readings, stratum: str, day: int) -> str:
    """'81 % (71 to 90) resolved by day 30', or between which bounds."""
    share, event = read_share(model, stratum, day), f"resolved by day {day}"
    if share.usable:
        return state_share(share, event)
    bounds = stands_in(model, stratum, day)
    assert bounds is not None
    return f"{_show_bounds(bounds)} {event}, {WHATEVER}"


def say_untold(model: Readings, stratum: str, days: Iterable[int], whom: str = "") -> str:
    """Of the days that have no share: between which bounds it lies, and what would end this;
    nothing where all have one. `whom` says of whom, before the shares."""
    bounds_by_day = {day: bounds for day in days if (bounds := stands_in(model, stratum, day))}
    if not bounds_by_day:
        return ""
    ranges = join_words(f"by day {day} {say_ends(ends)}" for day, ends in bounds_by_day.items())
    untold = any(read_share(model, stratum, day).status in UNTOLD for day in bounds_by_day)
    return begin_sentence(
        f"{whom}{ranges} were resolved, {WHATEVER}: no single share can be given."
        f"{f' {WHAT_WOULD_END_IT}' if untold else ''}"
    )


def find_treated(model: Readings, stratum: str) -> int | None:
    """How many were treated, tested again or not; None where that is not told."""
    counts = [
        each.n_episodes for term, each in model.of(stratum).items() if term.startswith("known_")
    ]
    return next((number for number in counts if number is not None), None)


def find_sites(course: Course, stratum: str) -> int | None:
    """From how many sites they are; None where that is not told."""
    counts = [
        each.n_sites
        for term, each in course.model.of(stratum).items()
        if not term.startswith("known_") and each.n_sites is not None
    ]
    return counts[0] if counts else find_size(course.tests, stratum).n_sites


def say_size(course: Course, stratum: str) -> str:
    """'680 of 840 episodes treated were tested again, 9 sites', as far as it is told."""
    treated, tested = find_treated(course.model, stratum), find_size(course.tests, stratum)
    sites = find_sites(course, stratum)
    if treated is None:
        size = f"{say_episodes(tested.n_episodes)} tested again"
    elif tested.n_episodes is None:
        size = f"{say_episodes(treated)} treated"
    else:
        size = (
            f"{say_count(tested.n_episodes)} of {say_episodes(treated)} treated were tested again"
        )
    return size + ("" if sites is None else f", {count_words(sites, 'site')}")


def say_ends(bounds: tuple[float, float]) -> str:
    """'between 24 and 78 of 100'."""
    least, greatest = (round(100 * share) for share in bounds)
    return f"between {least} and {greatest} of 100"


def _show_bounds(bounds: tuple[float, float]) -> str:
    least, greatest = (round(100 * share) for share in bounds)
    return f"{least}{BLANK}to{BLANK}{greatest}{BLANK}{OF_100}"


@dataclass(frozen=True)
class Half:
    """The day by which half were resolved.

    Attributes
    ----------
    day
        The day; None where it is not known.
    early, late
        Its limits.
    below
        Whether fewer than half were resolved by the last day.
    why
        Why there is no day.
    """

    day: int | None = None
    early: int | None = None
    late: int | None = None
    below: bool = False
    why: str = ""


def read_half(model: Readings, stratum: str, last: int) -> Half:
    """The day by which half were resolved, read off the shares by day, its limits off theirs.

    What lies beyond a day without a share is not told.
    """
    shares = [Reading(0.0, 0.0, 0.0, status="ok")]  # nobody by day 0
    shares += [read_share(model, stratum, day) for day in range(1, last + 1)]
    has_share = [share.usable for share in shares]
    day = _find_half(share.estimate if share.usable else None for share in shares)
    if day is None and has_share[-1]:
        return Half(below=True, why=f"not by day {last}")
    untold = shares[-1] if day is None else shares[day - 1]
    if day is None or not untold.usable:
        hidden = untold.bounded or untold.status == "suppressed"
        return Half(why=HIDDEN if hidden else mark_missing(untold))
    start = max((k + 1 for k in range(day) if not has_share[k]), default=0)
    end = next((k for k in range(day, last + 1) if not has_share[k]), last + 1)
    early = _find_half(share.upper for share in shares[start:end])
    late = _find_half(share.lower for share in shares[start:end])
    return Half(
        day,
        early=None if early is None or (start and not early) else start + early,
        late=None if late is None else start + late,
    )


def _find_half(shares: Iterable[float | None]) -> int | None:
    """The first place with one half or more."""
    days = (k for k, share in enumerate(shares) if share is not None and share >= 0.5)
    return next(days, None)


def show_half(half: Half) -> str:
    """'5 (4 to 7)', in days."""
    if half.day is None:
        return half.why
    return f"{half.day}{_show_limits(half)}".replace(" ", BLANK)


def _show_limits(half: Half) -> str:
    """' (4 to 7)', as far as the limits are told."""
    if half.early is None:
        return "" if half.late is None else f" (up to {half.late})"
    return f" ({half.early} {'or later' if half.late is None else f'to {half.late}'})"
