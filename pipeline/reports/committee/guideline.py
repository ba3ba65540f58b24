"""What the guideline asks of the care of positional vertigo, and how often it is recorded."""

import pandas as pd

from pipeline.reports.committee.section import make_section
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import BLANK, mark_missing, say_episodes, say_share, show_share

KEY, TITLE = "guideline", "How often is on record what the guideline asks?"
MEASURES = {  # and of whom each is asked
    "dix_hallpike_both_sides": (
        "Dix-Hallpike test to both sides before the first maneuver",
        "of positional vertigo",
    ),
    "roll_both_sides": (
        "Roll test to both sides, where these showed horizontal nystagmus or none",
        "with such tests",
    ),
    "treated_on_first_day": (
        "Maneuver on the day of the first test",
        "of positional vertigo",
    ),
    "reassessed_by_day_30": (
        "Tested again, or asked about symptoms, within 30 days of the first maneuver",
        "treated",
    ),
}
SOURCE = (
    "The guideline: Bhattacharyya N et al. Otolaryngol Head Neck Surg 2017;156(3 Suppl):S1-S47. It "
    "also has recommendations on imaging and on vestibular suppressants, which clinics do not hand "
    "in."
)
UNRECORDED = (
    "A test, a maneuver or a contact that nobody recorded may have been done nevertheless: true "
    "shares are no lower."
)


def describe_guideline(estimates: dict[str, pd.DataFrame]) -> dict:
    """The section on what the guideline asks.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.

    Returns
    -------
    dict
        As `make_section` gives it.
    """
    readings = read_estimates(estimates, "quality_measures", "positional")
    shares = {term: readings["all", term] for term in MEASURES}
    if not any(share.usable or share.bounded for share in shares.values()):
        return make_section(KEY, TITLE, ["How often that was done this pool cannot tell yet."])
    rows = [
        {"name": name, "cells": [_show(shares[term]), _say_asked(shares[term], whom)]}
        for term, (name, whom) in MEASURES.items()
    ]
    both, seen = shares["dix_hallpike_both_sides"], shares["reassessed_by_day_30"]
    return make_section(
        KEY,
        TITLE,
        [_say_wait(readings), UNRECORDED],
        finding=(
            f"Dix-Hallpike tests to both sides are on record in {say_share(both)}, and a test or a "
            f"contact within a month in {say_share(seen)}."
            if both.usable and seen.usable
            else ""
        ),
        table={
            "first": "On record",
            "columns": ["Share", "Of"],
            "groups": [{"heading": "What the guideline asks", "rows": rows}],
            "note": f"Share of episodes, with its 95 % confidence interval. {SOURCE}",
        },
    )


def _show(share: Reading) -> str:
    return show_share(share) if share.usable else mark_missing(share)


def _say_asked(share: Reading, whom: str) -> str:
    """'854 episodes treated', or whom alone where the number is hidden."""
    if share.n_episodes is None:
        return f"episodes {whom}"
    return f"{say_episodes(share.n_episodes)} {whom}"


def _say_wait(readings: Readings) -> str:
    """How long it took from onset to the first maneuver."""
    low, middle, high = (
        readings["all", f"onset_to_maneuver_{part}"]
        for part in ("lower_quartile", "median", "upper_quartile")
    )
    if not (low.usable and middle.usable and high.usable):
        return ""
    whom = (
        "Where onset is recorded"
        if middle.n_episodes is None
        else f"In {say_episodes(middle.n_episodes)} treated whose onset is recorded"
    )
    return (
        f"{whom}, the first maneuver came a median of {middle.number:.0f}{BLANK}days after it "
        f"(interquartile range {low.number:.0f} to {high.number:.0f})."
    )
