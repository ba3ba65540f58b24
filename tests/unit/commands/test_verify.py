"""`verify` and `compare` at a terminal: a stranger with only the folder can see what was released,
from what, and whether anything was changed since."""

import pandas as pd
import pytest

from pipeline.releases import rerun
from pipeline.releases.attribute import list_combinations
from pipeline.releases.keep import keep_release
from pipeline.releases.package import PACKAGE
from pipeline.releases.programs import LOCK
from pipeline.results import fingerprint
from pipeline.sources import ROOT
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


def test_where_one_cause_alone_differs_nothing_is_run_again(call, kept, tmp_path):
    one, two = kept(), kept(0.5, release="2", plan="other", pandas="9")
    code, printed = call("compare", one, two, "--rerun", tmp_path, tmp_path)
    assert code is None
    assert "they differ in the plan alone: nothing is run again." in printed
    assert "No answer moved" in call("compare", one, one, "--rerun", tmp_path, tmp_path)[1]
    three = kept(0.6, release="3", pandas="9")
    assert "they differ in none" in call("compare", one, three, "--rerun", tmp_path, tmp_path)[1]


def test_a_program_that_is_nowhere_ends_with_a_sentence(call, kept, tmp_path):
    one, two = kept(), kept(0.5, release="2", plan="other", code="other")
    code, _ = call("compare", one, two, "--rerun", tmp_path, tmp_path)
    assert "is not this one, and in no commit of the project's history" in code


def test_what_was_run_again_is_counted_by_cause_and_written_for_its_owner(
    call, kept, tmp_path, monkeypatch, plan
):
    def rerun_all(sources, causes, touched, place, say):
        assert [source.code for source in sources] == [tmp_path / "p", tmp_path / "q"]
        assert [source.plan for source in sources] == [tmp_path / "p" / "config"] * 2
        rows = build_estimates(plan)["resolution_curves"]
        moved = rows.assign(estimate=rows["estimate"] + 0.5)
        return {
            changes: moved if "code" in changes else rows for changes in list_combinations(causes)
        }

    for program in ("p", "q"):
        (tmp_path / program).mkdir()
        (tmp_path / program / LOCK).write_bytes((ROOT / LOCK).read_bytes())
    monkeypatch.setattr(rerun, "rerun_all", rerun_all)
    one, two = kept(), kept(0.5, release="2", plan="other", code="other")
    words = ["compare", one, two, "--rerun", tmp_path, tmp_path, "--out", tmp_path / "moved.csv"]
    words += ["--programs", tmp_path / "p", tmp_path / "q"]
    plans = ["--plans", *[tmp_path / "p" / "config"] * 2]
    code, printed = call(*words, *plans)
    assert code is None
    assert "\nmoved\tthe program\t" in printed
    assert (tmp_path / "moved.csv").stat().st_mode & 0o077 == 0
    told = pd.read_csv(tmp_path / "moved.csv")
    assert set(told["moved_by"]) == {"the program"}
    assert "run: the plan" in told
