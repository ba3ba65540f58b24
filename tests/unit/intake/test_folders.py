"""Which folders are deliveries, and which deliveries are taken in together."""

import os

import pytest

from pipeline.intake import folders
from pipeline.intake.folders import (
    LINKED,
    NAMED,
    batch_deliveries,
    fingerprint_state,
    list_deliveries,
)


def make(root, *names):
    for name in names:
        (root / name).mkdir(parents=True)
        (root / name / "x.csv").write_text("x")
    return root


def test_only_folders_of_the_right_form_are_deliveries(tmp_path):
    make(
        tmp_path,
        "S01/002",
        "S01/001",
        "S120/001",
        "S01/1",
        "S01/002_old",
        "S1/001",
        "old_stuff/001",
        ".git/001",
    )
    (tmp_path / "README.md").write_text("x")
    deliveries, skipped = list_deliveries(tmp_path)
    assert [(d.site, d.number, d.folder) for d in deliveries] == [
        ("S01", "001", tmp_path / "S01" / "001"),
        ("S01", "002", tmp_path / "S01" / "002"),
        ("S120", "001", tmp_path / "S120" / "001"),
    ]
    assert deliveries[0].files == (tmp_path / "S01" / "001" / "x.csv",)
    assert deliveries[0].withdrawn == ()
    assert sorted(skipped) == ["S01/002_old", "S01/1", "S1", "old_stuff"]


@pytest.mark.skipif(os.name == "nt", reason="links need rights of their own there")
def test_nothing_is_listed_through_a_link(tmp_path):
    make(tmp_path, "S01/001", "S03/001", "elsewhere/deep")
    (tmp_path / "S02").symlink_to("S01")
    (tmp_path / "S04").symlink_to("nowhere")
    (tmp_path / "S03" / "002").symlink_to("../S01/001")
    (tmp_path / "S03" / "001" / "deep").symlink_to("../../elsewhere")
    (tmp_path / "S03" / "withdrawn.csv").symlink_to("nowhere")
    deliveries, skipped = list_deliveries(tmp_path)
    assert {(d.site, d.number): [path.name for path in d.files] for d in deliveries} == {
        ("S01", "001"): ["x.csv"],
        ("S03", "001"): ["deep", "x.csv"],
        ("S03", "002"): [],
    }
    assert skipped == {"S02": LINKED, "S04": LINKED, "elsewhere": NAMED}
    assert deliveries[1].withdrawn == (tmp_path / "S03" / "withdrawn.csv",)
    before = fingerprint_state(deliveries)
    (tmp_path / "S01" / "001" / "x.csv").write_text("changed")
    assert fingerprint_state(deliveries[1:]) == fingerprint_state(list_deliveries(tmp_path)[0][1:])
    assert fingerprint_state(deliveries) != before


def test_a_site_stays_together_and_other_sites_change_no_batch(tmp_path):
    deliveries, _ = list_deliveries(
        make(tmp_path / "a", "S01/001", "S01/002", "S03/001", "S07/001")
    )
    batches = [{d.site for d in batch} for batch in batch_deliveries(deliveries)]
    assert batches == [{"S01", "S03"}, {"S07"}]
    more, _ = list_deliveries(
        make(tmp_path / "b", "S01/001", "S01/002", "S03/001", "S07/001", "S12/001")
    )
    assert [{d.site for d in batch} for batch in batch_deliveries(more)] == [*batches, {"S12"}]


def test_a_large_site_is_alone(tmp_path, monkeypatch):
    monkeypatch.setattr(folders, "LARGE_BYTES", 2)
    deliveries, _ = list_deliveries(make(tmp_path, "S01/001", "S02/001", "S02/002", "S03/001"))
    assert [[d.site for d in batch] for batch in batch_deliveries(deliveries)] == [
        ["S01", "S03"],
        ["S02", "S02"],
    ]


def test_content_decides_and_times_do_not(tmp_path):
    make(tmp_path, "S01/001")
    withdrawn = tmp_path / "S01" / "withdrawn.csv"
    withdrawn.write_text("patient_id\nPT-1\n")
    [delivery], _ = list_deliveries(tmp_path)
    path = delivery.files[0]
    states = [fingerprint_state([delivery])]
    os.utime(path, ns=(1, 1))
    assert fingerprint_state([delivery]) == states[0]
    for changed, text in ((path, "y"), (withdrawn, "patient_id\nPT-2\n")):
        before = changed.stat().st_mtime_ns
        changed.write_text(text)
        os.utime(changed, ns=(before - 10**9, before - 10**9))  # of the same size, and older
        states.append(fingerprint_state([delivery]))
    path.unlink()
    states.append(fingerprint_state([delivery]))
    assert len(set(states)) == 4
    assert delivery.withdrawn == (withdrawn,)
    assert batch_deliveries([delivery]) == [[delivery]]
