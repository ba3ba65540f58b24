"""Who withdrew is nowhere: not stored, not set aside, in no list and no history;
only the number of rows is left."""

import copy
import json
import tempfile
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.intake.folders import fingerprint_state, list_deliveries
from pipeline.intake.receive import receive_delivery
from pipeline.intake.report import describe_intake, format_problems
from pipeline.reports.render import render_page
from schemas.delivery import TABLES
from schemas.store import KEPT
from tests.unit.intake.conftest import plain_tables, rules_of, to_grids, write_csv
from tests.unit.intake.test_conservation import COPIED, SPOILT, spoil


def withdraw(folder, *codes: str, header: str = "patient_id") -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    (folder.parent / "withdrawn.csv").write_text("\n".join([header, *codes]), "utf-8")


def all_text(received) -> str:
    tables = "".join(received.tables[name].to_csv() for name in [*TABLES, *KEPT])
    return (
        tables
        + format_problems(received)
        + render_page("intake.html.j2", describe_intake(received))
    )


@pytest.fixture
def gone(tables) -> tuple[str, str]:
    """The pseudonyms of the first patient and of the first episode."""
    return tables["episodes"][0]["patient_id"], tables["episodes"][0]["episode_id"]


def test_the_rows_vanish_and_are_counted(receive, tables, folder, gone):
    before = receive(tables)
    withdraw(folder, gone[0].lower(), "PT-NOBODY")
    after = receive(tables)
    assert after.accepted
    assert gone[0] in all_text(before)
    assert not any(code in all_text(after) for code in gone)
    theirs = [
        episode["episode_id"] for episode in tables["episodes"] if episode["patient_id"] == gone[0]
    ]
    counts = after.tables["row_counts"].set_index("table")
    assert counts.loc["episodes", "rows_withdrawn"] == len(theirs)
    whole = counts[["rows_stored", "rows_set_aside", "rows_withdrawn", "rows_refused"]].sum(axis=1)
    assert whole.eq(counts["rows_in"]).all()
    for name in TABLES:
        kept = before.tables[name][~before.tables[name]["episode_id"].isin(theirs)]
        assert after.tables[name]["row"].tolist() == kept["row"].tolist()


def test_not_even_a_faulty_row_is_kept(receive, tables, folder, gone):
    tables["episodes"][0] |= {"sex": "femal", "onset_day": 99}
    tables["followups"] += [{**tables["followups"][0], "episode_id": gone[1], "dhi_total": 37}]
    assert json.dumps(gone[1]) in all_text(receive(tables)).replace('""', '"')
    withdraw(folder, gone[0])
    after = receive(tables)
    assert not any(code in all_text(after) for code in gone)
    assert not after.tables["set_aside"]["episode_id"].eq(gone[1]).any()


def test_the_history_does_not_tell_of_it(receive, tables, folder, gone):
    withdraw(folder, gone[0])
    first = receive(tables)
    second = receive(tables, previous=first)
    assert second.tables["changes"].empty


@pytest.mark.parametrize(
    ("header", "codes"),
    [("name", ["PT-1"]), ("patient_id,why", ["PT-1,moved"]), ("patient_id", ["PT-1,PT-2"])],
)
def test_a_list_that_is_unclear_refuses_the_delivery(receive, tables, folder, header, codes):
    withdraw(folder, *codes, header=header)
    received = receive(tables)
    assert not received.accepted
    assert rules_of(received) == {"withdrawals_unclear"}


def test_a_list_is_part_of_what_each_delivery_is_made_from(folder):
    write_csv(folder, to_grids(plain_tables()))
    withdraw(folder, "PT-1")
    (delivery,) = list_deliveries(folder.parent.parent)[0]
    assert delivery.withdrawn == (folder.parent / "withdrawn.csv",)
    before = fingerprint_state([delivery])
    withdraw(folder, "PT-2", "PT-3")
    assert fingerprint_state([delivery]) != before


def hand_in_twice(folder, tables, change) -> tuple[Path, Path]:
    """Two deliveries of one site; the second one is changed."""
    write_csv(folder, to_grids(tables))
    later = copy.deepcopy(tables) | {"submission": tables["submission"] | {"delivery": "002"}}
    change(later)
    return folder, write_csv(folder.parent / "002", to_grids(later))


def test_a_test_whose_episode_was_left_out_later_vanishes_too(folder, tables, plan, gone):
    def leave_out_the_episodes(later):
        later["episodes"] = [row for row in later["episodes"] if row["patient_id"] != gone[0]]

    _, second = hand_in_twice(folder, tables, leave_out_the_episodes)
    assert gone[1] in all_text(receive_delivery(second, plan))
    withdraw(folder, gone[0])
    received = receive_delivery(second, plan)
    assert received.accepted
    assert not any(code in all_text(received) for code in gone)
    assert received.tables["set_aside"].empty


