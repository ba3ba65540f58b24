"""One clinic from end to end: its records as the four typed tables of the contract,
and the truth behind them."""

from dataclasses import dataclass, replace
from itertools import chain, islice, product

import numpy as np
import pandas as pd

from schemas.columns import Table
from schemas.delivery import TABLES
from schemas.maneuver import Maneuver
from synthetic_data.clinicians import Views, draw_recognition, draw_views, record_views
from synthetic_data.contacts import add_calls, report
from synthetic_data.course import Course
from synthetic_data.draw import blank, chance
from synthetic_data.examinations import examine, tell_reasons
from synthetic_data.patients import PRESENTATIONS, SIDE_NAMES, Cases, draw_cases
from synthetic_data.scenario import OTHER_CAUSES, SCREENING, VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site
from synthetic_data.version_2 import add_history, add_minutes, add_plans_and_events
from synthetic_data.visits import Clinic

TREATED_EAR = np.array(["right", "left", "both", "none"], dtype=object)
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True)
class Records:
    """What one clinic wrote down (`tables`, typed as the models of `schemas.delivery`),
    its patients, and the truth about them (`truth`, one row per episode).
    """

    site: Site
    cases: Cases
    tables: dict[str, pd.DataFrame]
    truth: pd.DataFrame


def simulate_site(
    seed: int, scenario: Scenario, site: Site, count: int, maneuvers: dict[str, Maneuver]
) -> Records:
    """The records of one clinic with `count` episodes; the same seed and site give the same
    records, whatever the other sites.
    """
    rng = np.random.default_rng([seed, int(site.code[1:])])
    cases = draw_cases(rng, scenario, count)
    recognised_from, diagnosis = draw_recognition(rng, site, cases)
    views = draw_views(rng, site, cases, recognised_from <= 0)
    first_views = replace(views, opinion=views.opinion.copy(), side=views.side.copy())
    course = Course(rng, scenario, site, cases, maneuvers)
    clinic = Clinic(course, views, recognised_from)
    clinic.follow()
    examinations, attempts, contacts = (
        pd.concat(parts, ignore_index=True)
        for parts in (clinic.examinations, clinic.attempts, clinic.contacts)
    )
    attempts = attempts.sort_values(["case", "attempt"], ignore_index=True)
    contacts = contacts.sort_values(["case", "day"], ignore_index=True)
    attempts["side"] = TREATED_EAR[attempts["side"]]
    rows = {
        "episodes": write_episodes(rng, site, course, first_views, attempts, contacts, diagnosis),
        "examinations": examine(rng, scenario, site, cases, examinations),
        "treatments": attempts,
        "followups": report(rng, site, course, contacts),
    }
    if site.version > 1:
        own = np.random.default_rng([seed, int(site.code[1:]), 2])  # what version 2 adds
        rows["examinations"] = tell_reasons(own, rows["examinations"], examinations)
        rows["followups"] = add_calls(own, site, course, rows["followups"])
        further = np.random.default_rng([seed, int(site.code[1:]), 3])
        rows["episodes"] = add_history(further, rows["episodes"], cases)
        rows["examinations"] = add_minutes(further, rows["examinations"])
        rows["treatments"] = add_plans_and_events(further, rows["treatments"])
    codes = name_codes("EP", count)
    for name in ("examinations", "treatments", "followups"):
        rows[name] = rows[name].assign(episode_id=codes[rows[name]["case"]])
    tables = {name: model.cast(_fill_up(model, rows[name])) for name, model in TABLES.items()}
    return Records(site, cases, tables, tell_truth(site, course))


def _fill_up(model: type[Table], rows: pd.DataFrame) -> pd.DataFrame:
    """The rows with the columns that another version of the dictionary has, empty."""
    absent = model.describe_kept().keys() - set(rows)
    return rows.assign(**dict.fromkeys(sorted(absent)))


def name_codes(prefix: str, count: int) -> np.ndarray:
    """`count` pseudonyms of letters and three digits, such as EP-A042: no long run of digits,
    nothing that could be a date.
    """
    blocks = list(
        islice(
            chain.from_iterable(product(LETTERS, repeat=width) for width in (1, 2, 3)),
            count // 1000 + 1,
        )
    )
    return np.array(
        [f"{prefix}-{''.join(blocks[n // 1000])}{n % 1000:03d}" for n in range(count)], dtype=object
    )


