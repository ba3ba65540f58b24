"""What happens attempt by attempt: how often each treatment session works, and how many it takes."""

import pandas as pd

from pipeline.committee.readings import Readings, read_estimates
from pipeline.committee.section import draw_shares, make_range, make_section, say_sites
from pipeline.committee.wording import say_count, say_share, say_why_missing

POPULATION = "positional, attempts with a deciding look"
NUMBERS = {"1": "first", "2": "second", "3": "third", "4+": "fourth or later"}
SHARES = (50, 80, 90)


def describe_attempts(estimates: dict[str, pd.DataFrame]) -> dict:
    """The share of sessions after which the next deciding look was negative, by the number of the session."""
    readings = read_estimates(estimates, "attempt_success", POPULATION)
    raw = {number: readings[f"attempt_number={number}", "success_raw"] for number in NUMBERS}
    title = "Attempt by attempt"
    if not any(reading.usable for reading in raw.values()):
        return make_section("attempts", title, [f"No share can be given: {say_why_missing(raw['1'])}."])
    rows = [make_range(f"{name} session".capitalize(), raw[number]) for number, name in NUMBERS.items()]
    first = raw["1"]
    finding = ""
    if first.usable:
        finding = (
            f"Of {say_count(first.n_episodes)} first sessions{say_sites(first)} that were looked at afterwards, {say_share(first)} "
            "were followed by a negative test."
        )
    figure = draw_shares(
        rows, key="figure-attempts", title="Share of sessions followed by a negative test", unit="share of sessions"
    )
    return make_section(
        "attempts",
        title,
        [
            "Later sessions are given to those whom earlier ones did not help: a smaller share among them says who is left, "
            "not that a maneuver wears off.",
            _say_how_many(readings),
        ],
        finding=finding,
        figure=figure,
        caption="A session is all maneuvers of one day; it worked if the next deciding look was negative. Ranges take sessions as independent.",
    )


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
    return f"If sessions followed until one worked, a model of patients and sites lets expect resolution in {', '.join(told)}."
