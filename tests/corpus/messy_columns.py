"""Slips in whole columns: misspelt, missing, exchanged, sorted alone, in other units,
or not a column at all."""

from tests.corpus.delivery import Delivery
from tests.corpus.register import messy


def rename(delivery: Delivery, table: str, old: str, new: str) -> None:
    """Give a column another header."""
    header = delivery.tables.rows[table][0]
    header[header.index(old)] = new


def exchange(delivery: Delivery, table: str, one: str, other: str) -> None:
    """Exchange the entries of two columns."""
    first, second = delivery.tables.column(table, one), delivery.tables.column(table, other)
    for row in delivery.tables.rows[table][1:]:
        row[first], row[second] = row[second], row[first]


def sort_alone(delivery: Delivery, table: str, name: str) -> None:
    """Sort one column by itself, empty cells last."""
    at = delivery.tables.column(table, name)
    values = sorted(
        (row[at] for row in delivery.tables.rows[table][1:]),
        key=lambda value: (value is None, value or 0),
    )
    for row, value in zip(delivery.tables.rows[table][1:], values, strict=True):
        row[at] = value


@messy(["recorded_cannal", "recorded_canal"], [], 12, blocks=3)
def header_misspelt_canal(delivery):
    rename(delivery, "episodes", "recorded_canal", "recorded_cannal")


@messy(["patint_id", "patient_id"], [], 12, blocks=3)
def header_misspelt_patient(delivery):
    rename(delivery, "episodes", "patient_id", "patint_id")


@messy(["laterncy_s", "latency_s"], [], 12, blocks=3)
def header_misspelt_optional(delivery):
    rename(delivery, "examinations", "latency_s", "laterncy_s")


@messy(["adverse_event", r"\badverse\b"], [], 12, blocks=3)
def header_with_a_word_more(delivery):
    rename(delivery, "treatments", "adverse", "adverse_event")


@messy(["ear", r"\bside\b", "examinations"], [], 12, blocks=3)
def header_called_ear(delivery):
    rename(delivery, "examinations", "side", "ear")


@messy(["sex", "more than once|twice|two columns"], [], 12, blocks=3)
def column_twice(delivery):
    delivery.tables.add_column("episodes", "sex", ["female"])


@messy(["age_years", "sort|order|alone|ascending"], [], 60)
def age_sorted_alone(delivery):
    sort_alone(delivery, "episodes", "age_years")


@messy(["dhi_total", "sort|order|alone|ascending"], [], 60)
def score_sorted_alone(delivery):
    sort_alone(delivery, "followups", "dhi_total")


@messy(["latency_s", "duration_s", "exchang|swap|mixed|interchang|other way|above|longer"], [], 60)
def latency_and_duration_exchanged(delivery):
    exchange(delivery, "examinations", "latency_s", "duration_s")


@messy(["onset_day|days", "week|month|unit|7"], [], 60, silent=True)
def onset_in_weeks(delivery):
    delivery.tables.fill("episodes", "onset_day", lambda value: value and -max(1, abs(value) // 7))


@messy(["head_turn_deg", "head_hang_deg", "exchang|swap|mixed|other way"], [], 60, silent=True)
def angles_exchanged(delivery):
    exchange(delivery, "treatments", "head_turn_deg", "head_hang_deg")


@messy(["latency_s", "0|zero", "not recorded|empty"], [], 60)
def zero_for_latency_not_recorded(delivery):
    delivery.tables.fill("examinations", "latency_s", lambda value: value and 0)


@messy(["dhi_total", r"\b0\b|zero", "not recorded|empty"], [], 60)
def zero_for_score_not_recorded(delivery):
    delivery.tables.fill("followups", "dhi_total", lambda value: 0)


@messy(["head_turn_deg", r"\b0\b|zero", "not recorded|empty"], [], 60)
def zero_for_angles_not_recorded(delivery):
    for column in ("head_turn_deg", "head_hang_deg"):
        delivery.tables.fill("treatments", column, lambda value: 0)


@messy(["age_years", "year"], ["above 89", r"90\+"], 60, blocks=3)
def birth_years_instead_of_ages(delivery):
    delivery.tables.fill("episodes", "age_years", lambda age: 2024 - age)


@messy(["patient", "sex"], [], 40)
def patient_of_two_sexes(delivery):
    for row, sex in ((4, "female"), (9, "male")):
        delivery.tables.put("episodes", row, "patient_id", "P-0003")
        delivery.tables.put("episodes", row, "sex", sex)


@messy(["patient|P-0003", "overlap|same time|at once|before the other ended"], [], 40)
def episodes_of_a_patient_overlap(delivery):
    episodes_overlap(delivery)


@messy(["index_year", "first_year|last_year|submission"], [], 40, blocks=2)
def years_outside_of_submission(delivery):
    delivery.tables.fill("episodes", "index_year", lambda year: year - 12)


def episodes_overlap(delivery: Delivery) -> None:
    """Two episodes of one patient in one year, each followed for more than a year."""
    for row in (4, 9):
        delivery.tables.put("episodes", row, "patient_id", "P-0003")
        delivery.tables.put("episodes", row, "index_year", 2024)
        delivery.tables.put("episodes", row, "age_years", 61)
        delivery.tables.put("episodes", row, "sex", "female")
        name = delivery.tables.get("episodes", row, "episode_id")
        delivery.tables.rows["followups"].append(
            [name, 391, "telephone", "no", "no", 8, 1.0, "no", "completed"]
        )
