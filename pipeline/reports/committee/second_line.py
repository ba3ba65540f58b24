"""After a failed first maneuver: the same again, or another.

The comparison that the pool exists for, and how far it carries.

Shown together are the shares resolved by each day of the plan, the early one being what “soonest”
asks for, and the mean days with vertigo.
"""

from collections.abc import Iterable

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.committee.second_line_words import (
    headline,
    is_apart,
    say_choices,
    say_difference,
    say_e_values,
    say_effective,
    show_difference,
)
from pipeline.reports.committee.section import draw_shares, make_range, make_section
from pipeline.reports.committee.standing import CHOICE
from pipeline.reports.figures.ranges import Range, draw_ranges, say_kinds
from pipeline.reports.readings import Reading, Readings, read_estimates, subtract_printed
from pipeline.reports.wording import (
    BLANK,
    begin_sentence,
    count_words,
    mark_missing,
    name_stratum,
    say_why_missing,
    show_share,
)
from schemas.analysis import TESTS_AS_GIVEN
from schemas.strata import split_stratum
from schemas.study import Config

POPULATION = "positional, first session failed"
CAPTION = (
    f"{say_kinds(('repeat', 'change'))} Weighted so that those treated in either way are alike in "
    "what was recorded before: canal and arm, first maneuver, age, time since onset and more. What "
    "was not recorded may still differ."
)
ARMS = {"repeat": "The same again", "change": "Another maneuver"}


