"""Every number of the release of a small pool is traced: to its row, its sites and its episodes,
which are as many as it counts; and at a terminal no episode is named."""

import shutil

import pandas as pd
import pytest

from pipeline.analyses.plan import ANALYSES
from pipeline.disclosure.people import describe_row, narrow_trials
from pipeline.disclosure.release import make_release
from pipeline.releases.keep import keep_release
from pipeline.releases.package import ESTIMATES, read_package
from pipeline.sources import ROOT, fingerprint_code, fingerprint_plan
from pipeline.trace.lines import say_printed, say_rerun, say_sites
from pipeline.trace.released import Printed, read_as_printed
from pipeline.trace.rerun import HAS_EVENT, find_members, name_sites, read_codes, rerun_analysis
from schemas.estimate import Estimates
from synthetic_data.pool import write_pool
from tests.small_warehouse import store_deliveries

OF_SESSIONS = "all of "  # people whose sessions are counted, or their rows of another sort


@pytest.fixture(scope="module")
def traced(tmp_path_factory, plan):
    """The results of a small pool as the workflow leaves them, and each analysis as it ran."""
    results = tmp_path_factory.mktemp("traced") / "results"
    for name in ("unreleased", ESTIMATES, "release"):
        (results / name).mkdir(parents=True)
    write_pool(results.parent / "made", 150, 4, 4407)
    deliveries = sorted((results.parent / "made" / "pool").glob("S*/*/"))
    store_deliveries(deliveries, results, plan)
    runs = {
        name: rerun_analysis(name, results / "warehouse.duckdb", ROOT / "config")
        for name in ANALYSES
    }
    for name, run in runs.items():
        run.estimates.to_csv(results / "unreleased" / f"{name}.csv", index=False)
    everything = pd.concat([run.estimates for run in runs.values()], ignore_index=True)
    made = make_release(everything, plan.study.disclosure, narrow_trials(plan.published))
    for name in ANALYSES:
        of_it = made.rows[made.rows["analysis"].eq(name)]
        of_it.to_csv(results / ESTIMATES / f"{name}.csv", index=False)
    used = {
        "release": "1",
        "deliveries": "aa",
        "plan": fingerprint_plan(ROOT / "config"),
        "code": fingerprint_code(),
    }
    pd.DataFrame(used.items(), columns=["name", "value"]).to_csv(
        results / "unreleased" / "fingerprints.csv", index=False
    )
    kept = keep_release(results, [results / ESTIMATES], used)
    pd.DataFrame({"folder": [kept.name]}).to_csv(results / "release" / "latest.csv", index=False)
    return results, runs, read_codes(everything)


@pytest.mark.parametrize("analysis", ANALYSES)
def test_every_released_number_leads_back_to_its_row_and_to_as_many_episodes(traced, analysis):
    results, runs, codes = traced
    package, run = read_package(results / "release" / "1"), runs[analysis]
    path = f"{ESTIMATES}/{analysis}.csv"
    rows = read_as_printed(package.folder / path).to_dict("records")
    assert rows
    known = 0
    for number, row in enumerate(rows):
        lines = list(say_printed(Printed(path, number + 2, row), package))
        key = name_sites({column: row[column] for column in Estimates.key()}, codes)
        place = run.find_row(key)
        assert place is not None
        estimate = run.estimates.iloc[place]
        members = find_members(run, place)
        lines += [*say_rerun(run, place, ""), *say_sites(members)]
        assert all(isinstance(line, str) for line in lines)
        if members.episodes is None:
            continue
        known += 1
        if pd.notna(estimate["n_episodes"]):
            assert len(members.episodes) == estimate["n_episodes"]
        sizes = members.episodes["site"].value_counts().to_dict()
        told = (entry.partition("=") for entry in members.by_site.split())
        assert sizes == {site: int(n.split("/")[0]) for site, _, n in told}
        if not _counts_people(key) or pd.isna(estimate["estimate"]):
            continue
        has = members.episodes.get(HAS_EVENT, pd.Series(True, members.episodes.index))
        assert has.sum() == estimate["estimate"]
    assert known or analysis in ("site_monitoring", "published_comparison")


def _counts_people(key: dict[str, str]) -> bool:
    """Whether the number of a row is a plain count of episodes."""
    named = (key[name] for name in ("analysis", "population", "endpoint", "stratum", "term"))
    described = describe_row(*named, {})
    people = described.events
    return (
        described.quantity.kind == "count"
        and people is not None
        and not people.name.startswith(OF_SESSIONS)
    )


def test_episodes_go_to_a_file_of_their_owner_and_to_no_terminal(traced, call, tmp_path):
    results, _, _ = traced
    path, named = tmp_path / "episodes.csv", ("first_test_delay", "tested_by_day_7", "all")
    code, said = call("trace", *named, "--results", results, "--episodes", path)
    assert code is None
    assert "the same as before the release" in said
    assert "study.yaml curves.days: (1, 7, 14, 30)" in said
    episodes = pd.read_csv(path)
    assert f"{len(episodes):,} episodes are in {path}" in said
    assert path.stat().st_mode & 0o077 == 0
    assert not any(code in said for code in episodes["episode_id"])
    assert (
        "must not exist yet" in call("trace", *named, "--results", results, "--episodes", path)[0]
    )


def test_away_from_the_store_only_what_is_released_is_told(traced, call, tmp_path):
    results, _, _ = traced
    alone = tmp_path / "handed on"
    shutil.copytree(results / "release" / "1", alone)
    code, said = call("trace", "first_test_delay", "tested_by_day_7", "--release", alone)
    assert code is None
    assert "pipeline/analyses/description/first_test.py:" in said
    assert "Sites, episodes and the values of the plan are told where the store" in said
    assert "by site" not in said
    path = tmp_path / "episodes.csv"
    code, _ = call(
        "trace", "first_test_delay", "tested_by_day_7", "--release", alone, "--episodes", path
    )
    assert "Nothing was written" in code
    assert not path.exists()
