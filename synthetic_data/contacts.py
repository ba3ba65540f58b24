"""The rows of the followups table: what patients report at each contact, on scales and in words."""

import numpy as np
import pandas as pd

from synthetic_data.course import Course
from synthetic_data.draw import blank, chance
from synthetic_data.sites import Site

DAYS_TO_SETTLE = 20.0  # handicap and residual dizziness fade over weeks after resolution: invented
RESIDUAL = (
    # residual dizziness early after resolution; 57.5 % of 148 and 32.8 % of 64 in two series
    # (domain figures)
    0.45
)
REACHED = 0.85  # of those who are called: invented


def report(
    rng: np.random.Generator, site: Site, course: Course, contacts: pd.DataFrame
) -> pd.DataFrame:
    """One row per contact of the clinic's contacts; scales follow the true state with noise (levels
    invented)."""
    who, day, telephone = (contacts[name].to_numpy() for name in ("case", "day", "telephone"))
    count, cases = len(who), course.cases
    present, back = course.present(who, day), course.recurs_at(who) <= day
    settled = np.where(
        present, 0, np.exp(-np.maximum(day - course.resolved_at[who], 0) / DAYS_TO_SETTLE)
    )
    burden = np.where(present, 1.0, 0.2 + 0.4 * settled)
    person_level = 44 + 9 * cases.severity[who] + rng.normal(0, 8, len(cases))[who]
    handicap = np.clip(person_level * burden + rng.normal(0, 6, count), 0, 100)
    other = chance(rng, np.where(present, 0.3, RESIDUAL * settled), count)
    dhi = blank(rng, 2 * np.round(handicap / 2), 1 - site.scales)
    vas = blank(
        rng,
        np.round(np.clip(handicap / 10 + rng.normal(0, 1, count), 0, 10), 1),
        1 - 0.8 * site.scales,
    )
    vas[telephone] = np.nan
    contact = np.where(
        telephone, "telephone", np.where(chance(rng, 0.03, count), "telehealth", "clinic")
    ).astype(object)
    contact[telephone & chance(rng, 0.15, count)] = "diary"
    recurrence = answer(rng, back, np.where(back, 0.9, 0.997), count)
    recurrence[day == 0] = None
    return pd.DataFrame(
        {
            "case": who,
            "day": day,
            "contact": contact,
            "positional_symptoms": answer(rng, present, 0.96, count),
            "other_dizziness": blank(rng, answer(rng, other, 0.98, count), 0.1),
            "dhi_total": dhi,
            "vas_0_10": vas,
            "recurrence_reported": recurrence,
            "end_of_followup": contacts["ends"].to_numpy(),
        }
    )


def add_calls(
    rng: np.random.Generator, site: Site, course: Course, contacts: pd.DataFrame
) -> pd.DataFrame:
    """The contacts with a call to each on the site's fixed day, if it has one: to those who are
    still followed and are not seen or called on that day anyway; some are not reached (invented).
    """
    if site.call_day is None:
        return contacts
    day, everybody = site.call_day, np.arange(len(course.cases))
    ended = contacts.loc[contacts["end_of_followup"].ne("no") & (contacts["day"] < day), "case"]
    met = contacts.loc[contacts["day"] == day, "case"]
    due = everybody[~np.isin(everybody, [*ended, *met])]
    who = due[chance(rng, REACHED, len(due))]
    calls = pd.DataFrame(
        {
            "case": who,
            "day": day,
            "contact": "telephone",
            "positional_symptoms": answer(
                rng, course.present(who, np.full(len(who), day)), 0.96, len(who)
            ),
            "end_of_followup": "no",
        }
    )
    together = pd.concat([contacts, calls.reindex(columns=contacts.columns)])
    return together.sort_values(["case", "day"], kind="stable", ignore_index=True)


def answer(
    rng: np.random.Generator, truth: np.ndarray, right: np.ndarray | float, count: int
) -> np.ndarray:
    """Yes or no, right with probability `right`; two in a hundred are unknown (invented)."""
    answers = np.where(truth == chance(rng, right, count), "yes", "no").astype(object)
    answers[chance(rng, 0.02, count)] = "unknown"
    return answers