def describe_second_line(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Shares resolved and mean days with vertigo after repeating and after changing,
    whole and by variant, weighted; the differences in words."""
    endpoint, plan = config.study.resolution.primary, config.study.second_line
    readings = read_estimates(estimates, "second_line", POPULATION, endpoint)
    compared = _read_compared(estimates, readings, config)
    strata = {
        stratum: name for stratum in readings.strata() if (name := _name_stratum(stratum, config))
    }
    shown = {
        s: name
        for s, name in strata.items()
        if any(_is_usable(readings, s, f"_day_{day}") for day in plan.days)
    }
    missing = _group(
        (_say_why(readings, compared, s, plan.primary_day), n)
        for s, n in strata.items()
        if s not in shown
    )
    ledger = read_ledger(estimates)
    sentences = [
        say_choices(readings, ledger),
        say_effective(readings),
        *say_e_values(compared, plan.days),
        CHOICE,
    ]
    if not shown:
        sentences.append("No comparison can be made in this pool.")
    variants = [stratum for stratum in shown if stratum != "all"]
    days = _draw_days(readings, compared, plan.horizon_day) if "all" in shown else None
    return make_section(
        "second-line",
        "After a failed first maneuver: repeat or change",
        sentences,
        finding=say_difference(compared, plan, ledger),
        figure=_draw_shares("all", shown, readings, headline(readings, compared, plan.days), config)
        if "all" in shown
        else None,
        notes=[
            *(f"{begin_sentence(why)}: {'; '.join(names)}." for why, names in missing.items()),
            TESTS_AS_GIVEN if shown else "",
        ],
        panels=[
            *([days] if days else []),
            *(_draw_variant(s, shown, readings, compared, config) for s in variants),
        ],
        table=_tabulate(shown, readings, compared, config),
    )


def _read_compared(
    estimates: dict[str, pd.DataFrame], readings: Readings, config: Config
) -> Readings:
    """What is compared with repeating; differences are those of the numbers that are printed beside
    them."""
    plan = config.study.second_line
    compared = read_estimates(
        estimates, "second_line", POPULATION, config.study.resolution.primary, "repeat"
    )
    terms = {f"risk_{{}}_day_{day}": (100, 0) for day in plan.days} | {"mean_days_{}": (1, 1)}
    for stratum in compared.strata():
        for term, how in terms.items():
            first, second = (readings[stratum, term.format(arm)] for arm in ARMS)
            key = stratum, term.format("difference")
            compared[key] = subtract_printed(compared[key], first, second, *how)
    return compared


def _is_usable(readings: Readings, stratum: str, suffix: str) -> bool:
    return all(readings[stratum, f"risk_{arm}{suffix}"].usable for arm in ARMS)


def _draw_shares(
    stratum: str, names: dict[str, str], readings: Readings, title: str, config: Config
) -> dict:
    """Both arms by each day that has a number of either."""
    rows = []
    days = config.study.second_line.days
    for day in (
        d for d in days if any(readings[stratum, f"risk_{arm}_day_{d}"].usable for arm in ARMS)
    ):
        for number, (arm, name) in enumerate(ARMS.items()):
            share = readings[stratum, f"risk_{arm}_day_{day}"]
            heading = "" if number else f"{begin_sentence(names[stratum])}, within {day} days"
            rows.append(make_range(f"{name}{_say_size(share)}", share, kind=arm, heading=heading))
    key = "" if stratum == "all" else f"-{stratum.partition('=')[2].replace('_', '-')}"
    unit = "share resolved, from the second session on"
    return draw_shares(
        rows, name=f"figure-second-line{key}", title=title, unit=unit, caption=CAPTION
    )


def _draw_days(readings: Readings, compared: Readings, horizon: int) -> dict | None:
    """Mean days with vertigo of both arms, of all variants."""
    means = {arm: readings["all", f"mean_days_{arm}"] for arm in ARMS}
    if not all(mean.usable for mean in means.values()):
        return None
    rows = [
        Range(
            f"{ARMS[arm]}{_say_size(mean)}",
            _show_days(mean),
            mean.estimate,
            mean.lower,
            mean.upper,
            arm,
        )
        for arm, mean in means.items()
    ]
    verdict = (
        "a clear difference"
        if is_apart(compared["all", "mean_days_difference"])
        else "no clear difference"
    )
    title = f"Mean days with vertigo within {horizon} days of the second session: {verdict}"
    figure = make_picture(
        draw_ranges,
        rows,
        name="figure-second-line-days",
        title=title,
        description="; ".join(f"{row.label} {row.number}" for row in rows)
        + ". In brackets: 95 % confidence intervals.",
        caption=CAPTION,
        span=(0.0, float(horizon)),
        ticks={0.0: "0", horizon / 2: f"{horizon / 2:g}", float(horizon): f"{horizon}"},
        unit=f"mean days with vertigo, of the first {horizon}",
    )
    return {"name": title, "size": "", "figure": figure}


def _draw_variant(
    stratum: str, names: dict, readings: Readings, compared: Readings, config: Config
) -> dict:
    """One variant in a figure of its own; its title says on how many of the days that have a
    difference it is clear."""
    differences = [
        compared[stratum, f"risk_difference_day_{day}"] for day in config.study.second_line.days
    ]
    usable = [each for each in differences if each.usable]
    apart = sum(map(is_apart, usable))
    days = "no difference can be given"
    if usable:
        days = "no clear difference"
    if apart:
        days = f"a clear difference on {apart} of {count_words(len(usable), 'day')}"
    title = f"{begin_sentence(names[stratum])}: {days}"
    return {
        "name": title,
        "size": "",
        "figure": _draw_shares(stratum, names, readings, title, config),
    }


def _tabulate(
    names: dict[str, str], readings: Readings, compared: Readings, config: Config
) -> dict | None:
    """A part for each variant: shares by each day and mean days, after either choice,
    and their differences."""
    plan = config.study.second_line
    groups = []
    for stratum, name in names.items():
        rows = [
            {
                "name": f"Resolved within {day} days",
                "cells": [
                    *(show_share(readings[stratum, f"risk_{arm}_day_{day}"]) for arm in ARMS),
                    show_difference(compared[stratum, f"risk_difference_day_{day}"], 100, "points"),
                ],
            }
            for day in plan.days
        ]
        means = [_show_days(readings[stratum, f"mean_days_{arm}"]) for arm in ARMS]
        difference = show_difference(compared[stratum, "mean_days_difference"], 1, "days")
        rows.append(
            {
                "name": f"Mean days with vertigo, of {plan.horizon_day}",
                "cells": [*means, difference],
            }
        )
        groups.append({"heading": begin_sentence(name), "rows": rows})
    if not groups:
        return None
    note = (
        "Difference: another maneuver minus the same again, in percentage points or days, with its "
        "own 95 % confidence interval; it is called clear where that interval excludes zero."
    )
    return {
        "first": "From the second session on",
        "columns": [*ARMS.values(), "Difference"],
        "groups": groups,
        "note": note,
    }


def _show_days(mean: Reading) -> str:
    """'13.1 (7.4 to 18.7)'."""
    if not mean.usable:
        return mark_missing(mean)
    limits = "" if mean.lower is None else f" ({mean.lower:.1f}{BLANK}to{BLANK}{mean.upper:.1f})"
    return f"{mean.estimate:.1f}{limits}"


def _say_size(reading: Reading) -> str:
    return "" if reading.n_episodes is None else f": {count_words(reading.n_episodes, 'episode')}"


def _say_why(readings: Readings, compared: Readings, stratum: str, day: int) -> str:
    """Why a variant has no number; where its arms have no row at all, their difference knows."""
    repeat, change = (readings[stratum, f"risk_{arm}_day_{day}"] for arm in ARMS)
    arm = change if repeat.usable else repeat
    return say_why_missing(
        compared[stratum, f"risk_difference_day_{day}"] if arm.status == "absent" else arm
    )


def _name_stratum(stratum: str, config: Config) -> str | None:
    """What the rows of a stratum are called; None for those that are in the technical report
    only."""
    if stratum == "all":
        return "all variants"
    return name_stratum(stratum, config) if set(split_stratum(stratum)) == {"variant"} else None


def _group(missing: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    grouped: dict[str, list[str]] = {}
    for why, name in missing:
        grouped.setdefault(why, []).append(name)
    return grouped
