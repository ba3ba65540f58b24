"""Whether technique and the place of treatment go with how often the next test was negative."""

import pandas as pd

from pipeline.reports.committee.harm import ANY
from pipeline.reports.committee.section import make_section
from pipeline.reports.readings import Reading, read_estimates
from pipeline.reports.wording import (
    BLANK,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    say_percent,
)
from schemas.analysis import TESTS_AS_GIVEN

KEY, TITLE = "technique", "What goes with technique and place?"
POPULATION = "positional, attempts with a deciding test"
INCOMPLETE = "completed=no"
CLINIC, SUPERVISED, ALONE, VIDEO = (
    f"place={place}" for place in ("clinic", "home supervised", "home alone", "by video")
)
COMPARED = {  # what is compared with what, and in words
    INCOMPLETE: ("completed=yes", "not all positions reached, against all of them"),
    "hold=three quarters of the usual": (
        "hold=as usual",
        "held for three quarters of the usual time, against the usual time",
    ),
    "hold=half of the usual": (
        "hold=as usual",
        "held for half of the usual time, against the usual time",
    ),
    "head_turn=10 degrees off": (
        "head_turn=as usual",
        "head turned ten degrees too little or too far, against the usual turn",
    ),
    "head_turn=20 degrees off": (
        "head_turn=as usual",
        "head turned twenty degrees too little or too far, against the usual turn",
    ),
    "head_hang=10 degrees off": (
        "head_hang=as usual",
        "head hung ten degrees too little or too far, against the usual",
    ),
    "head_hang=20 degrees off": (
        "head_hang=as usual",
        "head hung twenty degrees too little or too far, against the usual",
    ),
    SUPERVISED: (CLINIC, "at home under supervision, against in the clinic"),
    ALONE: (CLINIC, "at home alone, against in the clinic"),
    VIDEO: (CLINIC, "by video, against in the clinic"),
    "place=several": (CLINIC, "in several places, against in the clinic"),
}
ASKED = {  # in the finding, in this order
    INCOMPLETE: "not all positions were reached",
    SUPERVISED: "the session was at home under supervision",
    ALONE: "the session was at home alone",
    VIDEO: "the session was by video",
}


def describe_technique(estimates: dict[str, pd.DataFrame]) -> dict:
    """The section on technique and place.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.

    Returns
    -------
    dict
        As `make_section` gives it; its finding says no more than the intervals do.
    """
    ratios = {term: _read_ratio(estimates, term) for term in COMPARED}
    avoided = read_estimates(estimates, "technique", POPULATION)["all", "failures_avoided"]
    if not (avoided.usable or any(ratio.usable for ratio in ratios.values())):
        return make_section(
            KEY,
            TITLE,
            ["Whether technique and place matter this pool cannot tell yet."],
        )
    rows = [
        {"name": begin_sentence(words), "cells": [_show_ratio(ratios[term])]}
        for term, (_, words) in COMPARED.items()
        if ratios[term].status != "absent"
    ]
    return make_section(
        KEY,
        TITLE,
        [
            _say_asked(ratios, _count_places(estimates)),
            "These are associations: a maneuver may be cut short in a patient who is unwell. Usual "
            "angles and times are largely common practice.",
        ],
        finding=_say_avoided(avoided),
        table={
            "first": "Session",
            "columns": ["Ratio"],
            "groups": [{"heading": "Negative test next", "rows": rows}],
            "note": "Ratio: of the rates at which a session was followed by a negative test, as a "
            "complementary log-log model has them; below one means less often. In brackets: 95 % "
            "confidence intervals.",
        }
        if rows
        else None,
        notes=[TESTS_AS_GIVEN],
    )


def _read_ratio(estimates: dict[str, pd.DataFrame], term: str) -> Reading:
    return read_estimates(estimates, "technique", POPULATION, comparison=COMPARED[term][0])[
        "all", term
    ]


def _say_avoided(avoided: Reading) -> str:
    """Which part of failed first sessions goes with technique that was not as usual."""
    if not avoided.usable or avoided.lower is None or avoided.upper is None:
        return "How many failed first sessions go with unusual technique this pool cannot tell yet."
    low, high = avoided.lower, avoided.upper
    if low > 0:
        return (
            f"About {say_percent(avoided.number)} (between {100 * low:.0f} and {100 * high:.0f}"
            f"{BLANK}%) of failed first sessions go with technique that was not as usual, which "
            "is an association."
        )
    return (
        "How many failed first sessions go with technique that was not as usual this pool cannot "
        f"tell yet: had it been as usual, between {_say_change(low)} and {_say_change(high)} are "
        "expected."
    )


def _say_change(part: float) -> str:
    return f"{abs(100 * part):.0f}{BLANK}% {'fewer' if part > 0 else 'more'}"


def _count_places(estimates: dict[str, pd.DataFrame]) -> dict[str, int]:
    """How many first sessions were at each place, where that may be told."""
    readings = read_estimates(estimates, "adverse_events", "positional")
    counts = {place: readings[place, ANY].n_episodes for place in (CLINIC, *ASKED)}
    return {place: number for place, number in counts.items() if number is not None}


def _say_asked(ratios: dict[str, Reading], counts: dict[str, int]) -> str:
    """Completion and place, each with a direction only where its interval excludes 1; places with
    how many first sessions were there."""
    clauses: dict[str, list[str]] = {}
    for term, words in ASKED.items():
        ratio = ratios[term]
        if ratio.status == "absent" and term in (SUPERVISED, VIDEO):
            continue
        known = [count_words(counts[term], "first session")] if term in counts else []
        if ratio.usable and ratio.lower is not None:
            known.append(f"ratio{BLANK}{ratio.number:.2f}, {_say_ends(ratio)}")
        told = f" ({', '.join(known)})" if known else ""
        clauses.setdefault(_find_direction(ratio), []).append(f"{words}{told}")
    said = [f"{direction} where {join_words(parts)}" for direction, parts in clauses.items()]
    clinic = (
        f"; places are compared with the clinic ({count_words(counts[CLINIC], 'first session')})"
        if CLINIC in counts
        else ""
    )
    return f"{begin_sentence('; '.join(said))}{clinic}."


def _find_direction(ratio: Reading) -> str:
    if not ratio.usable or ratio.lower is None or ratio.upper is None:
        return "the pool cannot tell yet"
    if ratio.upper < 1:
        return "a negative test followed less often"
    if ratio.lower > 1:
        return "a negative test followed more often"
    return "there is no clear difference"


def _say_ends(ratio: Reading) -> str:
    return f"{ratio.lower:.2f}{BLANK}to{BLANK}{ratio.upper:.2f}"


def _show_ratio(ratio: Reading) -> str:
    """'0.37 (0.18 to 0.76)'."""
    if not ratio.usable:
        return mark_missing(ratio)
    limits = "" if ratio.lower is None else f" ({_say_ends(ratio)})"
    return f"{ratio.number:.2f}{limits}"
