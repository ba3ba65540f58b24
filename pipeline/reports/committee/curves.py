"""Time to resolution in figures: the curve of the whole pool, and small ones of its parts,
each with its sentence."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from pipeline.reports.committee.known import LEGEND, STRIPS, STRIPS_CAPTION, read_strips, say_strips
from pipeline.reports.committee.picture import (
    find_last_usable,
    headline_share,
    make_picture,
    state_share,
)
from pipeline.reports.committee.shares import show_median
from pipeline.reports.committee.standing import CURVE_CAPTION
from pipeline.reports.committee.strata import (
    choose_days,
    choose_largest,
    find_size,
    list_comparable,
    list_variables,
    say_short_arm,
    say_size,
    say_why_none,
)
from pipeline.reports.figures.curves import Curve, draw_curve
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.wording import (
    begin_sentence,
    join_words,
    mark_missing,
    name_stratum,
    say_episodes,
    say_share,
    show_share,
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


def describe_whole(readings: Readings, config: Config) -> dict:
    """The curve of all followed episodes, with its shares and the day by which half were
    resolved."""
    curves = config.study.curves
    curve = read_curve(readings, "all", curves.horizon_day, curves.days)
    shares = [
        (f"by day {day}", show_share(readings["all", f"resolved_by_day_{day}"]))
        for day in curves.days
    ]
    figure = None
    if _count_shares(readings, "all", config) >= ENOUGH:
        day, share = _find_last(readings, "all", config)
        figure = make_picture(
            draw_curve,
            curve,
            name="figure-curve-all",
            title=headline_share(share, f"resolved by day {day}"),
            description=_describe_curve(readings, "all", curve, config),
            caption=f"All in the curves: {say_size(readings, 'all')}. {CURVE_CAPTION} {STRIPS}",
            until=curves.horizon_day,
            ticks=_choose_ticks((*curves.days, curves.horizon_day), curves.horizon_day),
            legend=LEGEND,
            size=(340, 206),
        )
    return {
        "sentence": _say_whole(readings, config),
        "figure": figure,
        "facts": [
            {"label": label, "value": value}
            for label, value in [
                *shares,
                ("half resolved by day", show_median(readings["all", "median_days"])),
            ]
        ],
        "size": say_size(readings, "all"),
    }


def describe_groups(readings: Readings, config: Config) -> list[dict]:
    """Rows of small figures, one row for each way of dividing the pool that has strata."""
    strata = list_comparable(readings)
    rows = {
        heading: [s for s in strata if list_variables(s) in ways]
        for heading, ways in GROUPS.items()
    }
    return [
        _describe_group(heading, group, readings, config)
        for heading, group in rows.items()
        if group
    ]


def _describe_group(heading: str, strata: list[str], readings: Readings, config: Config) -> dict:
    """The small figures of one row, the sentence over them, and why a stratum has none."""
    until = config.study.curves.days[-1]
    reference = read_curve(readings, "all", until)
    curves = {
        stratum: read_curve(readings, stratum, until, config.study.curves.days)
        for stratum in strata
    }
    drawn = choose_largest(
        readings, [s for s in strata if _count_shares(readings, s, config) >= ENOUGH], PANELS
    )
    certain = [stratum for stratum in strata if "unknown" not in split_stratum(stratum).values()]
    return {
        "heading": heading,
        **_say_group(certain, readings, config),
        "notes": say_short_arm(readings)
        if any("arm" in split_stratum(stratum) for stratum in strata)
        else [],
        "panels": [
            _draw_panel(stratum, curves[stratum], reference, readings, config) for stratum in drawn
        ],
        "missing": _list_missing(
            [stratum for stratum in strata if stratum not in drawn], readings, config
        ),
    }


def _count_shares(readings: Readings, stratum: str, config: Config) -> int:
    """On how many of the reported days a stratum has a share."""
    return sum(
        readings[stratum, f"resolved_by_day_{day}"].usable for day in config.study.curves.days
    )


def _list_missing(strata: list[str], readings: Readings, config: Config) -> list[dict]:
    """The strata without a figure, by the reason."""
    named: dict[str, list[str]] = {}
    for stratum in strata:
        some = _count_shares(readings, stratum, config)
        why = (
            "only one of the reported days has a share (see the table)"
            if some
            else say_why_none(readings, stratum)
        )
        why = "smaller subgroups (see the table)" if some >= ENOUGH else why
        named.setdefault(why, []).append(name_stratum(stratum, config))
    return [{"why": begin_sentence(why), "names": "; ".join(names)} for why, names in named.items()]


def read_curve(readings: Readings, stratum: str, until: int, days: Sequence[int] = ()) -> Curve:
    """The curve of one stratum up to a day, as shares resolved, with strips for `days`;
    NaN on days that are not given."""

    def read_days(bound: str, number: str) -> np.ndarray:
        days = [readings[stratum, f"unresolved_{bound}_day_{day}"] for day in range(until + 1)]
        values = [getattr(day, number) if day.usable else None for day in days]
        values[0] = days[0].estimate  # by definition, so that it has no limits
        return 1 - np.array([np.nan if value is None else value for value in values])

    return Curve(
        least=read_days("upper", "estimate"),
        most=read_days("lower", "estimate"),
        low=read_days("upper", "upper"),
        high=read_days("lower", "lower"),
        known=read_strips(readings, stratum, days),
    )


def _draw_panel(
    stratum: str, curve: Curve, reference: Curve, readings: Readings, config: Config
) -> dict:
    """One small figure up to the last reported day, with the whole pool behind it."""
    days = config.study.curves.days
    name = begin_sentence(name_stratum(stratum, config))
    day, share = _find_last(readings, stratum, config)
    share_in_words = state_share(share, f"resolved by day {day}")
    figure = make_picture(
        draw_curve,
        curve,
        name="figure-curve-" + stratum.replace("=", "-").replace(",", "-").replace("_", "-"),
        title=f"{name}: {share_in_words}",
        description=_describe_curve(readings, stratum, curve, config),
        caption=(
            f"{name}: {say_size(readings, stratum)}. {CURVE_CAPTION} Dashed: the whole pool. "
            f"{STRIPS_CAPTION}"
        ),
        until=days[-1],
        ticks=_choose_ticks(days, days[-1]),
        reference=reference,
    )
    return {
        "name": name,
        "size": f"{begin_sentence(share_in_words)}. {begin_sentence(say_size(readings, stratum))}.",
        "figure": figure,
    }


def _find_last(readings: Readings, stratum: str, config: Config) -> tuple[int, Reading]:
    """The last reported day with a share, and the share; asked only where there is one."""
    last = find_last_usable(
        {day: readings[stratum, f"resolved_by_day_{day}"] for day in config.study.curves.days}
    )
    assert last is not None
    return last


def _choose_ticks(days: tuple[int, ...], until: int) -> list[int]:
    """Day 0, and the reported days that leave room for a number before the next."""
    ticks = [0]
    for day in days:
        if (day - ticks[-1]) * CLOSE >= until:
            ticks.append(day)
    return ticks


def _say_whole(readings: Readings, config: Config) -> str:
    shares = {
        day: readings["all", f"resolved_by_day_{day}"]
        for day in choose_days(config.study.curves.days)
    }
    clauses = [f"by day {day} {say_share(share)}" for day, share in shares.items() if share.usable]
    if not clauses:
        return f"No share can be given for the whole pool: {say_why_none(readings, 'all')}."
    size = find_size(readings, "all")
    return (
        f"Of {say_episodes(size.n_episodes)} tested again after the first maneuver, "
        f"{join_words(clauses)} were resolved."
    )


def _say_group(strata: list[str], readings: Readings, config: Config) -> dict[str, str]:
    """What the largest parts show on the early day, as `sentence`,
    and whether their intervals overlap, as `remark`."""
    day = choose_days(config.study.curves.days)[0]
    shares = {
        s: readings[s, f"resolved_by_day_{day}"]
        for s in strata
        if readings[s, f"resolved_by_day_{day}"].usable
    }
    largest = sorted(shares, key=lambda s: -(find_size(readings, s).n_episodes or 0))[:SPOKEN]
    if not largest:
        return {
            "sentence": f"No share resolved by day {day} can be shown for any of these subgroups.",
            "remark": "",
        }
    clauses = join_words(f"{name_stratum(s, config)} {say_share(shares[s])}" for s in largest)
    remark = _say_overlap([(shares[s].lower, shares[s].upper) for s in largest])
    return {"sentence": f"Resolved by day {day}: {clauses}.", "remark": remark}


def _say_overlap(ranges: list[tuple[float | None, float | None]]) -> str:
    """What the intervals allow to be said about an order; nothing for one alone or for one
    without an end."""
    complete = [(low, high) for low, high in ranges if low is not None and high is not None]
    if len(ranges) < 2 or len(complete) < len(ranges):
        return ""
    if all(max(a[0], b[0]) <= min(a[1], b[1]) for a, b in combinations(complete, 2)):
        return "These intervals overlap: the pool does not rank these subgroups."
    return (
        "Not all of these intervals overlap. The subgroups differ in other ways too, so the "
        "figures "
        "do not say why."
    )


def _describe_curve(readings: Readings, stratum: str, curve: Curve, config: Config) -> str:
    """The figure in words, for those who do not see it."""
    shares = {day: readings[stratum, f"resolved_by_day_{day}"] for day in config.study.curves.days}
    clauses = [
        f"by day {day} {say_share(s) if s.usable else mark_missing(s)}" for day, s in shares.items()
    ]
    size = begin_sentence(say_size(readings, stratum))
    return (
        f"{size}. Resolved {', '.join(clauses)}. In brackets: 95 % confidence "
        f"intervals. {say_strips(curve.known)}"
    ).strip()
