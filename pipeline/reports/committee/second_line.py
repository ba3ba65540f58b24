"""After a failed first maneuver: the same again, or another.

The comparison that the pool exists for, and how far it carries.

Shown together are the shares resolved by each day of the plan, the early one being what “soonest”
asks for, and the mean days with vertigo.
"""

from collections.abc import Iterable

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
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
from pipeline.reports.figures.ranges import say_kinds
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
    return make_section(
        "second-line",
        "After a failed first maneuver: repeat, or change?",
        sentences,
        finding=say_difference(compared, plan, ledger),
        figure=_draw_shares(shown, readings, compared, config) if shown else None,
        notes=[
            *(f"{begin_sentence(why)}: {'; '.join(names)}." for why, names in missing.items()),
            TESTS_AS_GIVEN if shown else "",
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
    names: dict[str, str], readings: Readings, compared: Readings, config: Config
) -> dict:
    """Both choices by each day of the plan, and of variants by the last day that has both, with
    what their difference shows above them."""
    plan, rows = config.study.second_line, []
    for stratum, name in names.items():
        told = [day for day in plan.days if _is_usable(readings, stratum, f"_day_{day}")]
        for day in told if stratum == "all" else told[-1:]:
            shares = {arm: readings[stratum, f"risk_{arm}_day_{day}"] for arm in ARMS}
            difference = compared[stratum, f"risk_difference_day_{day}"]
            apart = "" if not difference.usable else f": {_say_apart(difference)}"
            heading = f"{begin_sentence(name)}, day {day}{apart}"
            for arm, share in shares.items():
                label = f"{ARMS[arm]}{_say_size(share)}"
                rows.append(make_range(label, share, kind=arm, heading=heading))
                heading = ""
    title = f"Repeating and changing by variant, up to day {plan.days[-1]}"
    if "all" in names:
        title = headline(readings, compared, plan.days)
    unit = "share resolved, from the second session on"
    return draw_shares(rows, name="figure-second-line", title=title, unit=unit, caption=CAPTION)


def _say_apart(difference: Reading) -> str:
    return "a clear difference" if is_apart(difference) else "no clear difference"


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
