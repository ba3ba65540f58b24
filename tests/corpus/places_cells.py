"""Places in the cells of the tables, in a workbook or in .csv files alike."""

from tests.corpus.base import Value
from tests.corpus.case import draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.planted import DIGITS, SHORT, TEXT, Planted, as_text, place


def one_line(planted: Planted) -> bool:
    """Whether a value stays on one line."""
    return "\n" not in planted.text


def put_cell(delivery: Delivery, planted: Planted, table: str, column: str) -> None:
    """Enter the value in one record of that column, and make the form fit:
    only a workbook has typed cells."""
    draw = draw_for(planted.text + column)
    delivery.form = "xlsx" if planted.typed != "text" else draw.choice(["xlsx", "csv"])
    rows = delivery.tables.rows[table]
    delivery.tables.put(table, draw.randint(2, len(rows)), column, planted.cell)


def extra(
    delivery: Delivery, planted: Planted, table: str, header: Value, others: list[Value]
) -> None:
    """A column of its own with harmless entries, one of them replaced by the value."""
    delivery.form = (
        "xlsx"
        if planted.typed != "text"
        else draw_for(planted.text + str(header)).choice(["xlsx", "csv"])
    )
    values = [
        others[number % len(others)] for number in range(len(delivery.tables.rows[table]) - 1)
    ]
    values[draw_for(planted.text).randrange(len(values))] = planted.cell
    delivery.tables.add_column(table, header, values)


@place("cell of a known column", fits=one_line)
def cell_sex(delivery, planted):
    put_cell(delivery, planted, "episodes", "sex")


@place("cell of a known column", fits=one_line)
def cell_cause(delivery, planted):
    put_cell(delivery, planted, "episodes", "cause")


@place("cell of a known column", TEXT | {"old"})
def cell_age(delivery, planted):
    put_cell(delivery, planted, "episodes", "age_years")


@place("cell of a known column")
def cell_patient(delivery, planted):
    put_cell(delivery, planted, "episodes", "patient_id")


@place("cell of a known column", fits=one_line)
def cell_episode_of_test(delivery, planted):
    put_cell(delivery, planted, "examinations", "episode_id")


@place("cell of a known column")
def cell_optional_flag(delivery, planted):
    put_cell(delivery, planted, "episodes", "migraine_history")


@place("cell of a known column")
def cell_latency(delivery, planted):
    put_cell(delivery, planted, "examinations", "latency_s")


@place("cell of a known column", DIGITS | {"remark"})
def cell_test_day(delivery, planted):
    put_cell(delivery, planted, "examinations", "day")


@place("cell of a known column")
def cell_fatigues(delivery, planted):
    put_cell(delivery, planted, "examinations", "fatigues")


@place("cell of a known column")
def cell_maneuver(delivery, planted):
    put_cell(delivery, planted, "treatments", "maneuver")


@place("cell of a known column")
def cell_performed_by(delivery, planted):
    put_cell(delivery, planted, "treatments", "performed_by")


@place("cell of a known column")
def cell_adverse(delivery, planted):
    put_cell(delivery, planted, "treatments", "adverse")


@place("cell of a known column", TEXT - {"age"})
def cell_cycles(delivery, planted):
    put_cell(delivery, planted, "treatments", "cycles")


@place("cell of a known column")
def cell_contact(delivery, planted):
    put_cell(delivery, planted, "followups", "contact")


@place("cell of a known column")
def cell_end(delivery, planted):
    put_cell(delivery, planted, "followups", "end_of_followup")


@place("cell of a known column", TEXT - {"age"})
def cell_handicap(delivery, planted):
    put_cell(delivery, planted, "followups", "dhi_total")


@place("cell of the submission table", TEXT - {"age"}, fits=as_text)
def submission_count(delivery, planted):
    delivery.tables.say("counted_patients", planted.cell)


@place("cell of the submission table", TEXT - {"age"})
def submission_own_field(delivery, planted):
    delivery.tables.say("contact", planted.cell)


@place("cell of the submission table", TEXT - {"age"})
def submission_third_column(delivery, planted):
    delivery.tables.add_column(
        "submission", "note", [None, None, planted.cell, None, None, None, None, None]
    )


@place("cell of the submission table", {"name", "number", "email", "telephone"})
def submission_deidentified(delivery, planted):
    delivery.tables.say("deidentified", planted.cell)


@place("cell of another column")
def extra_words(delivery, planted):
    extra(delivery, planted, "episodes", "frenzel", ["yes", "no"])


@place("cell of another column")
def extra_numbers(delivery, planted):
    extra(delivery, planted, "examinations", "camera", [1, 2, 3])


@place("cell of another column")
def extra_empty(delivery, planted):
    extra(delivery, planted, "treatments", "room_kind", [None])


@place("cell of another column")
def extra_german(delivery, planted):
    extra(delivery, planted, "followups", "Bogen", ["ja", "nein"])


@place("cell of another column")
def extra_without_header(delivery, planted):
    extra(delivery, planted, "episodes", None, [None])


@place("cell of another column")
def extra_far_right(delivery, planted):
    for _ in range(9):
        delivery.tables.add_column("followups", None, [None])
    extra(delivery, planted, "followups", None, [None])


@place("header cell", fits=one_line)
def header_of_empty_column(delivery, planted):
    delivery.tables.add_column("episodes", planted.cell, [None])


@place("header cell", fits=one_line)
def header_of_yes_and_no(delivery, planted):
    delivery.tables.add_column("examinations", planted.cell, ["yes", "no"])


@place("header cell", fits=one_line)
def header_of_numbers(delivery, planted):
    delivery.tables.add_column("followups", planted.cell, [1, 0, 2])


@place("header cell", SHORT, fits=one_line)
def header_beside_known_name(delivery, planted):
    rows = delivery.tables.rows["treatments"]
    rows[0][delivery.tables.column("treatments", "cycles")] = f"cycles {planted.text}"


@place("header cell", SHORT, fits=one_line)
def header_instead_of_optional(delivery, planted):
    rows = delivery.tables.rows["episodes"]
    rows[0][delivery.tables.column("episodes", "osteoporosis")] = planted.cell


@place("title above the header")
def title_and_blank(delivery, planted):
    delivery.tables.rows["examinations"][:0] = [["Vertigo clinic"], [planted.cell], []]


@place("title above the header", SHORT)
def title_in_words(delivery, planted):
    delivery.tables.rows["treatments"].insert(0, [f"Export by {planted.text}"])


@place("title above the header")
def title_far_right(delivery, planted):
    delivery.tables.rows["followups"].insert(0, [None] * 7 + [planted.cell])


@place("row below the table")
def below_table(delivery, planted):
    delivery.tables.rows["episodes"].append([planted.cell])


@place("row below the table")
def below_after_blank_rows(delivery, planted):
    delivery.tables.rows["followups"] += [[], [], [None, None, planted.cell]]


@place("row below the table", SHORT)
def below_signature(delivery, planted):
    delivery.tables.rows["submission"] += [[], [f"checked by {planted.text}"]]


@place("row below the table")
def right_of_last_cell(delivery, planted):
    row = delivery.tables.rows["examinations"][4]
    row.extend([None, None, planted.cell])
