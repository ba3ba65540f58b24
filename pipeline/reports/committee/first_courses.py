"""What became of vertigo after each first maneuver of a variant, as it is and as if all its
patients had begun with it."""

import pandas as pd

from pipeline.reports.committee.order_readings import DAYS, POPULATION
from pipeline.reports.committee.orders import show_number
from pipeline.reports.readings import read_estimates
from pipeline.reports.wording import begin_sentence, name_value
from schemas.study import Config

STANDARDISED = "standardised_"
ALL_BEGUN = "had all begun so"
NOTE = (
    "Shares resolved and mean days with vertigo, whoever was tested and whenever, under the care "
    "that followed; in brackets 95 % confidence intervals. “Had all begun so”: as if all patients "
    "of the variant had begun with the maneuver, weighed for what was known at the choice."
)


def tabulate_courses(
    estimates: dict[str, pd.DataFrame], variant: str, config: Config
) -> dict | None:
    """Lay out the courses after the first maneuvers of one variant.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    variant
        Its code.
    config
        The plan.

    Returns
    -------
    dict or None
        {first, columns, groups, note} as of a section's table, maneuvers in the order of the plan;
        None where no maneuver has a number.
    """
    plan = config.study.first_choice
    readings = read_estimates(
        estimates, "first_courses", POPULATION, config.study.resolution.primary
    )
    terms = [*(f"resolved_by_day_{day}" for day in plan.days), DAYS]
    rows = []
    for family in dict.fromkeys(maneuver.family for maneuver in config.maneuvers.values()):
        stratum = f"variant={variant},family={family}"
        name = begin_sentence(name_value("family", family, config))
        for prefix, named in (("", name), (STANDARDISED, ALL_BEGUN)):
            told = [readings[stratum, prefix + term] for term in terms]
            if any(number.usable for number in told):
                cells = [
                    show_number(number, term) for number, term in zip(told, terms, strict=True)
                ]
                rows.append({"name": named, "cells": cells})
    if not rows:
        return None
    by_day = [f"By day {day}" for day in plan.days]
    return {
        "first": "First maneuver",
        "columns": [*by_day, f"Days of the first {plan.horizon_day}"],
        "groups": [{"heading": "", "rows": rows}],
        "note": NOTE,
    }
