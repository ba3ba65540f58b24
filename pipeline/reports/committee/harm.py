"""Which adverse events were recorded at the first session, and how often, by maneuver; and how many
sessions with one an order of maneuvers would bring."""

import pandas as pd

from pipeline.reports.committee.order_readings import COMPARISON, POPULATION
from pipeline.reports.committee.second_line_words import is_apart
from pipeline.reports.committee.section import make_section
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
    agree,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    name_maneuver,
    say_bound,
    say_share,
    show_share,
)
from schemas.adverse import EVENTS
from schemas.strata import split_stratum
from schemas.study import Config

KEY, TITLE = "harm", "What harm was recorded?"
ANY = "adverse_any"
NOTHING = "How often maneuvers did harm this pool cannot tell yet."
BY_ORDER = "mean_sessions_with_adverse_event"
NECK = {"neck_limitation=no": "Neck not limited", "neck_limitation=yes": "Limited neck"}


def describe_harm(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The section on adverse events.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    dict
        As `make_section` gives it.
    """
    readings = read_estimates(estimates, "adverse_events", "positional")
    switched, by_order = _say_switched(estimates, config), _say_by_order(estimates, config)
    if not readings["all", ANY].usable:
        return make_section(KEY, TITLE, [NOTHING, switched, by_order])
    return make_section(
        KEY,
        TITLE,
        [
            _say_kinds(readings),
            switched,
            by_order,
            "What nobody wrote down is not counted. Who was given which maneuver was not left to "
            "chance, and exercises at home last longer than a session at a clinic: rows are no "
            "contest. For whom a maneuver is safe is decided by licensed practitioners and local "
            "rules.",
        ],
        finding=f"In {say_share(readings['all', ANY])} of first sessions an adverse event was "
        "recorded.",
        table=_tabulate(readings, config),
    )


def _say_kinds(readings: Readings) -> str:
    """Each kind of event that has a number, and which are too rare for one."""
    told, rare = [], []
    for name, event in EVENTS.items():
        reading = readings["all", f"adverse_{name}"]
        if name == "any":
            continue
        if reading.usable:
            told.append(f"{event.words} {say_share(reading)}")
        elif reading.bounded:
            rare.append(f"{event.words} {say_bound(reading)}")
    return f"{begin_sentence(join_words([*told, *rare]))}." if told or rare else ""


def _say_switched(estimates: dict[str, pd.DataFrame], config: Config) -> str:
    """How often tests saw debris move into another canal, whoever noticed it."""
    readings = read_estimates(
        estimates, "competing_events", "positional", config.study.resolution.primary
    )
    days = reversed(config.study.curves.days)
    switched = {day: readings["all", f"incidence_switched_day_{day}"] for day in days}
    for day, share in switched.items():
        if share.usable:
            return (
                "Debris was found by tests to have moved into another canal, as a first event by "
                f"day {day}, in {say_share(share)}; it can be missed where another canal was not "
                "tested."
            )
    return ""


def _say_by_order(estimates: dict[str, pd.DataFrame], config: Config) -> str:
    """How many sessions with an adverse event orders of maneuvers would bring, later ones too."""
    primary = config.study.resolution.primary
    readings = read_estimates(estimates, "strategies", POPULATION, primary)
    compared = read_estimates(estimates, "strategies", POPULATION, primary, COMPARISON)
    told = [readings[s, BY_ORDER].number for s in readings.strata() if readings[s, BY_ORDER].usable]
    if not told:
        return ""
    least, most = (f"{100 * number:.0f}" for number in (min(told), max(told)))
    span = least if least == most else f"{least} to {most}"
    differences = [compared[s, f"difference_{BY_ORDER}"] for s in compared.strata()]
    usable = [each for each in differences if each.usable]
    clear = sum(1 for each in usable if is_apart(each, 100))
    against = (
        f"; {clear or 'none'} of {count_words(len(usable), 'order')} "
        f"{agree(clear or 1, 'differs', 'differ')} clearly from the usual one"
        if usable
        else ""
    )
    return (
        f"Had 100 patients of a variant been treated by one order of maneuvers, {span} sessions "
        f"with an adverse event would be expected, by order, later ones counted too{against}."
    )


def _tabulate(readings: Readings, config: Config) -> dict | None:
    """Any event, by maneuver and by whether the neck was limited."""
    rows: dict[str, list[dict]] = {}
    for stratum in readings.strata():
        parts = split_stratum(stratum)
        reading = readings[stratum, ANY]
        if not (reading.usable or reading.bounded):
            continue
        cell = show_share(reading) if reading.usable else mark_missing(reading)
        if "family" in parts:
            name, heading = name_maneuver(parts["family"], config), "First maneuver"
        elif stratum in NECK:
            name, heading = NECK[stratum], "Neck"
        else:
            continue
        rows.setdefault(heading, []).append({"name": name, "cells": [cell]})
    if not rows:
        return None
    return {
        "first": "First session",
        "columns": ["Any adverse event"],
        "groups": [{"heading": heading, "rows": listed} for heading, listed in rows.items()],
        "note": "Share of episodes, with its 95 % confidence interval; a maneuver with too few "
        "sessions is left out.",
    }
