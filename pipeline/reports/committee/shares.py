"""Tables of shares resolved by day: a row for each part of the pool, first maneuver,
or meaning of 'resolved'."""

import pandas as pd

from pipeline.reports.committee.ledger import Ledger
from pipeline.reports.committee.strata import (
    choose_largest,
    find_size,
    list_comparable,
    list_variables,
)
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    BLANK,
    SHORT,
    VARIABLES,
    begin_sentence,
    count_words,
    mark_missing,
    name_stratum,
    say_count,
    show_share,
)
from schemas import codes
from schemas.study import Config

# rows of one way of dividing the pool, and of first maneuvers: the largest; all are in the
# technical report
MOST = 8


def tabulate_shares(readings: Readings, config: Config) -> list[dict]:
    """Parts of one table: the whole pool, then each way of dividing it;
    strata without any share are left out."""
    parts: dict[str, list[str]] = {}
    for stratum in list_comparable(readings):
        variables = list_variables(stratum)
        if variables != ("first_maneuver",) and _has_share(readings, stratum, config):
            heading = (
                begin_sentence(" and ".join(VARIABLES.get(v, v).lower() for v in variables))
                or "Whole pool"
            )
            parts.setdefault(heading, []).append(stratum)
    return [_tabulate_part(heading, strata, readings, config) for heading, strata in parts.items()]


def _tabulate_part(heading: str, strata: list[str], readings: Readings, config: Config) -> dict:
    shown = choose_largest(readings, strata, MOST)
    return {
        "heading": heading,
        "rows": [_tabulate_stratum(readings, stratum, config) for stratum in shown],
        "smaller": _say_smaller(len(strata) - len(shown), heading),
    }


def _say_smaller(number: int, heading: str) -> str:
    """How many subgroups are in the technical report only; nothing if none is."""
    return (
        f"{heading}: {count_words(number, 'smaller subgroup')} in the technical report only."
        if number
        else ""
    )


def tabulate_first_maneuvers(readings: Readings, ledger: Ledger, config: Config) -> dict:
    """Rows by the first maneuver, most used first, of whom they are,
    and the names of those without numbers."""
    strata = [s for s in readings.strata() if list_variables(s) == ("first_maneuver",)]
    strata.sort(key=lambda s: (-(find_size(readings, s).n_episodes or 0), s))
    with_share = [s for s in strata if _has_share(readings, s, config)]
    followed, treated = ledger.find("followed"), ledger.find("treated")
    number = (
        f", {say_count(followed.estimate)} of {ledger.say('treated')}"
        if followed.usable and treated.usable
        else ""
    )
    return {
        "base": (
            f"The rows count the episodes in the curves{number}. “Who is in the pool” counts all "
            "who were treated."
        ),
        "rows": [_tabulate_stratum(readings, s, config) for s in with_share[:MOST]],
        "missing": [name_stratum(s, config) for s in strata if s not in with_share],
        "smaller": _say_smaller(len(with_share[MOST:]), "First maneuver"),
    }


def tabulate_endpoints(estimates: dict[str, pd.DataFrame], config: Config) -> list[dict]:
    """The whole pool by every estimated meaning of 'resolved', the primary one first;
    nothing if none has a share."""
    rows, has_share = [], False
    for endpoint in sorted(
        codes.ENDPOINT, key=lambda name: name != config.study.resolution.primary
    ):
        readings = read_estimates(estimates, "resolution_curves", "positional", endpoint)
        if readings.of("all"):
            rows.append(
                _tabulate_stratum(readings, "all", config) | {"name": SHORT["endpoint"][endpoint]}
            )
            has_share = has_share or _has_share(readings, "all", config)
    return rows if has_share else []


def list_columns(config: Config) -> list[str]:
    """What stands over the cells of every row of these tables."""
    return [
        "Episodes",
        "Sites",
        *(f"By day {day}" for day in config.study.curves.days),
        "Half by day",
    ]


def show_median(reading: Reading) -> str:
    """'5 (4 to 7)', in days; a limit that was not reached says so."""
    if reading.status == "not_identified":
        return "not reached"
    if not reading.usable:
        return mark_missing(reading)
    if reading.lower is None:
        return f"{reading.estimate:.0f}"
    upper = "or later" if reading.upper is None else f"to {reading.upper:.0f}"
    return f"{reading.estimate:.0f} ({reading.lower:.0f} {upper})".replace(" ", BLANK)


def _tabulate_stratum(readings: Readings, stratum: str, config: Config) -> dict:
    size = find_size(readings, stratum)
    shares = [
        show_share(readings[stratum, f"resolved_by_day_{day}"]) for day in config.study.curves.days
    ]
    return {
        "name": "All in the curves"
        if stratum == "all"
        else begin_sentence(name_stratum(stratum, config)),
        "cells": [
            say_count(size.n_episodes),
            say_count(size.n_sites),
            *shares,
            show_median(readings[stratum, "median_days"]),
        ],
    }


def _has_share(readings: Readings, stratum: str, config: Config) -> bool:
    return any(
        readings[stratum, f"resolved_by_day_{day}"].usable for day in config.study.curves.days
    )
