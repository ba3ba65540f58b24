"""The demonstration pool from deliveries to report, twice, interrupted,
and with nothing leaking."""

import os
import re
import shutil
import signal
import subprocess
import time

import duckdb
import numpy as np
import pandas as pd

from pipeline.analyses.plan import ANALYSES, QUESTIONS
from pipeline.disclosure.cells import Cells
from pipeline.disclosure.people import Group, narrow_trials
from pipeline.disclosure.release import make_release
from pipeline.sources import fingerprint_files
from schemas.demonstration import INVENTED
from schemas.estimate import Estimates
from schemas.identities import CHAINS, ENDPOINTS
from schemas.notes import SENTENCES, STAYS, release_note
from tests.whole.conftest import POOL, command_of, run_workflow


def read_estimates(directory, name: str, folder: str = "estimates") -> pd.DataFrame:
    return pd.read_csv(directory / "results" / folder / f"{name}.csv")


def test_everything_promised_is_there(pool_run):
    results = pool_run[0] / "results"
    promised = [
        "warehouse.duckdb",
        "reports/committee.html",
        "reports/technical.html",
        "reports/committee.pdf",
        "reports/figures/figures.csv",
        "reports/figures/curve-all.svg",
        "estimates/planted_variants.csv",
        "intake/S01/001/report.html",
        "intake/S01/001/problems.csv",
    ]
    promised += [
        f"estimates/{name}.csv"
        for name in ("episode_flow", "pool_description", "resolution_curves", "non_positional")
    ]
    assert [name for name in promised if not (results / name).stat().st_size] == []


def test_every_row_is_stored_or_set_aside_with_a_problem(pool_run):
    with duckdb.connect(str(pool_run[0] / "results" / "warehouse.duckdb"), read_only=True) as store:
        unbalanced = store.execute(
            "SELECT count(*) FROM row_count WHERE rows_in <> rows_stored + rows_set_aside + "
            "rows_withdrawn + rows_refused"
        ).fetchone()
        wrong_total = store.execute(
            """SELECT count(*) FROM row_count c WHERE c."table" = 'episodes' AND
               rows_stored <> (SELECT count(*) FROM episode e
                               WHERE e.site = c.site AND e.delivery = c.delivery)"""
        ).fetchone()
        unnamed = store.execute(
            """SELECT count(*) FROM set_aside s
               WHERE NOT EXISTS (SELECT 1 FROM problem p
               WHERE p.site = s.site AND p.delivery = s.delivery
               AND p."table" = s."table" AND p.row = s.row AND p.severity = 'set_aside')"""
        ).fetchone()
        aside = store.execute("SELECT count(*) FROM set_aside").fetchone()
    assert (unbalanced, wrong_total, unnamed) == ((0,), (0,), (0,))
    assert aside[0] > 0


def test_flow_adds_up(pool_run):
    n = read_estimates(pool_run[0], "episode_flow", "unreleased").set_index("term")["estimate"]
    assert n["handed_in"] == n["refused"] + n["set_aside"] + n["stored"]
    assert n["stored"] == n["positional"] + n["probable_non_positional"] + n["undetermined"]
    assert (
        n["positional"]
        == n["untreated"]
        + n["incomplete_record"]
        + n["never_positive"]
        + n["not_tested_again"]
        + n["followed"]
    )
    assert n["refused"] > 0
    assert n["probable_non_positional"] > 0


def test_no_small_group_is_shown(pool_run):
    for path in (pool_run[0] / "results" / "estimates").glob("*.csv"):
        rows = pd.read_csv(path)
        invented = rows["population"].str.startswith("demonstration pool")  # planted: nobody exists
        # printed in papers: nobody of this pool
        rows = rows[rows["population"].ne("published") & ~invented]
        for column in ("n_episodes", "n_events"):
            assert not rows[column].between(0, 14).any(), path.stem
            assert (rows[column].dropna() % 10 == 0).all(), path.stem


def test_every_note_of_a_model_is_declared_or_no_reader_would_learn_it(pool_run):
    lost = []
    for path in (pool_run[0] / "results" / "unreleased").glob("*.csv"):
        rows = pd.read_csv(path)
        # whose notes leave as they are
        if path.stem in ANALYSES and path.stem != "model_agreement":
            modelled = rows[rows["population"].ne("published") & rows["status"].ne("too_few")]
            lost += [
                (path.stem, sentence)
                for note in modelled["note"].dropna().unique()
                for sentence in note.split("; ")
                if release_note(sentence, "ok") is None and SENTENCES.get(sentence) != STAYS
            ]
    assert lost == []


