"""Clean variants of the tables themselves and of .csv files."""

import csv

from tests.corpus.base import HEADERS, make_tables
from tests.corpus.case import draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.register import clean

RECORDS = ("episodes", "examinations", "treatments", "followups")
OPTIONAL = [
    "onset_day",
    "prior_episodes",
    "migraine_history",
    "neck_limitation",
    "osteoporosis",
    "focal_neurological_sign",
    "gaze_evoked_nystagmus",
    "spontaneous_vertical_nystagmus",
    "cannot_stand",
    "severe_headache_or_neck_pain",
    "new_hearing_change",
    "symptoms_only_on_standing",
    "continuous_24h",
    "attacks_over_2min",
    "migraine_features_with_attacks",
]


def as_csv(delivery: Delivery, **more) -> None:
    """Write as .csv files with these settings."""
    delivery.form = "csv"
    for name, value in more.items():
        setattr(delivery, name, value)


@clean("form of .csv")
def semicolons_and_decimal_commas(delivery):
    as_csv(delivery, separator=";", decimal=",")


@clean("form of .csv")
def tabs(delivery):
    as_csv(delivery, separator="\t")


@clean("form of .csv")
def tabs_and_decimal_commas(delivery):
    as_csv(delivery, separator="\t", decimal=",", line_end="\r\n")


@clean("form of .csv")
def byte_order_mark(delivery):
    as_csv(delivery, encoding="utf-8-sig")


@clean("form of .csv")
def two_byte_text(delivery):
    as_csv(delivery, encoding="utf-16")


@clean("form of .csv")
def everything_quoted(delivery):
    as_csv(delivery, quoting=csv.QUOTE_ALL)


@clean("form of .csv")
def words_quoted(delivery):
    as_csv(delivery, quoting=csv.QUOTE_NONNUMERIC)


@clean("form of .csv")
def blank_lines_at_end(delivery):
    for table in RECORDS:
        delivery.edit_text(table, lambda text: text + "\n\n\n")


@clean("form of .csv")
def line_that_names_the_separator(delivery):
    delivery.separator = ";"
    for table in HEADERS:
        delivery.edit_text(table, lambda text: "sep=;\n" + text)


@clean("form of .csv")
def blanks_behind_commas(delivery):
    delivery.edit_text("followups", lambda text: text.replace(",", ", "))


@clean("form of .csv")
def capital_file_names(delivery):
    as_csv(delivery, table_names={name: name.upper() for name in HEADERS})


@clean("writing of values")
def blanks_instead_of_underscores(delivery):
    delivery.tables.fill("examinations", "test", lambda value: value.replace("_", " "))
    delivery.tables.fill(
        "examinations", "fatigues", lambda value: value and value.replace("_", " ")
    )


@clean("writing of values")
def true_and_false(delivery):
    delivery.form = "xlsx"
    delivery.tables.fill("treatments", "completed", lambda value: value == "yes")


@clean("writing of values")
def whole_numbers_with_point_as_text(delivery):
    for table, column in (
        ("episodes", "prior_episodes"),
        ("followups", "dhi_total"),
        ("treatments", "cycles"),
    ):
        delivery.tables.fill(table, column, lambda value: f"{value}.0")


@clean("writing of values")
def leading_apostrophe_style_text(delivery):
    delivery.form = "xlsx"
    delivery.tables.say("first_year", "2021")
    delivery.tables.fill("episodes", "index_year", str)


@clean("order and blanks")
def columns_shuffled(delivery):
    for table in RECORDS:
        order = list(range(len(HEADERS[table])))
        draw_for(table).shuffle(order)
        delivery.tables.rows[table] = [
            [row[at] for at in order] for row in delivery.tables.rows[table]
        ]


@clean("order and blanks")
def blank_column_between(delivery):
    for table in RECORDS:
        for row in delivery.tables.rows[table]:
            row.insert(2, None)


@clean("order and blanks")
def optional_cells_all_empty(delivery):
    for column in OPTIONAL:
        delivery.tables.fill("episodes", column, lambda value: None)


@clean("size")
def one_episode(delivery):
    return [Delivery(make_tables(delivery.site, 1), delivery.form)]


@clean("size")
def three_hundred_episodes(delivery):
    return [Delivery(make_tables(delivery.site, 300), delivery.form)]


@clean("size")
def everybody_very_old(delivery):
    delivery.tables.fill("episodes", "age_years", lambda value: "90+")


@clean("list of withdrawals")
def withdrawal_of_one(delivery):
    delivery.files["../withdrawn.csv"] = b"patient_id\nP-0003\n"


@clean("list of withdrawals")
def withdrawal_header_in_capitals(delivery):
    delivery.files["../withdrawn.csv"] = b"Patient ID\nP-0003\n"
