"""Who is in the pool and where the episodes went: the flow, the description,
and the cases kept apart."""

import pandas as pd

from pipeline.reports.committee.ledger import Ledger, read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.committee.standing import FLOW_CAPTION
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    SHORT,
    VARIABLES,
    agree,
    begin_sentence,
    count_words,
    mark_missing,
    name_value,
    order_stratum,
    say_count,
    say_episodes,
    say_percent,
)
from schemas.study import Config

SPLITS = {  # each whole: the part that stays, and what leaves
    "handed_in": ("stored", ("refused", "set_aside")),
    "stored": ("positional", ("probable_non_positional", "undetermined")),
    "positional": (
        "followed",
        ("untreated", "incomplete_record", "never_positive", "not_tested_again"),
    ),
}
# of whom a variable is asked, where that is not the whole population
BASES = {"first_maneuver": "treated"}
MANEUVERS = 10  # first maneuvers in their table, the most used ones
TABLES = {  # what describes all stored episodes, and what only those of positional vertigo have
    "stored": ("age", "sex", "cause"),
    "positional": ("canal", "side", "arm", "arm_basis", "mechanism", "certainty", "first_maneuver"),
}


def describe_flow(estimates: dict[str, pd.DataFrame]) -> dict:
    """Where the episodes went: a figure of bars, None where nothing can be drawn, and sentences."""
    flow = read_estimates(estimates, "episode_flow", "pool")
    return {"figure": _draw_flow(flow), "sentences": _say_flow(flow)}


def _draw_flow(flow: Readings) -> dict | None:
    """The whole, then at each step what leaves and what stays: from the left edge what stays,
    after it what leaves.

    A hidden number takes no place, so that no bar's place tells it.
    """
    numbers = {term: reading.number for (_, term), reading in flow.items() if reading.usable}
    if not numbers.get("handed_in"):
        return None
    bars = [_make_bar("handed_in", flow, 0, "whole")]
    for stays, leaves in SPLITS.values():
        place = numbers.get(stays, 0)
        for term in leaves:
            bars.append(
                _make_bar(
                    term, flow, place, "apart" if term == "probable_non_positional" else "leaves"
                )
            )
            place += numbers.get(term, 0)
        bars.append(_make_bar(stays, flow, 0, "whole"))
    description = begin_sentence("; ".join(f"{bar.label} {bar.number}" for bar in bars))
    total = numbers["handed_in"]
    if "followed" in numbers:
        title = (
            f"{say_count(numbers['followed'])} of {count_words(total, 'episode')} handed in were "
            "tested again"
        )
    else:
        title = f"{count_words(total, 'episode')} handed in; how many were tested again is hidden"
    return make_picture(
        draw_bars,
        bars,
        name="figure-flow",
        title=title,
        description=f"{description}.",
        caption=FLOW_CAPTION,
        total=total,
    )


def _make_bar(term: str, flow: Readings, start: float, filling: str) -> Bar:
    reading = flow["all", term]
    number = reading.estimate if reading.usable else None
    label = mark_missing(reading) if number is None else say_count(number)
    return Bar(SHORT["flow"][term], label, start, number or None, filling)


def _say_flow(flow: Readings) -> list[str]:
    """What was handed in and stored, what makes the curves, and what is undetermined."""
    handed_in, stored, followed, undetermined = (
        flow["all", term] for term in ("handed_in", "stored", "followed", "undetermined")
    )
    if handed_in.status == "absent" or handed_in.estimate == 0:
        return ["No episodes have been handed in, so there is nothing to show yet."]
    sites = "" if stored.n_sites is None else f", from {count_words(stored.n_sites, 'site')}"
    sentences = [
        f"{_say_episodes(handed_in)} {agree(handed_in.estimate or 0, 'was', 'were')} handed in, "
        f"and {_say_episodes(stored)} stored{sites}.",
        f"{_say_episodes(followed)} of positional vertigo "
        f"{agree(followed.estimate or 0, 'was', 'were')} tested again after the first maneuver.",
    ]
    if undetermined.estimate == 0:
        return [*sentences, "No episode is undetermined."]
    return [
        *sentences,
        f"{_say_episodes(undetermined)} {agree(undetermined.estimate or 0, 'is', 'are')} "
        "undetermined: what was recorded neither meets a criterion of positional vertigo nor "
        "points elsewhere. They enter no curve, neither as resolved nor as unresolved.",
    ]


def _say_episodes(count: Reading) -> str:
    return begin_sentence(say_episodes(count.estimate if count.usable else None))


def describe_people(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Small tables of counts and shares by variable, and the ages in one sentence."""
    tables, ledger = [], read_ledger(estimates)
    for population, variables in TABLES.items():
        readings = read_estimates(estimates, "pool_description", population)
        for variable in variables:
            strata = [s for s in readings.strata() if s.startswith(f"{variable}=")]
            if strata:
                tables.append(
                    _tabulate_variable(variable, strata, readings, population, ledger, config)
                )
    return {
        "ages": _say_ages(read_estimates(estimates, "pool_description", "stored")),
        "tables": tables,
    }


def _tabulate_variable(
    variable: str,
    strata: list[str],
    readings: Readings,
    population: str,
    ledger: Ledger,
    config: Config,
) -> dict:
    """One small table, in the order of the codes; maneuvers by use,
    and the many rare ones in one row."""
    rows, rare, less = [], [], 0
    if variable == "first_maneuver":
        rare = [s for s in strata if not readings[s, "share"].usable]
        shown = sorted(
            set(strata) - set(rare), key=lambda s: (-(readings[s, "share"].n_events or 0), s)
        )
        shown, less = shown[:MANEUVERS], len(shown[MANEUVERS:])
    else:
        shown = sorted(strata, key=order_stratum)
    for stratum in shown:
        share = readings[stratum, "share"]
        number = say_count(share.n_events) if share.usable and share.n_events is not None else "–"
        cells = [number, say_percent(share.number) if share.usable else mark_missing(share)]
        rows.append(
            {
                "name": begin_sentence(name_value(variable, stratum.partition("=")[2], config)),
                "cells": cells,
            }
        )
    if less:
        rows.append(
            {"name": f"{count_words(less, 'rarer one')}: technical report", "cells": ["–", "–"]}
        )
    if rare:
        marks = {mark_missing(readings[stratum, "share"]) for stratum in rare}
        name = f"Each of {count_words(len(rare), 'other' if shown else 'maneuver')}"
        rows.append({"name": name, "cells": ["–", marks.pop() if len(marks) == 1 else "few"]})
    usable = [readings[s, "share"] for s in strata if readings[s, "share"].usable]
    of = say_of_whom(
        ledger, BASES.get(variable, population), usable[0].n_episodes if usable else None
    )
    return {"name": VARIABLES[variable], "whole": of, "rows": rows}


def say_of_whom(ledger: Ledger, base: str, number: int | None) -> str:
    """'of 854 episodes treated for positional vertigo'; of fewer than all of these where some do
    not have the value."""
    larger = ledger.find(base)
    if number is None or not larger.usable or number == larger.estimate:
        return f"of {ledger.say(base)}"
    return f"of {say_episodes(number)} that have one, out of {ledger.say(base)}"


def _say_ages(readings: Readings) -> str:
    ages = [
        readings["all", f"age_{which}"] for which in ("median", "lower_quartile", "upper_quartile")
    ]
    if not all(age.usable for age in ages):
        return ""
    median, low, high = (f"{age.estimate:.0f}" for age in ages)
    of = f"; {say_episodes(ages[0].n_episodes)}" if ages[0].n_episodes else ""
    return f"The median age was {median} years (interquartile range {low} to {high}{of})."
