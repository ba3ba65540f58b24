"""Slips of a whole delivery: empty tables, the submission sheet, what an earlier delivery had."""

from tests.corpus.base import TABLES, make_tables
from tests.corpus.delivery import Delivery
from tests.corpus.places_objects import add_drawing
from tests.corpus.register import messy
from tests.corpus.sheet import Raw, Sheet

RECORDS = TABLES[1:]


@messy(["empty|no rows|no records|no episodes"], ["hand it in"], 12)
def four_tables_empty(delivery):
    for table in RECORDS:
        del delivery.tables.rows[table][1:]


@messy(["treatments", "empty|no rows|no attempt|without"], [], 40, silent=True)
def treatments_empty(delivery):
    del delivery.tables.rows["treatments"][1:]


@messy([r"\b30\b|\b10\b", "001|earlier|last|previous|before"], [], 40)
def ten_of_forty_earlier_episodes(delivery):
    return [
        Delivery(make_tables(delivery.site, 40), "csv"),
        Delivery(make_tables(delivery.site, 10, delivery="002"), delivery.form),
    ]


@messy(["001|earlier|last|previous|before", "patient_id|pseudonym|episode"], [], 40)
def other_pseudonyms_than_before(delivery):
    later = make_tables(delivery.site, 40, delivery="002", prefix="K-")
    return [Delivery(make_tables(delivery.site, 40), "csv"), Delivery(later, delivery.form)]


@messy(
    ["001|earlier|last|previous|before", "same|nothing|no change|unchanged"], [], 12, silent=True
)
def same_records_again(delivery):
    return [
        Delivery(delivery.tables, "csv"),
        Delivery(make_tables(delivery.site, 12, delivery="002"), delivery.form),
    ]


@messy(["001|earlier|last|previous|before", "age_years|changed|differ"], [], 40)
def most_ages_differ_from_before(delivery):
    later = make_tables(delivery.site, 40, delivery="002")
    later.fill("episodes", "age_years", lambda age: 20 + age % 60)
    return [Delivery(make_tables(delivery.site, 40), "csv"), Delivery(later, delivery.form)]


@messy(["site_code", "site"], [], 12, blocks=2)
def wrong_site(delivery):
    delivery.tables.say("site_code", "S10")


@messy(["site_code", "empty|missing"], ["S00"], 12, blocks=2)
def site_code_empty(delivery):
    delivery.tables.say("site_code", None)


@messy(["last_year"], ["free text"], 12, blocks=2)
def last_year_ongoing(delivery):
    delivery.tables.say("last_year", "ongoing")


@messy(["short_arm_basis", "sitting_up"], ["free text"], 12, blocks=2)
def basis_in_own_words(delivery):
    delivery.tables.say("short_arm_basis", "sitting up test")


@messy(["first_year", "missing|empty|fill"], [], 12, blocks=3)
def field_of_submission_missing(delivery):
    rows = delivery.tables.rows["submission"]
    rows[:] = [row for row in rows if row[0] != "first_year"]


@messy(["dictionary_verson|dictionary_version", "missing|misspelt|name"], [], 12, blocks=3)
def field_of_submission_misspelt(delivery):
    delivery.tables.rows["submission"][3][0] = "dictionary_verson"


@messy(["submission", "field|value|column"], ["S00"], 12, blocks=6)
def submission_lying_across(delivery):
    rows = delivery.tables.rows["submission"]
    rows[:] = [[row[0] for row in rows[1:]], [row[1] for row in rows[1:]]]


@messy(["followups", "follow-up visits|missing"], [], 12, blocks=3)
def table_of_another_name(delivery):
    delivery.table_names = {"followups": "follow-up visits"}


@messy(["examination", "examinations"], [], 12, blocks=3)
def table_name_misspelt(delivery):
    delivery.table_names = {"examinations": "examinatons"}


@messy(["sheet|table|missing"], ["S00"], 12, blocks=7)
def all_tables_on_one_sheet(delivery):
    def change(book):
        rows = []
        for sheet in book.sheets:
            rows += [[sheet.name], *sheet.rows, []]
        book.sheets[:] = [Sheet("Sheet1", rows)]

    delivery.edit_book(change)


@messy(["#REF!|formula|error", "age_years"], ["free text"], 12, blocks=2)
def formula_that_lost_its_cell(delivery):
    delivery.form = "xlsx"
    delivery.tables.put(
        "episodes", 4, "age_years", Raw('<c r="{ref}" t="e"><f>#REF!-1963</f><v>#REF!</v></c>')
    )


@messy(["#DIV/0!|formula|error", "vas_0_10"], ["free text"], 12, blocks=2)
def formula_divided_by_zero(delivery):
    delivery.form = "xlsx"
    delivery.tables.put(
        "followups", 4, "vas_0_10", Raw('<c r="{ref}" t="e"><f>1/0</f><v>#DIV/0!</v></c>')
    )


@messy([r"\b7\b", "episodes", "right|header|column|AD|cells"], [], 12, blocks=3)
def stray_cell_right_of_the_table(delivery):
    delivery.tables.rows["episodes"][6] += [None, 3]


@messy(["followups", "row|cells"], [], 12, blocks=3)
def stray_number_below_the_table(delivery):
    delivery.tables.rows["followups"] += [[], [], [None, None, None, 4]]


@messy(["picture|drawing|chart|object|text box"], [], 12, blocks=3)
def chart_on_a_sheet(delivery):
    delivery.edit_book(lambda book: add_drawing(book, '<xdr:graphicFrame macro=""/>'))


@messy(["old episodes|old_episodes|episodes \\(2\\)|table|sheet"], [], 12, blocks=3)
def old_copy_of_a_sheet(delivery):
    delivery.edit_book(
        lambda book: book.sheets.append(
            Sheet("episodes (2)", [list(row) for row in delivery.tables.rows["episodes"]])
        )
    )
