"""Which folders are deliveries, and which deliveries are taken in together."""

import os

from pipeline.intake import folders
from pipeline.intake.folders import batch_deliveries, fingerprint_state, list_deliveries


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
    assert skipped == ["S01/002_old", "S01/1", "S1", "old_stuff"]


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


def test_another_state_of_a_file_is_another_fingerprint(tmp_path):
    make(tmp_path, "S01/001")
    (tmp_path / "S01" / "withdrawn.csv").write_text("patient_id\n")
    [delivery], _ = list_deliveries(tmp_path)
    path = delivery.files[0]
    states = [fingerprint_state([delivery])]
    path.write_text("longer")
    states.append(fingerprint_state([delivery]))
    os.utime(path, ns=(1, 1))
    states.append(fingerprint_state([delivery]))
    path.unlink()
    states.append(fingerprint_state([delivery]))
    assert len(set(states)) == 4
    assert delivery.withdrawn == (tmp_path / "S01" / "withdrawn.csv",)
    assert batch_deliveries([delivery]) == [[delivery]]
