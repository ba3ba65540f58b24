"""Time to resolution in figures: the largest parts of the pool in one frame for each way of
dividing it, and the curve of one part by itself."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from pipeline.reports.committee.known import STRIPS_CAPTION, read_strips, say_strips
from pipeline.reports.committee.picture import find_last_usable, make_picture
from pipeline.reports.committee.resolved import (
    WHATEVER,
    Course,
    is_told,
    read_bounds,
    read_share,
    say_ends,
    say_parts,
    say_resolved,
    say_size,
    state_resolved,
)
from pipeline.reports.committee.standing import COMPARED_CAPTION, CURVE_CAPTION
from pipeline.reports.committee.strata import (
    choose_days,
    choose_largest,
    find_size,
    list_comparable,
    list_variables,
    say_short_arm,
    say_why_none,
)
from pipeline.reports.figures.compared import LOOKS, MARKS, Named, draw_compared
from pipeline.reports.figures.curves import Curve, draw_curve
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.wording import (
    begin_sentence,
    name_stratum,
    say_percent,
)
from schemas.strata import split_stratum
from schemas.study import Config

# heading of a frame: the strata of which it draws the largest, by the variables that divide them
GROUPS: dict[str, list[tuple[str, ...]]] = {
    "How soon by canal?": [("canal",)],
    "How soon by arm of the canal?": [("arm",), ("canal", "arm")],
    "How soon by mechanism?": [("mechanism",)],
}
DRAWN = len(LOOKS)  # curves in one frame, of the largest parts; more cannot be taken in
ENOUGH = 2  # reported days with a share that make a curve worth drawing
CLOSE = 9  # days nearer than this fraction of the axis leave no room for their numbers


def describe_groups(course: Course, config: Config) -> list[dict]:
    """A frame of curves for each way of dividing the pool that has strata."""
    strata = list_comparable(course.model)
    groups = {
        heading: [s for s in strata if list_variables(s) in ways]
        for heading, ways in GROUPS.items()
    }
    return [
        _describe_group(heading, here, course, config) for heading, here in groups.items() if here
    ]


def _describe_group(heading: str, strata: list[str], course: Course, config: Config) -> dict:
    """The curves of the largest parts in one frame, the sentence over them, and why the others are
    not in it."""
    certain = [stratum for stratum in strata if "unknown" not in split_stratum(stratum).values()]
    enough = [s for s in certain if count_told(course.model, s, config) >= ENOUGH]
    drawn = choose_largest(course.tests, enough, DRAWN)
    return {
        "heading": heading,
        **_say_group(certain, course, config),
        "notes": say_short_arm(course.model)
        if any("arm" in split_stratum(stratum) for stratum in strata)
        else [],
        "figure": _draw_group(drawn, course, config) if drawn else None,
        "sizes": _say_sizes(drawn, course, config),
        "missing": _list_missing([s for s in strata if s not in drawn], course.model, config),
    }


def _draw_group(strata: list[str], course: Course, config: Config) -> dict:
    """Curves of parts of the pool in one frame, with their sizes in the caption."""
    days = config.study.curves.days
    names = {stratum: begin_sentence(name_stratum(stratum, config)) for stratum in strata}
    curves = {stratum: read_curve(course, stratum, days[-1], days) for stratum in strata}
    last = {stratum: find_last(course.model, stratum, config) for stratum in strata}
    variables = "-".join(list_variables(strata[0]))
    return make_picture(
        draw_compared,
        [Named(names[s], curves[s], show_reached(course.model, s, last[s])) for s in strata],
        name=f"figure-curves-{variables}",
        title="; ".join(f"{names[s]}: {state_resolved(course.model, s, last[s])}" for s in strata),
        description=" ".join(
            f"{names[s]}: {describe_curve(course, s, curves[s], config)}" for s in strata
        ),
        caption=f"{COMPARED_CAPTION} {_say_sizes(strata, course, config)}",
        until=days[-1],
        days=days,
        ticks=choose_ticks(days, days[-1]),
    )


def _say_sizes(strata: list[str], course: Course, config: Config) -> str:
    """How many each curve of a frame is of, and how it is drawn."""
    return " ".join(
        f"{begin_sentence(name_stratum(s, config))} ({MARKS[number]}): {say_size(course, s)}."
        for number, s in enumerate(strata)
    )


def show_reached(model: Readings, stratum: str, day: int) -> str:
    """What stands at the end of a line: '82 %', with the day where it is not the last, or bounds
    in one word."""
    share = read_share(model, stratum, day)
    return f"{say_percent(share.number)}, day {day}" if share.usable else f"bounds, day {day}"


def count_told(model: Readings, stratum: str, config: Config) -> int:
    """On how many of the reported days a stratum has a share or bounds."""
    return sum(is_told(model, stratum, day) for day in config.study.curves.days)


def _list_missing(strata: list[str], model: Readings, config: Config) -> list[dict]:
    """The strata without a figure, by the reason."""
    named: dict[str, list[str]] = {}
    for stratum in strata:
        some = count_told(model, stratum, config)
        why = "only one of the reported days has a share" if some else say_why_none(model, stratum)
        why = "smaller, or not certain (technical report)" if some >= ENOUGH else why
        named.setdefault(why, []).append(name_stratum(stratum, config))
    return [{"why": begin_sentence(why), "names": "; ".join(names)} for why, names in named.items()]


def read_curve(course: Course, stratum: str, until: int, days: Sequence[int] = ()) -> Curve:
    """The curve of one stratum up to a day, as shares resolved, with bounds and strips for `days`;
    NaN on days that are not given."""
    shares = [read_share(course.model, stratum, day) for day in range(1, until + 1)]
    # "upper" is the curve of those not yet negative where nobody was tested in between
    tests = [course.tests[stratum, f"unresolved_upper_day_{day}"] for day in range(until + 1)]
    bounds = {day: read_bounds(course.model, stratum, day) for day in days}
    return Curve(
        share=_fill(0.0, shares, "estimate"),
        low=_fill(0.0, shares, "lower"),
        high=_fill(0.0, shares, "upper"),
        tests=1 - _fill(np.nan, tests, "estimate")[1:],
        bounds={day: ends for day, ends in bounds.items() if ends is not None},
        known=read_strips(course.tests, stratum, days),
    )


def _fill(first: float, readings: list[Reading], number: str) -> np.ndarray:
    """A number of each reading after a first one; NaN where there is none."""
    numbers = [getattr(reading, number) if reading.usable else None for reading in readings]
    return np.array([first, *(np.nan if each is None else each for each in numbers)])


def draw_panel(stratum: str, course: Course, config: Config) -> dict:
    """The curve of one part of the pool up to the last reported day, with the whole pool behind
    it and strips of what is known below it."""
    days = config.study.curves.days
    name = begin_sentence(name_stratum(stratum, config))
    finding = state_resolved(course.model, stratum, find_last(course.model, stratum, config))
    curve = read_curve(course, stratum, days[-1], days)
    return make_picture(
        draw_curve,
        curve,
        name="figure-curve-" + stratum.replace("=", "-").replace(",", "-").replace("_", "-"),
        title=f"{name}: {finding}",
        description=describe_curve(course, stratum, curve, config),
        caption=(
            f"{begin_sentence(say_size(course, stratum))}. {CURVE_CAPTION} Dashed: the whole pool. "
            f"{STRIPS_CAPTION}"
        ),
        until=days[-1],
        ticks=choose_ticks(days, days[-1]),
        reference=read_curve(course, "all", days[-1]),
    )


def find_last(model: Readings, stratum: str, config: Config) -> int:
    """The last reported day with a share, or else with bounds; asked only where there is one."""
    days = config.study.curves.days
    last = find_last_usable({day: read_share(model, stratum, day) for day in days})
    return last[0] if last else max(day for day in days if is_told(model, stratum, day))


def choose_ticks(days: tuple[int, ...], until: int) -> list[int]:
    """Day 0, and the reported days that leave room for a number before the next."""
    ticks = [0]
    for day in days:
        if (day - ticks[-1]) * CLOSE >= until:
            ticks.append(day)
    return ticks


def _say_group(strata: list[str], course: Course, config: Config) -> dict[str, str]:
    """What the largest parts show on the early day, as `sentence`,
    and whether their intervals overlap, as `remark`."""
    day = choose_days(config.study.curves.days)[0]
    with_share = [s for s in strata if is_told(course.model, s, day)]
    largest = sorted(with_share, key=lambda s: -(find_size(course.tests, s).n_episodes or 0))[
        :DRAWN
    ]
    if not largest:
        return {
            "sentence": f"No share resolved by day {day} can be shown for any of these subgroups.",
            "remark": "",
        }
    sentences = {
        s: f"{name_stratum(s, config)} {say_resolved(course.model, s, day)}" for s in largest
    }
    shares = [read_share(course.model, s, day) for s in largest]
    remark = _say_overlap([(share.lower, share.upper) for share in shares if share.usable])
    return {"sentence": say_parts(course.model, sentences, day), "remark": remark}


def _say_overlap(ranges: list[tuple[float | None, float | None]]) -> str:
    """What the intervals allow to be said about an order; nothing for one alone or for one
    without an end."""
    whole = [(low, high) for low, high in ranges if low is not None and high is not None]
    if len(ranges) < 2 or len(whole) < len(ranges):
        return ""
    if all(max(a[0], b[0]) <= min(a[1], b[1]) for a, b in combinations(whole, 2)):
        return "These intervals overlap: the pool does not rank these subgroups."
    return (
        "Not all of these intervals overlap. The subgroups differ in other ways too, so the "
        "figures "
        "do not say why."
    )


def describe_curve(course: Course, stratum: str, curve: Curve, config: Config) -> str:
    """The figure in words, for those who do not see it."""
    days = config.study.curves.days
    shares = [f"by day {day} {say_resolved(course.model, stratum, day)}" for day in days]
    seen = [
        f"by day {day} {say_percent(curve.tests[day])}"
        for day in days
        if not np.isnan(curve.tests[day])
    ]
    tests = f" Tests had turned negative {', '.join(seen)}." if seen else ""
    ends = [f"by day {day} {say_ends(bounds)}" for day, bounds in curve.bounds.items()]
    bounds = f" {begin_sentence(WHATEVER)}: {', '.join(ends)}." if ends else ""
    return (
        f"{begin_sentence(say_size(course, stratum))}. Resolved {', '.join(shares)}. In brackets: "
        f"95 % confidence intervals.{tests}{bounds} {say_strips(curve.known)}"
    ).strip()