def test_every_page_of_the_demonstration_says_that_it_is_one(pool_run):
    pages = sorted((pool_run[0] / "results").rglob("*.html"))
    assert {path.parent.parent.name for path in pages} >= {"sites", "S10", "results"}
    assert [path.name for path in pages if INVENTED not in path.read_text("utf-8")] == []


def test_a_second_run_has_nothing_to_do(pool_run):
    again = run_workflow(pool_run[0])
    assert again.returncode == 0
    assert "Nothing to be done" in again.stdout


def test_a_run_ends_with_what_matters(pool_run):
    directory, shown = pool_run
    summary = (directory / "results" / "unreleased" / "summary.txt").read_text("utf-8")
    assert summary in shown
    with duckdb.connect(str(directory / "results" / "warehouse.duckdb"), read_only=True) as store:
        refused = store.execute(
            "SELECT site, delivery FROM delivery WHERE status = 'refused'"
        ).fetchall()
        aside = store.execute(
            "SELECT count(*) FROM set_aside SEMI JOIN delivery USING (site, delivery)"
        ).fetchone()[0]
        current = store.execute(
            "SELECT count(*) FROM set_aside s JOIN delivery d USING (site, delivery) WHERE "
            "d.is_current"
        ).fetchone()[0]
    assert refused
    assert aside > current > 0
    for site, delivery in refused:
        assert f"{site}/{delivery} refused: " in summary
        assert f"results/intake/{site}/{delivery}/report.html" in summary
    assert f"{current} set aside" in summary
    assert "results/reports/committee.html" in summary


def test_every_log_says_what_was_counted_and_what_it_took(pool_run):
    logs = {
        path.stem: path.read_text("utf-8")
        for path in (pool_run[0] / "results" / "logs").glob("*.log")
    }
    assert {f"analyse_{question}" for question in QUESTIONS} < set(logs)
    line = re.compile(r"[\w ]+: [\d,.]+(?: MB)?|\w+Warning at .+:\d+")
    for name, text in logs.items():
        assert [entry for entry in text.splitlines() if not line.fullmatch(entry)] == [], name
        assert {"seconds", "peak memory"} < {
            entry.partition(":")[0] for entry in text.splitlines()
        }, name


def test_no_pseudonym_reaches_a_page_a_log_or_an_estimate(pool_run):
    directory, shown = pool_run
    code = re.compile(r"\b(?:EP|PT)-[A-Z0-9-]*\d")
    leaving = [
        p
        for part in ("reports", "estimates", "unreleased", "logs")
        for p in (directory / "results" / part).rglob("*.*")
        if p.suffix != ".pdf"  # it has the content of the page
    ]
    assert len(leaving) > 8
    assert [p.name for p in leaving if code.search(p.read_text("utf-8"))] == []
    assert not code.search(shown)


