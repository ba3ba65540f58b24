"""Whole first files as coordinators send them: one run of the check must name everything that is to
be mended."""

from pathlib import Path

from tests.corpus import messy_columns as columns
from tests.corpus import messy_rows as rows
from tests.corpus.base import make_tables
from tests.corpus.case import Case, draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.places_objects import add_drawing
from tests.corpus.places_parts import add_comment
from tests.corpus.register import FIRST, first
from tests.corpus.sheet import Raw, Sheet

REMARKS = [
    "daughter called, wants later slot",
    None,
    None,
    "knows the ward well",
    None,
    "see letter",
]
SIDES = {"right": "R", "left": "L", "both": "B"}


def list_first(held_out: Path | None = None) -> list[Case]:
    """The first files of one half."""
    return [_case(name, entry) for name, entry in FIRST.items() if entry["held"] == bool(held_out)]


def _case(name: str, entry: dict) -> Case:
    def build(site: str) -> list[Delivery]:
        delivery = Delivery(
            make_tables(site, entry["episodes"]), draw_for(name).choice(["csv", "xlsx"])
        )
        return entry["change"](delivery) or [delivery]

    return Case(
        "first", name, "first file", build, told=tuple(entry["told"]), never=tuple(entry["never"])
    )


def say_own(delivery: Delivery, table: str, column: str, words: dict) -> None:
    """Use the site's own words in a column."""
    delivery.tables.fill(table, column, lambda value: words.get(value, value))


def say_na(delivery: Delivery, table: str, column: str, word: str = "NA") -> None:
    """Enter a word where nothing was recorded."""
    delivery.tables.fill(table, column, lambda value: word if value is None else value)


@first(
    [
        "remarks|column A[A-Z]",
        r"\btotal|\bsum",
        "recorded_cannal",
        r"recorded_side|\bside\b",
        r"(?-i:\bR\b)",
        r"\bsex\b",
        r"(?-i:\bF\b)",
    ],
    ["above 89"],
)
def remarks_totals_misspelt_letters(delivery):
    delivery.tables.add_column("episodes", "remarks", REMARKS)
    rows.add_summary(delivery, "episodes", "Total", {"age_years": 2310, "prior_episodes": 21})
    columns.rename(delivery, "episodes", "recorded_canal", "recorded_cannal")
    for table, column in (
        ("episodes", "recorded_side"),
        ("treatments", "side"),
        ("examinations", "side"),
    ):
        say_own(delivery, table, column, SIDES)
    say_own(delivery, "episodes", "sex", {"female": "F", "male": "M"})


@first(
    [
        "Bemerkung|column A[A-Z]",
        "weiblich",
        "rechts",
        r"\bja\b",
        "Alter|age_years",
        r"unit|Einheit|\b2\b",
    ],
    ["above 89"],
)
def german_export(delivery):
    delivery.tables.add_column("episodes", "Bemerkung", ["Tochter ruft an", None, None, None])
    say_own(delivery, "episodes", "sex", {"female": "weiblich", "male": "männlich"})
    say_own(delivery, "treatments", "side", {"right": "rechts", "left": "links"})
    say_own(delivery, "treatments", "completed", {"yes": "ja", "no": "nein"})
    columns.rename(delivery, "episodes", "age_years", "Alter")
    rows.units_row_of_tests_only(delivery)


@first(["column AC|name", "column AD|birth", r"90\+", r"(?-i:\bNA\b)", "attempt|day 0"], [])
def names_and_birth_dates_left_in(delivery):
    delivery.tables.add_column("episodes", "name", ["Brockhagen A", "Tiedewitz G", "Oostenbrug M"])
    delivery.tables.add_column("episodes", "birth date", ["21.08.1952", "11.02.1947", "03.12.1961"])
    delivery.tables.put("episodes", 5, "age_years", 93)
    say_na(delivery, "examinations", "latency_s")
    for table in ("examinations", "treatments", "followups"):
        delivery.tables.fill(table, "day", lambda day: day + 1)


@first(
    [
        "episode_id|patient_id",
        "letter|3 to 24|three",
        "minute",
        r"recorded_side|\bside\b",
        r"\btotal|\bsum|average|mean",
    ],
    ["547"],
)
def counted_ids_and_minutes(delivery):
    rows.ids_without_letters(delivery)
    delivery.tables.fill("examinations", "duration_s", lambda value: value and round(value / 60, 2))
    for table in ("treatments", "examinations"):
        say_own(delivery, table, "side", SIDES)
    rows.add_summary(delivery, "treatments", "Average", {"hold_s": 51.23529411764706})


@first(
    ["followup", "table|sheet", "site_code|site", "deidentified", r"phone|contact"], ["free text"]
)
def wrong_names_of_everything(delivery):
    delivery.table_names = {"followups": "follow ups list", "examinations": "tests"}
    delivery.tables.say("site_code", "S10")
    delivery.tables.say("deidentified", "anonymised")
    say_own(delivery, "followups", "contact", {"telephone": "phone call", "clinic": "visit"})


@first(["Telefon|column J", "17|date", "side", "empty|filled", "same|twice|another row"], [])
def telephones_dates_and_doubles(delivery):
    delivery.tables.add_column("followups", "Telefon", ["030 23125482", "030 23125483"])
    delivery.tables.put("followups", 7, "day", "17.03.2024")
    delivery.tables.put("treatments", 4, "side", None)
    delivery.tables.rows["episodes"].append(list(delivery.tables.rows["episodes"][3]))


