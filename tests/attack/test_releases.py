"""The attack on what the workflow releases: of the demonstration pool, of random pools,
and of one pool that grows."""

import csv
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.attack.own_site import find_others
from tests.attack.released import read_release
from tests.attack.report import attack, describe_findings
from tests.attack.solve import know
from tests.attack.truth import list_broken, list_wrong, read_truth
from tests.whole.conftest import ROOT, pool_run, run_workflow

__all__ = ["pool_run"]  # the run that tests/whole shares
RELEASED = "results/unreleased/release.csv"  # written beside all that may leave


def make_pool(folder: Path, episodes: int, sites: int, seed: int) -> Path:
    """A new invented pool; its deliveries."""
    arguments = [f"--out={folder}", f"--episodes={episodes}", f"--sites={sites}", f"--seed={seed}"]
    subprocess.run(
        [sys.executable, "-m", "synthetic_data", *arguments],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    return folder / "pool"


def release(directory: Path, deliveries: Path) -> Path:
    """Run the workflow on deliveries as far as what may leave; its results."""
    directory.mkdir(exist_ok=True)
    done = run_workflow(directory, RELEASED, submissions=deliveries)
    assert done.returncode == 0, done.stdout[-3000:]
    return directory / "results"


POOLS = [
    (200, 4),
    (300, 3),
    (400, 6),
    (500, 5),
    (700, 7),
    (900, 10),
    (1100, 12),
    (1500, 8),
    (2000, 15),
    (3000, 20),
]


@pytest.fixture(scope="session")
def attacked(tmp_path_factory):
    """The results of a pool of an eighth of the demonstration's size, which the attack asks about
    in a minute, and what it found in them."""
    folder = tmp_path_factory.mktemp("attacked")
    results = release(folder, make_pool(folder / "made", 450, 9, 1861))
    return results, attack(read_release(results))


def test_a_release_gives_no_group_away(attacked):
    findings = attacked[1]
    assert not findings.any, "\n".join(describe_findings(findings)[:40])
    assert findings.unsettled == 0


def test_claims_and_equations_are_right(attacked):
    results, findings = attacked
    truth = read_truth(results)
    assert len(truth) > 1000
    assert list_wrong(findings.groups, truth) == []
    assert list_broken(know(read_release(results, "unreleased"))[0], truth) == []


@pytest.mark.slow
def test_demonstration_pool_gives_no_group_away(pool_run):
    findings = attack(read_release(pool_run[0] / "results"))
    assert not findings.any, "\n".join(describe_findings(findings)[:40])
    assert findings.unsettled == 0


@pytest.mark.slow
@pytest.mark.parametrize("site", ["S01", "S04"])
def test_no_site_finds_a_group_of_the_others(pool_run, site):
    others = find_others(read_release(pool_run[0] / "results"), site)
    assert [answer.question.source for answer in others] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    ("number", "size"), list(enumerate(POOLS)), ids=[f"{e} episodes, {s} sites" for e, s in POOLS]
)
def test_random_pools_give_no_group_away(tmp_path, number, size):
    results = release(tmp_path / "run", make_pool(tmp_path / "new", *size, seed=7100 + number))
    truth = read_truth(results)
    assert list_broken(know(read_release(results, "unreleased"))[0], truth) == []
    findings = attack(read_release(results))
    assert list_wrong(findings.groups, truth) == []
    assert not findings.any, "\n".join(describe_findings(findings)[:40])
    assert findings.unsettled == 0


def cut_delivery(whole: Path, part: Path, number: str, left_out: int) -> None:
    """A delivery without the last episodes of the whole one, under a number of its own."""
    part.mkdir(parents=True)
    with (whole / "episodes.csv").open(newline="", encoding="utf-8") as file:
        kept = [row["episode_id"] for row in csv.DictReader(file)][: -left_out or None]
    for path in whole.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        if path.stem == "submission":
            rows = [row | {"value": number} if row["field"] == "delivery" else row for row in rows]
        else:
            rows = [row for row in rows if row["episode_id"] in kept]
        with (part / path.name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)


@pytest.mark.slow
def test_three_releases_of_a_growing_pool_give_no_group_away(tmp_path):
    """Two small deliveries, one after the other, into the same results folder."""
    deliveries = make_pool(tmp_path / "new", 700, 7, seed=7200)
    whole = tmp_path / "whole"
    shutil.move(deliveries / "S03" / "001", whole)
    kept = []
    for number, left_out in (("001", 24), ("002", 9), ("003", 0)):
        cut_delivery(whole, deliveries / "S03" / number, number, left_out)
        results = release(tmp_path / "run", deliveries)
        kept.append(tmp_path / f"release-{number}")
        for name in ("estimates", "unreleased", "reports"):
            shutil.copytree(results / name, kept[-1] / name)
    releases = [read_release(folder) for folder in kept]
    findings = attack(releases[-1], releases[:-1])
    assert not findings.any, "\n".join(describe_findings(findings)[:40])
    assert findings.unsettled == 0