def test_killed_while_storing_the_old_warehouse_is_whole_and_the_next_run_goes_on(
    pool_run, tmp_path
):
    # what was run already, with its dates and with what the workflow remembers of it
    for part in ("results", ".snakemake"):
        shutil.copytree(pool_run[0] / part, tmp_path / part, symlinks=True)
    warehouse = tmp_path / "results" / "warehouse.duckdb"
    before = fingerprint_files([warehouse], tmp_path)
    forced = command_of("--directory", str(tmp_path), "--until", "store", "--forcerun", "store")
    running = subprocess.Popen(
        forced, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    deadline = time.monotonic() + 300
    while not warehouse.with_name("warehouse.duckdb.building").exists():
        assert running.poll() is None, "the store ended before it was caught"
        assert time.monotonic() < deadline
        time.sleep(0.01)
    os.killpg(running.pid, signal.SIGKILL)
    running.wait()
    assert fingerprint_files([warehouse], tmp_path) == before
    after = run_workflow(tmp_path, "--until", "store")
    assert after.returncode == 0, after.stdout[-2000:]
    with duckdb.connect(str(warehouse), read_only=True) as store:
        assert store.execute("SELECT count(*) FROM adjudication").fetchone()[0] > 0


def test_an_empty_pool_gets_a_report(tmp_path):
    (tmp_path / "none").mkdir()
    done = run_workflow(tmp_path, submissions="none")
    assert done.returncode == 0, done.stdout[-2000:]
    page = (tmp_path / "results" / "reports" / "committee.html").read_text("utf-8")
    assert page
    assert INVENTED not in page


def test_misspelt_options_and_plan_keys_are_named_before_anything_runs(tmp_path):
    assert "submision" in run_workflow(tmp_path, "--dry-run", submision=str(POOL)).stdout
    plan = tmp_path / "plan"
    plan.mkdir()
    for path in (POOL.parent.parent / "config").glob("*.yaml"):
        (plan / path.name).write_text(
            path.read_text("utf-8").replace("recurrence_gap:", "recurence_gap:"), "utf-8"
        )
    wrong = run_workflow(tmp_path, "--dry-run", plan=str(plan))
    assert wrong.returncode != 0
    assert re.search(
        r"study\.yaml, line \d+: resolution\.recurence_gap is not known\. Did you mean "
        r"recurrence_gap\?",
        wrong.stdout,
    )


NOT_NESTED = {
    ("total of zero", "day"),
    ("two totals", "day"),
    ("total", "day"),
    ("fell", "day"),
}  # whoever has a total on one day need have none on another


def find_undeclared_chains(cells: Cells) -> set[tuple[str, str]]:
    """The sets of people, without their endpoint, and the variable with which they only grow or
    only shrink, wherever it narrows them, although nothing says that they are nested: then whoever
    is between two of them is not looked at."""
    series: dict[tuple[str, str], dict[tuple, list]] = {}
    for key, number in cells.place.items():
        narrowed = key.by if isinstance(key, Group) else {}
        for variable in {"day", "points"} & narrowed.keys():
            name = re.sub(rf" ({'|'.join(ENDPOINTS)})$", "", key.name)
            rest = key.name, key.narrowed - {(variable, narrowed[variable])}
            values = series.setdefault((name, variable), {}).setdefault(rest, [])
            values.append((float(narrowed[variable]), cells.values[number]))
    steps = {
        named: np.concatenate(
            [np.diff([value for _, value in sorted(values)]) for values in groups.values()]
        )
        for named, groups in series.items()
    }
    one_way = {
        named
        for named, sizes in steps.items()
        if sizes.any() and ((sizes >= 0).all() or (sizes <= 0).all())
    }
    declared = {
        (re.sub(rf" ({'|'.join(ENDPOINTS)})$", "", chain.name), chain.variable) for chain in CHAINS
    }
    return one_way - declared - NOT_NESTED


def test_the_release_passes_its_audit_and_names_no_site(pool_run, plan):
    results = pool_run[0] / "results"
    files = [f"{name}.csv" for name in ANALYSES]  # as the rule has them: what is hidden hangs on it
    before, after = (
        pd.concat(
            [Estimates.cast(pd.read_csv(results / folder / name)) for name in files],
            ignore_index=True,
        )
        for folder in ("unreleased", "estimates")
    )
    texts = after.select_dtypes("string").fillna("").agg(" ".join, axis=1)
    assert not texts.str.contains(r"\bS\d\d\b").any()
    site_rows = after[texts.str.contains("site=")]
    assert site_rows[["n_episodes", "n_events"]].isna().all(axis=None)
    assert after["by_site"].isna().all()
    made = make_release(before, plan.study.disclosure, narrow_trials(plan.published))
    audit = made.stated.audit
    assert [exposed for eyes in audit.everybody for exposed in audit.find(made.known, eyes)] == []
    for eyes in audit.everybody:  # what the audit takes for known is true
        least, most = audit.carry(made.known, eyes)
        true = np.array(audit.cells.values, dtype=float)
        stated = ~np.isnan(true)  # a part of a sum may be counted nowhere
        assert stated.mean() > 0.9
        assert ((least <= true) & (true <= most))[stated].all()
    assert find_undeclared_chains(audit.cells) == set()
    key = ["analysis", "population", "endpoint", "stratum", "term", "comparison"]
    pd.testing.assert_frame_equal(
        *(rows.sort_values(key, ignore_index=True) for rows in (made.rows, after))
    )
