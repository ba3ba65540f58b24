"""What happens attempt by attempt: how often a negative test follows a treatment session,
and how many sessions it takes."""

import pandas as pd

from pipeline.reports.committee.ledger import Ledger, read_ledger
from pipeline.reports.committee.picture import headline_share, state_share
from pipeline.reports.committee.section import draw_shares, make_range, make_section, say_sites
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    agree,
    begin_sentence,
    count_words,
    join_words,
    say_share,
    say_why_missing,
)
from schemas.analysis import TESTS_AS_GIVEN
from schemas.denominators import BASES as DENOMINATORS
from schemas.strata import SMALLER_CELLS

POPULATION = "positional, attempts with a deciding test"
NUMBERS = {"1": "first", "2": "second", "3": "third", "4+": "fourth or later"}
BASES = {
    "1": "first_sessions_tested",
    "2": "second_sessions_tested",
    "3": "third_sessions_tested",
    "4+": "later_sessions_tested",
}
SHARES = (50, 80, 90)


def describe_attempts(estimates: dict[str, pd.DataFrame]) -> dict:
    """The share of sessions after which the next deciding test was negative,
    by the number of the session."""
    readings = read_estimates(estimates, "attempt_success", POPULATION)
    raw = {number: readings[f"attempt_number={number}", "success_raw"] for number in NUMBERS}
    title = "How many sessions does it take?"
    if not any(reading.usable for reading in raw.values()):
        small = readings[f"{SMALLER_CELLS}attempt_number", "success_raw"]
        why = say_why_missing(small if raw["1"].status == "absent" else raw["1"])
        return make_section("attempts", title, [f"No share can be given: {why}."])
    ledger = read_ledger(estimates)
    rows = [make_range(_label_sessions(number, ledger), raw[number]) for number in NUMBERS]
    first, tested = raw["1"], ledger.find(BASES["1"])
    number = (
        f"Of {count_words(tested.number, 'first session')}"
        if tested.usable
        else "Of first sessions"
    )
    finding = (
        (
            f"{number}{say_sites(first)} followed by a deciding test before the next session, the "
            f"test was negative after {say_share(first)}."
        )
        if first.usable
        else ""
    )
    figure = draw_shares(
        rows,
        name="figure-attempts",
        title=_say_headline(raw),
        unit="share of tested sessions with a negative test",
        caption=(
            "A session is all maneuvers of one day. Numbers: sessions followed by a deciding test "
            "before the next one, of all that were given."
        ),
    )
    return make_section(
        "attempts",
        title,
        [
            "Later sessions are given to those who were still positive after earlier ones: a "
            "smaller share among them says who is left, and nothing about a maneuver.",
            _say_how_many(readings),
        ],
        finding=finding,
        figure=figure,
        notes=[TESTS_AS_GIVEN],
    )


def _label_sessions(number: str, ledger: Ledger) -> str:
    """'673 of 854 first sessions': how many were tested, of how many that were given."""
    if not ledger.find(BASES[number]).usable:
        return begin_sentence(f"{NUMBERS[number]} sessions")
    given = ledger.find(DENOMINATORS[BASES[number]].of)
    sessions = agree(
        (given if given.usable else ledger.find(BASES[number])).number, "session", "sessions"
    )
    return f"{ledger.say_number_of(BASES[number])} {NUMBERS[number]} {sessions}"


def _say_headline(raw: dict[str, Reading]) -> str:
    """The first session with a share in words, the last one beside it."""
    usable = [number for number in NUMBERS if raw[number].usable]
    first = headline_share(
        raw[usable[0]], f"{NUMBERS[usable[0]]} sessions followed by a negative test"
    )
    last = (
        f"; {state_share(raw[usable[-1]], f'of {NUMBERS[usable[-1]]} ones')}"
        if len(usable) > 1
        else ""
    )
    return first + last


def _say_how_many(readings: Readings) -> str:
    """After how many sessions half, most and nearly all are resolved,
    by the model with patients and sites."""
    shares = []
    for share in SHARES:
        reading = readings["model=mixed", f"attempts_to_resolve_{share}"]
        if reading.usable:
            upper = "or more" if reading.upper is None else f"to {reading.upper:.0f}"
            limits = "" if reading.lower == reading.upper else f" ({reading.lower:.0f} {upper})"
            shares.append(f"{share} % after {reading.estimate:.0f}{limits}")
    if not shares:
        return ""
    return (
        "A model in which patients and clinics differ expects, if sessions go on until a negative "
        f"test follows, these shares to be resolved: {join_words(shares)} sessions."
    )