@first(["header|column names|names of the columns", "notes", "Epley", "formula", r"onset_day"], [])
def two_headers_notes_and_formulas(delivery):
    delivery.edit_book(
        lambda book: book.sheets.append(Sheet("notes", [["ask the ward about three patients"]]))
    )
    words = ["Episode", "Patient", "Age", "Sex", "Year", "Onset"]
    delivery.tables.rows["episodes"].insert(1, words)
    say_own(
        delivery, "treatments", "maneuver", {"epley": "Epley's maneuver", "semont": "Semont man."}
    )
    delivery.tables.put("episodes", 9, "age_years", Raw('<c r="{ref}"><f>2024-1963</f></c>'))
    delivery.tables.fill(
        "episodes", "onset_day", lambda day: day if isinstance(day, str) or day is None else -day
    )


@first(
    ["recorded_canal", "right posterior", "test", "MRN|column A[A-Z]", "treat", "attempt"],
    ["free text"],
)
def canal_and_side_in_one(delivery):
    for number in range(2, 42):
        side = delivery.tables.get("episodes", number, "recorded_side")
        canal = delivery.tables.get("episodes", number, "recorded_canal")
        delivery.tables.put("episodes", number, "recorded_canal", f"{side} {canal}")
    delivery.tables.drop_column("episodes", "recorded_side")
    delivery.tables.add_column("episodes", "MRN", [4821390, 4821391, 4821395])
    say_own(delivery, "examinations", "test", {"dix_hallpike": "DH", "supine_roll": "roll"})
    delivery.tables.fill("treatments", "attempt", lambda attempt: attempt - 1)


@first(["withdrawn", "E-0004|episode_id", "adverse", "dhi_total", r"\btotal|\bsum"], [])
def withdrawals_odd_scores_and_sum(delivery):
    delivery.files["../withdrawn.csv"] = b"patient_id;date\nP-0003;12\n"
    delivery.tables.put("followups", 6, "episode_id", "E-00O4")
    say_own(delivery, "treatments", "adverse", {"nausea": "nausea, vomiting"})
    delivery.tables.fill("followups", "dhi_total", lambda value: value + 1)
    rows.add_summary(delivery, "followups", "SUM", {"dhi_total": 1288})


@first(["observaciones|column J", "mujer", "derecha", r"\bsí\b|\bsi\b", "edad|age_years", "90"], [])
def spanish_export(delivery):
    delivery.separator = ";"
    delivery.decimal = ","
    delivery.tables.add_column("followups", "observaciones", ["llamar a la hija", None, None])
    say_own(delivery, "episodes", "sex", {"female": "mujer", "male": "varón"})
    say_own(delivery, "treatments", "side", {"right": "derecha", "left": "izquierda"})
    say_own(delivery, "treatments", "completed", {"yes": "sí"})
    columns.rename(delivery, "episodes", "age_years", "edad")
    delivery.tables.rows["episodes"][6][2] = 91


@first(["remarques|column R", "femme", "droite", "oui", "total|somme", "canal"], [])
def french_export(delivery):
    delivery.separator = ";"
    delivery.tables.add_column("examinations", "remarques", ["revoir avec sa fille", None, None])
    say_own(delivery, "episodes", "sex", {"female": "femme", "male": "homme"})
    say_own(delivery, "examinations", "side", {"right": "droite", "left": "gauche"})
    say_own(delivery, "treatments", "completed", {"yes": "oui"})
    say_own(
        delivery,
        "episodes",
        "recorded_canal",
        {"posterior": "CSC postérieur", "lateral": "CSC latéral"},
    )
    rows.add_summary(delivery, "episodes", "Somme", {"prior_episodes": 21})


@first(["separator|semicolon|column|cells", "withdrawn", r"S\d", "002|delivery", "followups"], [])
def csv_of_several_hands(delivery):
    delivery.edit_text("treatments", lambda text: text.replace(",", ";"))
    delivery.files["../withdrawn.csv"] = b"P-0003\nP-0004\n"
    delivery.tables.say("delivery", "002")
    delivery.tables.rows["followups"][4].append("ok")


@first(
    [
        "ageotropic|horizontal",
        "superior|recorded_canal",
        "deceased|end_of_followup",
        "gufoni|maneuver",
        "not asked|migraine_history",
    ],
    ["free text"],
)
def words_of_the_trade(delivery):
    say_own(delivery, "examinations", "horizontal", {"geotropic": "ageotropic"})
    say_own(delivery, "episodes", "recorded_canal", {"lateral": "superior"})
    say_own(delivery, "followups", "end_of_followup", {"completed": "deceased"})
    say_own(delivery, "treatments", "maneuver", {"gufoni_geotropic": "gufoni left"})
    say_own(delivery, "episodes", "migraine_history", {"no": "not asked"})


@first(
    [
        "comment",
        r"\.pdf",
        "hidden",
        "e-mail|author|property|propert",
        "filter|picture|drawing|object|cells",
    ],
    [],
)
def things_beside_the_cells(delivery):
    def change(book) -> None:
        add_comment(book, "ask Dr. Ohlendiek")
        book.core += "<dc:creator>brockhagen@example.org</dc:creator>"
        book.sheets.append(
            Sheet("old", [["to ask: mother of the girl in bed two"]], state="hidden")
        )

    delivery.edit_book(change)
    delivery.files["letter.pdf"] = b"%PDF-1.4\n"
    delivery.edit_book(lambda book: add_drawing(book, '<xdr:graphicFrame macro=""/>'))
