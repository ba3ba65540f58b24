"""Who is in the pool and where the episodes went: the flow, the description, and the cases kept apart."""

import pandas as pd

from pipeline.committee.picture import make_picture
from pipeline.committee.readings import Readings, read_estimates
from pipeline.committee.standing import FLOW_CAPTION
from pipeline.committee.wording import (
    SHORT,
    VARIABLES,
    begin_sentence,
    count_words,
    mark_missing,
    name_value,
    order_stratum,
    say_count,
    say_percent,
)
from pipeline.figures.bars import Bar, draw_bars
from schemas.study import Config

SPLITS = {  # each whole: the part that stays, and what leaves
    "handed_in": ("stored", ("refused", "set_aside")),
    "stored": ("positional", ("probable_non_positional", "undetermined")),
    "positional": ("followed", ("untreated", "incomplete_record", "never_positive", "not_looked")),
}
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
    """The whole, then at each step what leaves and what stays: from the left edge what stays, after it what leaves.

    A hidden number takes no place, so that no bar's place tells it.
    """
    numbers = {term: reading.estimate for (_, term), reading in flow.items() if reading.usable}
    if not numbers.get("handed_in"):
        return None
    bars = [_make_bar("handed_in", numbers, 0, "kept")]
    for stays, leaves in SPLITS.values():
        place = numbers.get(stays, 0)
        for term in leaves:
            bars.append(_make_bar(term, numbers, place, "apart" if term == "probable_non_positional" else "left_out"))
            place += numbers.get(term, 0)
        bars.append(_make_bar(stays, numbers, 0, "kept"))
    said = begin_sentence("; ".join(f"{bar.label} {bar.number}" for bar in bars))
    whole = numbers["handed_in"]
    if "followed" in numbers:
        title = f"Of {say_count(whole)} episodes handed in, {say_count(numbers['followed'])} are in the curves"
    else:
        title = f"{say_count(whole)} episodes were handed in; how many are in the curves is hidden"
    return make_picture(
        draw_bars, bars, name="figure-flow", title=title, told=f"{said}.", caption=FLOW_CAPTION, whole=whole
    )


def _make_bar(term: str, numbers: dict[str, float], start: float, tone: str) -> Bar:
    number = numbers.get(term)
    return Bar(SHORT["flow"][term], say_count(number), start, number or None, tone)


def _say_flow(flow: Readings) -> list[str]:
    """What was handed in and stored, what makes the curves, and what is undetermined."""
    handed_in, stored, followed, undetermined = (
        flow["all", term] for term in ("handed_in", "stored", "followed", "undetermined")
    )
    if handed_in.status == "absent" or handed_in.estimate == 0:
        return ["No episodes have been handed in, so there is nothing to show yet."]
    sites = "" if stored.n_sites is None else f", from {count_words(stored.n_sites, 'site')}"
    said = [
        f"Episodes handed in: {say_count(handed_in.estimate)}. Stored: {say_count(stored.estimate)}{sites}.",
        f"Positional vertigo, and looked at again after the first maneuver: {say_count(followed.estimate)}. "
        "These make the curves.",
    ]
    if undetermined.estimate == 0:
        return [*said, "No episode is undetermined."]
    return [
        *said,
        f"Undetermined: {say_count(undetermined.estimate)}. What was recorded of them neither meets a criterion of "
        "positional vertigo nor points elsewhere. They enter no curve, neither as resolved nor as unresolved.",
    ]


def describe_people(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Small tables of counts and shares by variable, and the ages in one sentence."""
    tables = []
    for population, variables in TABLES.items():
        readings = read_estimates(estimates, "pool_description", population)
        for variable in variables:
            strata = [s for s in readings.strata() if s.startswith(f"{variable}=")]
            if strata:
                tables.append(_tabulate_variable(variable, strata, readings, population, config))
    return {"ages": _say_ages(read_estimates(estimates, "pool_description", "stored")), "tables": tables}


def _tabulate_variable(variable: str, strata: list[str], readings: Readings, population: str, config: Config) -> dict:
    """One small table, in the order of the codes; maneuvers by use, and the many rare ones in one row."""
    rows, rare, less = [], [], 0
    if variable == "first_maneuver":
        rare = [s for s in strata if not readings[s, "share"].usable]
        shown = sorted(set(strata) - set(rare), key=lambda s: (-(readings[s, "share"].n_events or 0), s))
        shown, less = shown[:MANEUVERS], len(shown[MANEUVERS:])
    else:
        shown = sorted(strata, key=order_stratum)
    for stratum in shown:
        share = readings[stratum, "share"]
        cells = [say_count(share.n_events), say_percent(share.estimate)] if share.usable else [mark_missing(share), "–"]
        rows.append({"name": begin_sentence(name_value(variable, stratum.partition("=")[2], config)), "cells": cells})
    if less:
        rows.append({"name": f"{count_words(less, 'rarer one')}: technical report", "cells": ["–", "–"]})
    if rare:
        rows.append(
            {"name": f"Each of {count_words(len(rare), 'other' if shown else 'maneuver')}", "cells": ["hidden", "–"]}
        )
    whole = "of all stored" if population == "stored" else "of positional vertigo"
    return {"name": VARIABLES[variable], "whole": whole, "rows": rows}


def _say_ages(readings: Readings) -> str:
    ages = [readings["all", f"age_{which}"] for which in ("median", "lower_quartile", "upper_quartile")]
    if not all(age.usable for age in ages):
        return ""
    median, low, high = (f"{age.estimate:.0f}" for age in ages)
    return f"Half of the patients were {median} years or older; the middle half were between {low} and {high}."
