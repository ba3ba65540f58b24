"""What the guideline asks of the care of positional vertigo, and how often it is recorded."""

import pandas as pd

from pipeline.reports.committee.section import make_section
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    begin_sentence,
    mark_missing,
    say_count,
    say_share,
    show_share,
)

KEY, TITLE = "guideline", "Is what the guideline asks on record?"
MEASURES = {
    "dix_hallpike_both_sides": "Dix-Hallpike test to both sides before the first maneuver",
    "roll_both_sides": "Roll test to both sides, where these showed horizontal nystagmus or none",
    "treated_on_first_day": "Maneuver on the day of the first test",
    "reassessed_by_day_30": "Seen again or asked within 30 days, of those treated",
}
WAIT = "Days from onset to the first maneuver: median and quartiles"
UNRECORDED = "What nobody recorded may have been done: true shares are no lower."
NOTE = (
    "In brackets: 95 % confidence intervals. Guideline: Bhattacharyya N et al. Otolaryngol Head "
    "Neck Surg 2017;156(3 Suppl):S1-S47. Imaging and suppressants are not handed in."
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
        {"name": name, "cells": [_show(shares[term]), _say_size(shares[term])]}
        for term, name in MEASURES.items()
    ]
    seen = shares["reassessed_by_day_30"]
    return make_section(
        KEY,
        TITLE,
        [UNRECORDED],
        finding=f"{begin_sentence(say_share(seen))} of those treated were seen again or asked "
        "within 30 days."
        if seen.usable
        else "",
        table={
            "first": "On record",
            "columns": ["Share", "Episodes"],
            "groups": [
                {"heading": "What the guideline asks", "rows": [*rows, *_tabulate_wait(readings)]}
            ],
            "note": NOTE,
        },
    )


def _show(share: Reading) -> str:
    return show_share(share) if share.usable else mark_missing(share)


def _say_size(reading: Reading) -> str:
    """Of how many, where that may be told."""
    return say_count(reading.n_episodes)


def _tabulate_wait(readings: Readings) -> list[dict]:
    """How long it took from onset to the first maneuver."""
    low, middle, high = (
        readings["all", f"onset_to_maneuver_{part}"]
        for part in ("lower_quartile", "median", "upper_quartile")
    )
    if not (low.usable and middle.usable and high.usable):
        return []
    days = f"{middle.number:.0f} ({low.number:.0f} to {high.number:.0f})"
    return [{"name": WAIT, "cells": [days, _say_size(middle)]}]
