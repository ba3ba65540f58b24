"""Time to resolution in figures: the curve of the whole pool with what it rests on, and small ones
of its parts, each with its sentence."""

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
from pipeline.reports.committee.standing import CURVE_CAPTION
from pipeline.reports.committee.strata import (
    choose_days,
    choose_largest,
    find_size,
    list_comparable,
    list_variables,
    say_short_arm,
    say_why_none,
)
from pipeline.reports.figures.curves import Curve, draw_curve
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.wording import (
    begin_sentence,
    name_stratum,
    say_percent,
)
from schemas.strata import split_stratum
from schemas.study import Config

# heading of a row of figures: the strata it is made of, by the variables that divide them
GROUPS: dict[str, list[tuple[str, ...]]] = {
    "By canal": [("canal",)],
    "By arm of the canal": [("arm",), ("canal", "arm")],
    "By mechanism": [("mechanism",)],
}
# small figures in a row of them, of the largest parts; more cannot be taken in, and the table has
# them
PANELS = 6
# parts named in the sentence over a row of figures; the others are read from the figures
SPOKEN = 3
ENOUGH = 2  # reported days with a share that make a curve worth drawing
CLOSE = 9  # days nearer than this fraction of the axis leave no room for their numbers


def describe_groups(course: Course, config: Config) -> list[dict]:
    """Rows of small figures, one row for each way of dividing the pool that has strata."""
    strata = list_comparable(course.model)
    rows = {
        heading: [s for s in strata if list_variables(s) in ways]
        for heading, ways in GROUPS.items()
    }
    return [
        _describe_group(heading, here, course, config) for heading, here in rows.items() if here
    ]


def _describe_group(heading: str, strata: list[str], course: Course, config: Config) -> dict:
    """The small figures of one row, the sentence over them, and why a stratum has none."""
    until = config.study.curves.days[-1]
    whole = read_curve(course, "all", until)
    curves = {
        stratum: read_curve(course, stratum, until, config.study.curves.days) for stratum in strata
    }
    drawn = choose_largest(
        course.tests, [s for s in strata if count_told(course.model, s, config) >= ENOUGH], PANELS
    )
    certain = [stratum for stratum in strata if "unknown" not in split_stratum(stratum).values()]
    return {
        "heading": heading,
        **_say_group(certain, course, config),
        "notes": say_short_arm(course.model)
        if any("arm" in split_stratum(stratum) for stratum in strata)
        else [],
        "panels": [
            _draw_panel(stratum, curves[stratum], whole, course, config) for stratum in drawn
        ],
        "missing": _list_missing(
            [stratum for stratum in strata if stratum not in drawn], course.model, config
        ),
    }


def count_told(model: Readings, stratum: str, config: Config) -> int:
    """On how many of the reported days a stratum has a share or bounds."""
    return sum(is_told(model, stratum, day) for day in config.study.curves.days)


def _list_missing(strata: list[str], model: Readings, config: Config) -> list[dict]:
    """The strata without a figure, by the reason."""
    named: dict[str, list[str]] = {}
    for stratum in strata:
        some = count_told(model, stratum, config)
        why = (
            "only one of the reported days has a share (see the table)"
            if some
            else say_why_none(model, stratum)
        )
        why = "smaller subgroups (see the table)" if some >= ENOUGH else why
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


def _draw_panel(stratum: str, curve: Curve, whole: Curve, course: Course, config: Config) -> dict:
    """One small figure up to the last reported day, with the whole pool behind it."""
    days = config.study.curves.days
    name = begin_sentence(name_stratum(stratum, config))
    finding = state_resolved(course.model, stratum, find_last(course.model, stratum, config))
    size = begin_sentence(say_size(course, stratum))
    figure = make_picture(
        draw_curve,
        curve,
        name="figure-curve-" + stratum.replace("=", "-").replace(",", "-").replace("_", "-"),
        title=f"{name}: {finding}",
        description=describe_curve(course, stratum, curve, config),
        caption=(
            f"{name}: {say_size(course, stratum)}. {CURVE_CAPTION} Dashed: the whole pool. "
            f"{STRIPS_CAPTION}"
        ),
        until=days[-1],
        ticks=choose_ticks(days, days[-1]),
        reference=whole,
    )
    return {"name": name, "size": f"{begin_sentence(finding)}. {size}.", "figure": figure}


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
        :SPOKEN
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
