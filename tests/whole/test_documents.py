"""What the documents say of a run of the demonstration pool is what the run makes."""

import re

import pandas as pd
import pytest

from tests.contract.test_claims import read_decisions
from tests.contract.test_documents import DOCUMENTS, ROOT, list_code

ELSEWHERE = ("results/recovery/",)  # made by the recovery study


def test_every_result_that_is_named_is_made(pool_run):
    named = {
        word for document in DOCUMENTS for code in list_code(document) for word in code.split()
    }
    blocks = re.findall(
        r"results/[\w./*]+",
        "\n".join((ROOT / document).read_text("utf-8") for document in DOCUMENTS),
    )
    paths = {path.rstrip(".,") for path in [*named, *blocks] if path.startswith("results/")}
    paths = {path for path in paths if not path.startswith(ELSEWHERE)}
    assert len(paths) > 5
    assert [path for path in sorted(paths) if not list(pool_run[0].glob(path.rstrip(".,")))] == []


def test_numbers_of_the_demonstration_pool_are_those_of_the_run(pool_run):
    results = pool_run[0] / "results"
    sensitivity = pd.read_csv(results / "estimates" / "sensitivity.csv")
    shares = sensitivity[sensitivity["term"].eq("resolved_by_day_30")].set_index("stratum")[
        "estimate"
    ]
    low, high = re.search(
        r"(\d+) to (\d+) % by day 30 in the demonstration pool", read_decisions()
    ).groups()
    extremes = shares[shares.index.str.contains("=unseen_taken_for_")]
    assert len(extremes) == 2
    assert [100 * extremes.min(), 100 * extremes.max()] == pytest.approx(
        [int(low), int(high)], abs=0.5
    )


def test_the_report_has_no_more_pages_than_is_said(pool_run):
    words = {"seven": 7, "eight": 8}
    stated = re.search(
        r"on at most (\w+) pages of paper", (ROOT / "docs" / "committee.md").read_text("utf-8")
    )[1]
    printed = (pool_run[0] / "results" / "reports" / "committee.pdf").read_bytes()
    pages = max(int(count) for count in re.findall(rb"/Count (\d+)", printed))
    assert words[stated] - 1 <= pages <= words[stated]
