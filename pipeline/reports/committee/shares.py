"""Tables of shares resolved by day: a row for each part of the pool, first maneuver,
or meaning of 'resolved'."""

import pandas as pd

from pipeline.reports.committee.ledger import Ledger
from pipeline.reports.committee.resolved import (
    OF_100,
    Course,
    find_treated,
    is_told,
    read_half,
    show_half,
    show_resolved,
)
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


def tabulate_shares(course: Course, config: Config) -> list[dict]:
    """Parts of one table: the whole pool, then each way of dividing it;
    strata without any share are left out."""
    parts: dict[str, list[str]] = {}
    for stratum in list_comparable(course.model):
        variables = list_variables(stratum)
        if variables != ("first_maneuver",) and _is_shown(course.model, stratum, config):
            heading = (
                begin_sentence(" and ".join(VARIABLES.get(v, v).lower() for v in variables))
                or "Whole pool"
            )
            parts.setdefault(heading, []).append(stratum)
    return [_tabulate_part(heading, strata, course, config) for heading, strata in parts.items()]


def has_bounds(parts: list[dict]) -> bool:
    """Whether a cell gives bounds in place of a share."""
    cells = (cell for part in parts for row in part["rows"] for cell in row["cells"])
    return any(cell.endswith(OF_100) for cell in cells)


def _tabulate_part(heading: str, strata: list[str], course: Course, config: Config) -> dict:
    shown = choose_largest(course.tests, strata, MOST)
    return {
        "heading": heading,
        "rows": [_tabulate_stratum(course, stratum, config) for stratum in shown],
        "smaller": _say_smaller(len(strata) - len(shown), heading),
    }


def _say_smaller(number: int, heading: str) -> str:
    """How many subgroups are in the technical report only; nothing if none is."""
    return (
        f"{heading}: {count_words(number, 'smaller subgroup')} in the technical report only."
        if number
        else ""
    )


def tabulate_first_maneuvers(course: Course, ledger: Ledger, config: Config) -> dict:
    """Rows by the first maneuver, most used first, of whom they are,
    and the names of those without numbers."""
    strata = [s for s in course.model.strata() if list_variables(s) == ("first_maneuver",)]
    strata.sort(key=lambda s: (-(find_size(course.tests, s).n_episodes or 0), s))
    shown = [s for s in strata if _is_shown(course.model, s, config)]
    followed = ledger.find("followed")
    number = (
        f", {say_count(followed.estimate)}{ledger.say_of('followed')}"
        if followed.usable and ledger.find("complete").usable
        else ""
    )
    return {
        "base": (
            "Shares are of all who were treated; the rows count those of them who were tested "
            f"again{number}."
        ),
        "rows": [_tabulate_stratum(course, s, config) for s in shown[:MOST]],
        "missing": [name_stratum(s, config) for s in strata if s not in shown],
        "smaller": _say_smaller(len(shown[MOST:]), "First maneuver"),
    }


def tabulate_endpoints(estimates: dict[str, pd.DataFrame], config: Config) -> list[dict]:
    """By which day tests or reports showed it, for every estimated meaning of 'resolved',
    the primary one first; nothing if none has a share."""
    rows, has_share = [], False
    for endpoint in sorted(
        codes.ENDPOINT, key=lambda name: name != config.study.resolution.primary
    ):
        readings = read_estimates(estimates, "resolution_curves", "positional", endpoint)
        if readings.of("all"):
            rows.append(
                {
                    "name": SHORT["endpoint"][endpoint],
                    "cells": [*_show_size(readings, "all"), *_show_tests(readings, config)],
                }
            )
            has_share = has_share or any(
                readings["all", f"resolved_by_day_{day}"].usable for day in config.study.curves.days
            )
    return rows if has_share else []


def list_columns(config: Config) -> list[str]:
    """What stands over the cells of every row of these tables."""
    return [
        "Episodes",
        "Sites",
        *(f"By day {day}" for day in config.study.curves.days),
        "Half by day",
    ]


def _show_median(reading: Reading) -> str:
    """'5 (4 to 7)', in days; a limit that was not reached says so."""
    if reading.status == "not_identified":
        return "not reached"
    if not reading.usable:
        return mark_missing(reading)
    if reading.lower is None:
        return f"{reading.estimate:.0f}"
    upper = "or later" if reading.upper is None else f"to {reading.upper:.0f}"
    return f"{reading.estimate:.0f} ({reading.lower:.0f} {upper})".replace(" ", BLANK)


def _tabulate_stratum(course: Course, stratum: str, config: Config) -> dict:
    days = config.study.curves.days
    return {
        "name": "All who were treated"
        if stratum == "all"
        else begin_sentence(name_stratum(stratum, config)),
        "cells": [
            *_show_size(course.tests, stratum, find_treated(course.model, stratum)),
            *(show_resolved(course.model, stratum, day) for day in days),
            show_half(read_half(course.model, stratum, days[-1])),
        ],
    }


def _show_size(tests: Readings, stratum: str, treated: int | None = None) -> list[str]:
    """'680 of 840': those tested again of all who were treated, as far as it is told; and sites."""
    size = find_size(tests, stratum)
    of = "" if treated is None else f"{BLANK}of{BLANK}{say_count(treated)}"
    return [say_count(size.n_episodes) + of, say_count(size.n_sites)]


def _show_tests(tests: Readings, config: Config) -> list[str]:
    """By which days tests had turned negative."""
    days = config.study.curves.days
    shares = [show_share(tests["all", f"resolved_by_day_{day}"]) for day in days]
    return [*shares, _show_median(tests["all", "median_days"])]


def _is_shown(model: Readings, stratum: str, config: Config) -> bool:
    return any(is_told(model, stratum, day) for day in config.study.curves.days)