def write_episodes(
    rng: np.random.Generator,
    site: Site,
    course: Course,
    views: Views,
    attempts: pd.DataFrame,
    contacts: pd.DataFrame,
    diagnosis: np.ndarray,
) -> pd.DataFrame:
    """The episodes table; `views` are the first working diagnoses,
    `diagnosis` what a non-positional case would be called.
    """
    cases, count = course.cases, len(course.cases)
    reclassified = contacts[contacts["ends"] == "reclassified"]
    other = np.full(count, "none", dtype=object)
    other[chance(rng, 0.01, count)] = "unknown"
    other[reclassified["case"]] = diagnosis[reclassified["case"]]
    other_day = np.full(count, np.nan)
    other_day[reclassified["case"]] = reclassified["day"]
    age = cases.age.copy()
    age[age >= 90] = 90
    onset = blank(rng, np.minimum(cases.onset_day, 0), 0.08)
    history = {"migraine_history": cases.migraine, "neck_limitation": chance(rng, 0.09, count)}
    history["osteoporosis"] = chance(rng, np.clip((age - 45) / 120, 0.02, 0.4), count)
    answers = {name: blank(rng, cases.answers[name].to_numpy(object), 0.04) for name in SCREENING}
    return pd.DataFrame(
        {
            "episode_id": name_codes("EP", count),
            "patient_id": name_codes("PT", count)[cases.person],
            "age_years": age,
            "sex": cases.sex,
            "index_year": cases.year,
            "onset_day": onset,
            "prior_episodes": blank(rng, cases.prior, 0.05),
            "cause": cases.cause,
            **{name: answer_history(rng, yes) for name, yes in history.items()},
            **record_views(rng, site, views, find_short_by_response(site, course, attempts)),
            **answers,
            "other_diagnosis": other,
            "other_diagnosis_day": other_day,
        }
    )


def answer_history(rng: np.random.Generator, yes: np.ndarray) -> np.ndarray:
    """Yes, no, unknown, or not recorded (shares invented)."""
    words = np.where(yes, "yes", "no").astype(object)
    words[chance(rng, 0.05, len(yes))] = "unknown"
    return blank(rng, words, 0.05)


def find_short_by_response(site: Site, course: Course, attempts: pd.DataFrame) -> np.ndarray:
    """True where a site that goes by response calls the arm short:
    bow-and-yaw was the last attempt and all was well a day later.

    Most of these are truly long-arm: the definitions do not agree (Ping L et al. Braz J ORL
    2022;88:733-739, against others).
    """
    short = np.zeros(len(course.cases), bool)
    if site.short_arm_basis == "treatment_response":
        last = attempts.groupby("case").tail(1)
        last = last[last["maneuver"] == "bow_and_yaw"]
        who = last["case"].to_numpy()
        short[who] = course.resolved_at[who] <= last["day"].to_numpy() + 1
    return short


def tell_truth(site: Site, course: Course) -> pd.DataFrame:
    """The planted truth, one row per episode.

    Days are continuous from day 0: `resolution_day` is when the debris (or the other cause) truly
    stopped acting, infinite if never and negative if before the first test; `switched_to` and
    `converted_to` the variant after a switch or conversion, with its day; `recurrence_day` the true
    return, infinite if there is nothing to return.
    """
    cases: Cases = course.cases
    names = np.array(PATTERN_NAMES, dtype=object)
    now, then = names[course.pattern], names[cases.pattern]
    variant = {
        part: [getattr(VARIANTS[name], part) if name in VARIANTS else "none" for name in then]
        for part in ("canal", "arm", "mechanism")
    }
    switched, converted = ~np.isnan(course.switched_at), ~np.isnan(course.converted_at)
    everyone = np.arange(len(cases))
    truth = pd.DataFrame(
        {
            "site": site.code,
            "episode_id": name_codes("EP", len(cases)),
            "pattern": then,
            **variant,
            "side": np.where(cases.positional, SIDE_NAMES[cases.side], "none"),
            "presentation": np.where(cases.positional, PRESENTATIONS[cases.presentation], "none"),
            "is_positional": np.where(cases.positional, "yes", "no"),
            "true_cause": np.where(cases.positional, "", cases.other_cause),
            "resolution_day": np.round(course.resolved_at, 3),
            "switch_day": course.switched_at,
            "switched_to": np.where(switched, now, ""),
            "conversion_day": course.converted_at,
            "converted_to": np.where(converted & ~switched, now, ""),
            "recurrence_day": np.round(course.recurs_at(everyone), 1),
            "recurrence_same_place": np.where(course.same_place, "yes", "no"),
            "frailty": np.round(cases.frailty, 4),
        }
    )
    if unknown := set(truth["true_cause"]) - {"", *OTHER_CAUSES}:
        raise ValueError(f"causes that the scenario does not know: {sorted(unknown)}")
    return truth
