"""What happens attempt by attempt: how often a negative test follows a treatment session, and how many sessions it takes."""

import pandas as pd

from pipeline.committee.picture import headline_share, state_share
from pipeline.committee.readings import Reading, Readings, read_estimates
from pipeline.committee.section import draw_shares, make_range, make_section, say_sites
from pipeline.committee.wording import join_words, say_count, say_share, say_why_missing

POPULATION = "positional, attempts with a deciding look"
NUMBERS = {"1": "first", "2": "second", "3": "third", "4+": "fourth or later"}
SHARES = (50, 80, 90)


def describe_attempts(estimates: dict[str, pd.DataFrame]) -> dict:
    """The share of sessions after which the next deciding look was negative, by the number of the session."""
    readings = read_estimates(estimates, "attempt_success", POPULATION)
    raw = {number: readings[f"attempt_number={number}", "success_raw"] for number in NUMBERS}
    title = "Attempt by attempt"
    if not any(reading.usable for reading in raw.values()):
        small = readings["smaller cells: attempt_number", "success_raw"]
        why = say_why_missing(small if raw["1"].status == "absent" else raw["1"])
        return make_section("attempts", title, [f"No share can be given: {why}."])
    rows = [make_range(_label_session(number, raw[number]), raw[number]) for number in NUMBERS]
    first = raw["1"]
    finding = ""
    if first.usable:
        finding = (
            f"Of {say_count(first.n_episodes)} first sessions{say_sites(first)} that were looked at afterwards, {say_share(first)} "
            "were followed by a negative test."
        )
    figure = draw_shares(
        rows,
        name="figure-attempts",
        title=_say_headline(raw),
        unit="share of sessions followed by a negative test",
        caption="A session is all maneuvers of one day; a negative test is the next deciding look.",
    )
    return make_section(
        "attempts",
        title,
        [
            "Later sessions are given to those who were still positive after earlier ones: a smaller share among them says "
            "who is left, and nothing about a maneuver.",
            _say_how_many(readings),
        ],
        finding=finding,
        figure=figure,
    )


def _label_session(number: str, reading: Reading) -> str:
    given = "" if reading.n_episodes is None else f": {reading.n_episodes:,} given"
    return f"{NUMBERS[number]} session{given}".capitalize()


def _say_headline(raw: dict[str, Reading]) -> str:
    """The first session with a share in words, the last one beside it."""
    usable = [number for number in NUMBERS if raw[number].usable]
    first = headline_share(raw[usable[0]], f"{NUMBERS[usable[0]]} sessions followed by a negative test")
    last = f"; {state_share(raw[usable[-1]], f'of {NUMBERS[usable[-1]]} ones')}" if len(usable) > 1 else ""
    return first + last


def _say_how_many(readings: Readings) -> str:
    """After how many sessions half, most and nearly all are resolved, by the model with patients and sites."""
    told = []
    for share in SHARES:
        reading = readings["model=mixed", f"attempts_to_resolve_{share}"]
        if reading.usable:
            upper = "or more" if reading.upper is None else f"to {reading.upper:.0f}"
            limits = "" if reading.lower == reading.upper else f" ({reading.lower:.0f} {upper})"
            told.append(f"{share} % after {reading.estimate:.0f}{limits}")
    if not told:
        return ""
    return (
        "A model in which patients and clinics differ expects, if sessions go on until a negative test follows, these shares to be "
        f"resolved: {join_words(told)} sessions."
    )
