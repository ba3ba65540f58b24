"""What the store keeps beside the delivered tables: where each row came from, every delivery,
problem and set-aside row."""

from pandera.typing import Series

from schemas import codes, columns
from schemas.columns import Flag, Integer, Table, Text, column


class Provenance(Table):
    """Columns that the store puts before those of every delivered table."""

    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    row: Series[Integer] = column(
        "Row in the handed-in table as the spreadsheet shows it; the header is row 1", filled=True
    )
    source_sha256: Series[Text] = column("Fingerprint of the handed-in file", filled=True)

    class Config:
        metadata = {"key": ["site", "delivery"], "row": "where a stored row came from"}


class Deliveries(Table):
    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    status: Series[Text] = column("Accepted or refused", codes=codes.DELIVERY_STATUS, filled=True)
    is_current: Series[Flag] = column(
        "This is the highest-numbered accepted delivery of its site", filled=True
    )
    form: Series[Text] = column("How it was handed in: a workbook or .csv files", filled=True)
    fingerprint: Series[Text] = column("Fingerprint over the handed-in files", filled=True)
    dictionary_version: Series[Integer] = column("Version of the data dictionary that was followed")
    first_year: Series[Integer] = column("First year of the records", unit="year")
    last_year: Series[Integer] = column("Last year of the records", unit="year")
    short_arm_basis: Series[Text] = column(
        "The site's working definition of the short arm", codes=codes.ARM_BASIS
    )

    class Config:
        metadata = {"key": ["site", "delivery"], "row": "one delivery, accepted or refused"}


class PlannedDays(Table):
    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    kind: Series[Text] = column(
        "What the site plans for that day", codes=codes.PLANNED_KIND, filled=True
    )
    day: Series[Integer] = column(
        "The day, as the delivery says; the usual day of version 1 is a plan of one day of testing",
        unit="days after a maneuver (test) or from day 0 (call)",
        ge=0,
        filled=True,
    )

    class Config:
        metadata = {
            "key": ["site", "delivery", "kind", "day"],
            "row": "one day of a site's plan of tests and calls; none if it has no fixed plan",
        }


class RowCounts(Table):
    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    table: Series[Text] = column("Table", codes=codes.TABLE, filled=True)
    rows_in: Series[Integer] = column("Rows handed in", ge=0, filled=True)
    rows_stored: Series[Integer] = column("Rows stored", ge=0, filled=True)
    rows_set_aside: Series[Integer] = column("Rows set aside", ge=0, filled=True)
    rows_withdrawn: Series[Integer] = column(
        "Rows of patients who withdrew their consent; none of them is kept", ge=0, filled=True
    )
    rows_refused: Series[Integer] = column(
        "Rows refused with the whole delivery; none of them is kept", ge=0, filled=True
    )

    class Config:
        metadata = {
            "key": ["site", "delivery", "table"],
            "row": "one table of one delivery: where its rows ended",
        }


class Changes(Table):
    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    previous_delivery: Series[Text] = column("The accepted delivery before it", filled=True)
    episode_id: Series[Text] = column("Pseudonym of the episode", filled=True)
    change: Series[Text] = column(
        "What became of the episode",
        codes={
            "added": "new in this delivery",
            "changed": "a stored row of it differs, or it is no longer stored",
            "withdrawn": "no longer in the delivery",
        },
        filled=True,
    )

    class Config:
        metadata = {
            "key": ["site", "delivery", "episode_id"],
            "row": "one episode that differs from the accepted delivery before",
        }


class SetAside(Table):
    site: Series[Text] = column("Code of the site", filled=True)
    delivery: Series[Text] = column("Number of the delivery", filled=True)
    table: Series[Text] = column("Table", codes=codes.TABLE, filled=True)
    row: Series[Integer] = column(
        "Row in the handed-in table as the spreadsheet shows it", filled=True
    )
    episode_id: Series[Text] = column("Episode of the row, where it is readable")
    rules: Series[Text] = column("Rules that set the row aside, separated by blanks", filled=True)
    cells: Series[Text] = column(
        "The row as handed in, as a JSON object of texts; null where a word that is no code was "
        "left out, since it could be a name",
        filled=True,
    )

    class Config:
        metadata = {
            "key": ["site", "delivery", "table", "row"],
            "row": "one row that was handed in and is kept apart",
        }


class Problems(Table):
    site: Series[Text] = columns.column("Code of the site", filled=True)
    delivery: Series[Text] = columns.column("Number of the delivery", filled=True)
    number: Series[Integer] = columns.column("Order within the delivery", ge=1, filled=True)
    table: Series[Text] = columns.column("Table or file in which it was found")
    row: Series[Integer] = columns.column(
        "Row as the spreadsheet shows it; empty where the whole table or file is meant"
    )
    episode_id: Series[Text] = columns.column("Episode of the row, where it is readable")
    column: Series[Text] = columns.column("Column in which it was found")
    value: Series[Text] = columns.column(
        "The cell as handed in if it is a number, a pseudonym, a code or nearly one; other words "
        "could name somebody and are left out"
    )
    rule: Series[Text] = columns.column("Name of the rule", filled=True)
    severity: Series[Text] = columns.column("How grave it is", codes=codes.SEVERITY, filled=True)
    message: Series[Text] = columns.column("What is wrong", filled=True)
    how_to_fix: Series[Text] = columns.column("What to do", filled=True)

    class Config:
        metadata = {
            "key": ["site", "delivery", "number"],
            "row": "one thing that is wrong in one place of one delivery",
        }


KEPT: dict[str, type[Table]] = {
    "deliveries": Deliveries,
    "planned_days": PlannedDays,
    "row_counts": RowCounts,
    "changes": Changes,
    "set_aside": SetAside,
    "problems": Problems,
}
