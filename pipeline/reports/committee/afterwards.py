"""After the maneuvers: handicap over time, and how often positional vertigo recurs."""

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from pipeline.reports.committee.picture import find_last_usable, headline_share, make_picture
from pipeline.reports.committee.section import draw_shares, make_range, make_section, say_sites
from pipeline.reports.committee.strata import choose_largest
from pipeline.reports.figures.ranges import Range, draw_ranges
from pipeline.reports.readings import (
    Reading,
    Readings,
    as_printed,
    read_estimates,
    subtract_printed,
)
from pipeline.reports.wording import (
    BLANK,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    name_stratum,
    say_episodes,
    say_share,
    say_why_missing,
)
from schemas.analysis import TESTS_AS_GIVEN
from schemas.study import Config

PARTS = 6  # subgroups in the figure of recurrences, the largest ones
SCALE = {"span": (0.0, 100.0), "ticks": {0.0: "0", 50.0: "50", 100.0: "100"}}


def describe_handicap(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The mean total on day 0 and on the days of the plan, and the share that fell by each
    published important change."""
    readings = read_estimates(
        estimates, "handicap_change", "positional", config.study.resolution.primary
    )
    title, days = "How did the handicap change?", (0, *config.study.handicap.days)
    means = {day: readings["all", f"mean_day_{day}"] for day in days}
    compared = _read_changes(estimates, means, config)
    if not any(mean.usable for mean in means.values()):
        return make_section(
            "handicap", title, [f"No mean can be given: {say_why_missing(means[0])}."]
        )
    rows = [
        _make_mean("Before treatment (day 0)" if day == 0 else f"Day {day}", mean)
        for day, mean in means.items()
    ]
    figure = make_picture(
        draw_ranges,
        rows,
        name="figure-handicap",
        title=_say_headline(means),
        description="; ".join(f"{row.label} {row.number}" for row in rows)
        + ". In brackets: 95 % confidence intervals.",
        caption=f"{say_episodes(means[0].n_episodes)} with a total on day 0{say_sites(means[0])}.",
        unit="mean total, 0 to 100; more is worse",
        **SCALE,
    )
    return make_section(
        "handicap",
        title,
        [
            "Totals of the Dizziness Handicap Inventory run from 0 to 100. Sources conflict on "
            "what change is important, so both are shown: 11 points (Tamber and others 2009) and "
            "18 points (Jacobson and Newman 1990).",
            _say_falls(readings, config),
            "Not everybody filled in the questionnaire again; those who did may differ from those "
            "who did not.",
        ],
        finding=_say_change(compared),
        figure=figure,
    )


def _say_headline(means: dict[int, Reading]) -> str:
    """The mean total on the first and the last day that have one."""
    clauses = [
        (
            f"{_make_mean('', mean).number} {'before treatment' if day == 0 else f'on day {day}'}"
        ).replace(BLANK, " ")
        for day, mean in means.items()
        if mean.usable
    ]
    return "Mean handicap total: " + (
        clauses[0] if len(clauses) == 1 else f"{clauses[0]}, {clauses[-1]}"
    )


def describe_recurrence(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The share with a recurrence by day after the first resolution, as far as tests can tell."""
    readings = read_estimates(
        estimates, "recurrence", "resolved first spells", config.study.resolution.primary
    )
    title, days = "How often did it recur?", config.study.recurrence.days
    strata = [
        s
        for s in readings.strata()
        if any(readings[s, f"recurrence_free_day_{d}"].usable for d in days)
    ]
    if not strata:
        why = say_why_missing(readings["all", f"recurrence_free_day_{days[0]}"])
        return make_section("recurrence", title, [f"No share can be given: {why}."])
    returned = {day: readings["all", f"recurrence_free_day_{day}"].turned() for day in days}
    last, reading = find_last_usable(returned) or (0, Reading())
    figure = draw_shares(
        _list_returns(readings, strata, days, config),
        name="figure-recurrence",
        title=headline_share(reading, f"had a recurrence within {last} days")
        if last
        else "Recurrence by subgroup; for all together there is no share",
        unit="share with a recurrence",
        caption=(
            "Days after the first negative test. All who were resolved and tested "
            f"again{_say_of(reading)}."
        ),
    )
    return make_section(
        "recurrence",
        title,
        [
            f"Vertigo within {config.study.resolution.recurrence_gap} days counts as the same "
            "spell. Few are tested again once they are well, and those who are may have come "
            "because it recurred: the later shares rest on few.",
        ],
        finding=(
            f"Within {last} days of resolution it recurred in {say_share(reading)}"
            f"{_say_of(reading)}."
        )
        if reading.usable
        else "",
        figure=figure,
        notes=[TESTS_AS_GIVEN],
    )


def _list_returns(
    readings: Readings, strata: list[str], days: Sequence[int], config: Config
) -> list[Range]:
    """All by each day, then the largest parts by the last day that any of them has."""
    rows = [
        make_range(f"By day {day}", readings["all", f"recurrence_free_day_{day}"].turned())
        for day in days
    ]
    rows = [replace(rows[0], heading="All"), *rows[1:]] if "all" in strata else []
    parts = choose_largest(readings, [s for s in strata if s != "all"], PARTS)
    last = max(
        (d for d in days for s in parts if readings[s, f"recurrence_free_day_{d}"].usable),
        default=days[-1],
    )
    for number, stratum in enumerate(parts):
        heading = "" if number else f"Subgroups, by day {last}"
        share = readings[stratum, f"recurrence_free_day_{last}"].turned()
        rows.append(make_range(_name_part(stratum, config), share, heading=heading))
    return rows


def _say_of(reading: Reading) -> str:
    return (
        ""
        if reading.n_episodes is None
        else f" ({count_words(reading.n_episodes, 'episode')}{say_sites(reading)})"
    )


def _read_changes(
    estimates: dict[str, pd.DataFrame], means: dict[int, Reading], config: Config
) -> dict[int, Reading]:
    """Changes since day 0, which are compared with something and therefore not among the plain
    readings, as the printed means have them."""
    readings = read_estimates(
        estimates, "handicap_change", "positional", config.study.resolution.primary, "day 0"
    )
    changes = {day: readings["all", f"change_by_day_{day}"] for day in config.study.handicap.days}
    return {day: subtract_printed(change, means[0], means[day]) for day, change in changes.items()}


def _say_change(changes: dict[int, Reading]) -> str:
    """How far the mean total lies from that of day 0 on each day, in whole points,
    and in which direction where the interval allows one only."""
    usable = {
        day: change for day, change in changes.items() if change.usable and change.lower is not None
    }
    if not usable:
        return ""
    points = join_words(
        f"by day {day} it was {_say_points(change)}" for day, change in usable.items()
    )
    fell = all(as_printed(change.ends[1]) < 0 for change in usable.values())
    return (
        f"The mean total fell after the first maneuver: {points}."
        if fell
        else f"The mean total after the first maneuver: {points}."
    )


def _say_points(change: Reading) -> str:
    low, high = (as_printed(end) for end in change.ends)
    if low <= 0 <= high:
        ends = [
            f"{abs(end):.0f} points {'lower' if end < 0 else 'higher'}" if end else "the same"
            for end in (low, high)
        ]
        return f"between {ends[0]} and {ends[1]}"
    smaller, larger = sorted((abs(low), abs(high)))
    side = "lower" if high < 0 else "higher"
    return (
        f"{count_words(round(abs(change.number)), 'point')} {side} ({smaller:.0f} to {larger:.0f})"
    )


def _say_falls(readings: Readings, config: Config) -> str:
    day = (
        config.study.handicap.days[1]
        if len(config.study.handicap.days) > 1
        else config.study.handicap.days[0]
    )
    shares = [
        f"by at least {change} points in {say_share(share)}"
        for change in config.study.handicap.important_changes
        if (share := readings["all", f"fell_by_{change}_by_day_{day}"]).usable
    ]
    return f"By day {day} the total had fallen {join_words(shares)}." if shares else ""


def _make_mean(label: str, mean: Reading) -> Range:
    if not mean.usable:
        return Range(label, mark_missing(mean), None, None, None)
    number = f"{mean.estimate:.0f}" + (
        "" if mean.lower is None else f" ({mean.lower:.0f}{BLANK}to{BLANK}{mean.upper:.0f})"
    )
    return Range(label, number, mean.estimate, mean.lower, mean.upper)


def _name_part(stratum: str, config: Config) -> str:
    return "All" if stratum == "all" else begin_sentence(name_stratum(stratum, config))
