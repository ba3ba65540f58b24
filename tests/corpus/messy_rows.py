"""Slips in rows: totals, units, second headers, rows twice, rows that hang together wrongly."""

from tests.corpus.delivery import Delivery
from tests.corpus.register import messy

UNITS = {
    "episodes": {
        "age_years": "years",
        "index_year": "year",
        "onset_day": "days",
        "other_diagnosis_day": "days",
    },
    "examinations": {"day": "days", "latency_s": "s", "duration_s": "s", "peak_spv": "°/s"},
    "treatments": {"day": "days", "head_turn_deg": "degrees", "hold_s": "s"},
}


def column_number(delivery: Delivery, table: str, name: str) -> int:
    """Where a column stands, from 0."""
    return delivery.tables.column(table, name)


def add_summary(delivery: Delivery, table: str, label: str, of: dict[str, object]) -> None:
    """A last row with a label in its first cell and values below some columns."""
    rows = delivery.tables.rows[table]
    row = [None] * len(rows[0])
    row[0] = label
    for name, value in of.items():
        row[column_number(delivery, table, name)] = value
    rows.append(row)


def sum_of(delivery: Delivery, table: str, name: str) -> float:
    """The sum of a column."""
    at = column_number(delivery, table, name)
    return sum(row[at] or 0 for row in delivery.tables.rows[table][1:])


@messy([r"\btotals?\b|\bsums?\b", r"\b42\b"], ["above 89", r"90\+"], 40, blocks=2)
def totals_row_of_episodes(delivery):
    add_summary(
        delivery,
        "episodes",
        "Total",
        {"age_years": sum_of(delivery, "episodes", "age_years"), "prior_episodes": 21},
    )


@messy([r"\btotals?\b|\bsums?\b|summe", "followups"], ["free text"], 40, blocks=2)
def totals_row_in_german(delivery):
    add_summary(delivery, "followups", "Summe", {"dhi_total": 1288})


@messy(["average|mean", r"\b42\b"], ["long number", "above 89", "free text"], 40, blocks=2)
def average_row(delivery):
    add_summary(
        delivery,
        "episodes",
        "AVERAGE",
        {
            "age_years": sum_of(delivery, "episodes", "age_years") / 40,
            "onset_day": -10.666666666666666,
        },
    )


@messy(
    ["average|mean", r"\bSD\b|deviation|standard", "examinations"], ["long number"], 40, blocks=3
)
def mean_and_deviation_rows(delivery):
    add_summary(
        delivery,
        "examinations",
        "Mean",
        {"latency_s": 3.0571428571428574, "duration_s": 17.666666666666668},
    )
    add_summary(
        delivery,
        "examinations",
        "SD",
        {"latency_s": 1.1180339887498949, "duration_s": 5.916079783099616},
    )


@messy(["unit", r"\b2\b", "episodes"], ["free text", "13 "], 40, blocks=2)
def units_row_of_episodes(delivery):
    header = delivery.tables.rows["episodes"][0]
    delivery.tables.rows["episodes"].insert(1, [UNITS["episodes"].get(name) for name in header])


@messy(["unit|bracket", r"\b2\b"], ["free text"], 40, blocks=2)
def units_row_in_brackets(delivery):
    header = delivery.tables.rows["followups"][0]
    delivery.tables.rows["followups"].insert(
        1,
        [{"day": "[d]", "dhi_total": "[0-100]", "vas_0_10": "[0-10]"}.get(name) for name in header],
    )


@messy(
    ["header|column names|names of the columns", r"\b2\b"],
    ["free text", "name a person"],
    40,
    blocks=2,
)
def header_in_words_below(delivery):
    rows = delivery.tables.rows["treatments"]
    words = [
        "Episode",
        "Day",
        "Attempt",
        "Maneuver",
        "Side",
        "Cycles",
        "Setting",
        "Performed by",
        "Head turn",
        "Head hang",
        "Hold",
    ]
    rows.insert(1, [*words, "Angle source", "Completed", "Adverse event"])


@messy(["header|column names|names of the columns", "examinations"], [], 40, blocks=3)
def two_exports_pasted_together(delivery):
    rows = delivery.tables.rows["examinations"]
    half = len(rows) // 2
    rows[half:half] = [[], list(rows[0])]


@messy(["example", r"\b2\b"], ["free text"], 12, blocks=3)
def example_row_left(delivery):
    rows = delivery.tables.rows["followups"]
    rows.insert(1, ["EXAMPLE", *rows[1][1:]])


@messy(["followups", "same|twice|another row|again", r"episode_id"], [], 12, blocks=2)
def table_pasted_twice(delivery):
    rows = delivery.tables.rows["followups"]
    rows += [list(row) for row in rows[1:]]


@messy(["day 0|first attempt|day of the first", r"treatments"], [], 40, blocks=4)
def days_counted_from_first_visit(delivery):
    for table in ("examinations", "treatments", "followups"):
        delivery.tables.fill(table, "day", lambda day: day + 5)


@messy(["episode_id", "hyphen|E0001|no row|not found|spelt|form", "treatments"], [], 40, blocks=4)
def ids_spelt_otherwise_in_one_table(delivery):
    delivery.tables.fill("treatments", "episode_id", lambda name: name.replace("-", ""))


@messy(["underscore|hyphen|form", "episode_id"], ["free text"], 40, blocks=5)
def ids_with_underscore(delivery):
    for table in ("episodes", "examinations", "treatments", "followups"):
        delivery.tables.fill(table, "episode_id", lambda name: name.replace("-", "_"))


@messy(["merged|empty|filled|fill", "episode_id", "examinations"], [], 40, blocks=3)
def ids_merged_over_rows(delivery):
    merge_ids(delivery, "examinations")


def units_row_of_tests_only(delivery: Delivery) -> None:
    """A row of units under the header of the examinations."""
    header = delivery.tables.rows["examinations"][0]
    delivery.tables.rows["examinations"].insert(
        1, [UNITS["examinations"].get(name) for name in header]
    )


def ids_without_letters(delivery: Delivery) -> None:
    """Episodes and patients named 1, 2, 3."""
    for table in ("episodes", "examinations", "treatments", "followups"):
        delivery.tables.fill(table, "episode_id", lambda name: int(name[2:]))
    delivery.tables.fill("episodes", "patient_id", lambda name: int(name[2:]))


def merge_ids(delivery: Delivery, table: str) -> None:
    """Leave the episode's name in the first of its rows only, as merged cells do."""
    delivery.form = "xlsx"
    last = None
    for row in delivery.tables.rows[table][1:]:
        if row[0] == last:
            row[0] = None
        else:
            last = row[0]
