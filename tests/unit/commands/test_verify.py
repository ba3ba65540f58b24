"""`verify` and `compare` at a terminal: a stranger with only the folder can see what was released,
from what, and whether anything was changed since."""

import pandas as pd
import pytest

from pipeline.releases.keep import keep_release
from pipeline.releases.package import PACKAGE
from pipeline.results import fingerprint
from tests.pool_of_estimates import build_estimates

MADE_FROM = {"release": "1", "version": "0.9.0", "deliveries": "aa", "plan": "bb", "code": "cc"}


@pytest.fixture
def kept(tmp_path, plan):
    """A function from what a release is of, and a change of its numbers, to its folder."""

    def keep(change=0.0, **made_from):
        folder = tmp_path / "results" / "estimates"
        folder.mkdir(parents=True, exist_ok=True)
        (tmp_path / "results" / "release").mkdir(exist_ok=True)
        rows = build_estimates(plan)["resolution_curves"]
        path = folder / "resolution_curves.csv"
        rows.assign(estimate=rows["estimate"] + change).to_csv(path, index=False)
        return keep_release(tmp_path / "results", [path], MADE_FROM | made_from)

    return keep


def test_a_release_is_verified_with_its_number_and_what_it_was_made_from(call, kept):
    folder = kept()
    code, printed = call("verify", folder)
    assert code is None
    assert "release     1\n" in printed
    assert fingerprint(folder / PACKAGE) in printed
    assert "All 1 files are as they were released." in printed


def test_a_change_is_named_and_ends_with_a_fault(call, kept):
    folder = kept()
    (folder / "estimates" / "resolution_curves.csv").write_text("x")
    code, _ = call("verify", folder)
    assert code == "Changed: estimates/resolution_curves.csv was changed since it was released."


@pytest.mark.parametrize("tool", ["verify", "compare"])
def test_what_is_no_release_has_a_sentence(call, tmp_path, tool):
    code, _ = call(tool, *[tmp_path] * (2 if tool == "compare" else 1))
    assert "is no release" in code


def test_what_moved_is_told_with_its_cause_and_written_as_a_table(call, kept, tmp_path):
    one, two = kept(), kept(0.5, release="2", deliveries="zz")
    code, printed = call("compare", one, two, "--out", tmp_path / "moved.csv")
    assert code is None
    assert "Different: the records\n" in printed
    rows = pd.read_csv(tmp_path / "moved.csv")
    assert f"Outside the earlier interval: {len(rows):,}\n" in printed
    assert set(rows["what"]) == {"moved"}
    assert ((rows["estimate_after"] - rows["estimate_before"]).round(6) == 0.5).all()


def test_of_the_same_release_nothing_moved_and_rows_are_printed_without_a_file(call, kept):
    one = kept()
    code, printed = call("compare", one, one)
    assert code is None
    assert "Different: nothing that they were made from" in printed
    assert "Outside the earlier interval: 0\n" in printed
    two = kept(0.5, release="2")
    assert "\nmoved\tresolution_curves\t" in call("compare", one, two)[1]