def test_a_code_that_a_site_gave_to_somebody_else_later_is_theirs(folder, tables, plan, gone):
    def give_anew(later):
        for row in later["episodes"]:
            row["patient_id"] = row["patient_id"].replace(gone[0], "PT-77")

    first, second = hand_in_twice(folder, tables, give_anew)
    withdraw(folder, gone[0])
    assert gone[1] not in set(receive_delivery(first, plan).tables["episodes"]["episode_id"])
    assert gone[1] in set(receive_delivery(second, plan).tables["episodes"]["episode_id"])


def test_a_slip_in_the_pseudonym_hides_nobody(receive, tables, folder, gone):
    tables["episodes"][0]["patient_id"] = gone[0].replace("-", "_")
    withdraw(folder, gone[0])
    received = receive(tables)
    assert gone[1] not in all_text(received)
    assert tables["episodes"][0]["patient_id"] not in all_text(received)


def test_totals_that_the_site_counted_before_are_not_questioned(receive, tables, folder, gone):
    tables["submission"]["counted_episodes"] = len(tables["episodes"])
    withdraw(folder, gone[0])
    assert "total_differs" not in rules_of(receive(tables))


@pytest.mark.parametrize(
    "write",
    [
        lambda site: (site / "Withdrawn.csv").write_text("patient_id\nPT-1\n"),
        lambda site: (site / "withdrawn.xlsx").write_bytes(b"PK"),
        lambda site: (site / "withdrawn.csv").write_text("patient_id\nZacharias Quillfeather\n"),
        lambda site: (site / "withdrawn.csv").write_bytes("patient_id\nPT-1\n".encode("utf-16")),
        lambda site: (site / "withdrawn.csv").write_text(""),
        lambda site: (site / "withdrawn.csv").write_text("PT-1\n"),
        lambda site: (site / "withdrawn.csv").write_bytes(b"x" * 2_000_000),
        lambda site: (site / "withdrawn.csv").mkdir(),
        lambda site: (site / "withdrawn.csv").symlink_to("nowhere"),
    ],
    ids=[
        *("capital", "workbook", "name", "utf-16", "empty", "no header", "long line"),
        *("folder", "link"),
    ],
)
def test_a_list_that_cannot_be_understood_is_never_overlooked(receive, tables, folder, write):
    folder.parent.mkdir(parents=True)
    write(folder.parent)
    received = receive(tables)
    assert rules_of(received) == {"withdrawals_unclear"}
    assert "uillfeather" not in all_text(received)
    assert len(list_deliveries(folder.parent.parent)[0][0].withdrawn) == 1


def without_provenance(received) -> dict[str, pd.DataFrame]:
    """The stored rows, their row numbers and the fingerprints of their files left aside."""
    return {
        name: received.tables[name].drop(columns=["row", "source_sha256"]).reset_index(drop=True)
        for name in TABLES
    }


@settings(max_examples=6, derandomize=True)
@given(
    spoilt=st.lists(SPOILT, max_size=6),
    copied=st.lists(COPIED, max_size=2),
    code=st.sampled_from(["PT-1", "PT-2"]),
)
def test_it_is_as_if_they_had_never_been_handed_in(plan, spoilt, copied, code):
    """The outside view: the same delivery without the rows of the patient, taken out by hand,
    is stored in the same way."""
    grids = spoil([cell for cell in spoilt if cell[2] % 2], copied, [])
    header = grids["episodes"][0]
    patient, episode = header.index("patient_id"), header.index("episode_id")
    theirs = {
        str(row[episode]).upper()
        for row in grids["episodes"][1:]
        if str(row[patient]).upper() == code
    }
    others = {name: grid for name, grid in grids.items() if name == "submission"}
    for name in TABLES:
        place = grids[name][0].index("episode_id")
        others[name] = [
            grids[name][0],
            *(r for r in grids[name][1:] if str(r[place]).upper() not in theirs),
        ]
    with tempfile.TemporaryDirectory() as place:
        folder, expected = Path(place) / "a" / "S01" / "001", Path(place) / "b" / "S01" / "001"
        write_csv(folder, grids), write_csv(expected, others)
        withdraw(folder, code)
        received, wanted = receive_delivery(folder, plan), receive_delivery(expected, plan)
    counts = received.tables["row_counts"]
    ended = counts[["rows_stored", "rows_set_aside", "rows_withdrawn", "rows_refused"]].sum(axis=1)
    assert ended.eq(counts["rows_in"]).all()
    assert received.accepted == wanted.accepted
    for name, rows in without_provenance(wanted).items():
        pd.testing.assert_frame_equal(without_provenance(received)[name], rows)
    assert len(received.tables["set_aside"]) == len(wanted.tables["set_aside"])
