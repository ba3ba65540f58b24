"""The dictionary says of every column what the schemas say, once, in three forms."""

import csv
import io

from pipeline.desk.dictionary import describe_dictionary, format_csv, format_markdown, list_entries
from pipeline.intake.problem import DESCRIBED
from pipeline.render import render_page
from schemas.reasons import WHY, explain_why


def test_every_column_has_a_reason_and_no_reason_is_left_over():
    asked = {(table, column) for table, columns in DESCRIBED.items() for column in columns}
    reasons = {explain_why(table, column) for table, column in asked}
    assert set(WHY.values()) == reasons
    assert all(reason.endswith(".") and len(reason) > 20 for reason in reasons)


def test_all_forms_hold_every_column_code_and_reason():
    page, text = render_page("dictionary.html.j2", describe_dictionary()), format_markdown()
    rows = {(row["table"], row["column"]): row for row in csv.DictReader(io.StringIO(format_csv()))}
    assert len(rows) == sum(map(len, DESCRIBED.values()))
    for entry in list_entries():
        row = rows[entry["table"], entry["column"]]
        assert (row["meaning"], row["why"], row["needed"]) == (entry["meaning"], entry["why"], entry["needed"])
        for code in entry["allowed"]:
            assert f"{code['code']}: {code['meaning']}" in row["allowed"]
            assert f"- `{code['code']}`: {code['meaning']}" in text
            assert f"<code>{code['code']}</code>" in page


def test_rules_across_columns_are_whole_sentences():
    for rule in describe_dictionary()["rules"]:
        assert "{" not in rule["message"] + rule["fix"]
