"""Which numbers moved between two releases, by the earlier interval, and never for single sites."""

import json

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from pipeline.releases.compare import (
    compare_estimates,
    compare_releases,
    list_causes,
    read_released,
    tabulate_comparison,
)
from pipeline.releases.package import PACKAGE, Package, describe_release, read_package
from schemas.estimate import Estimates


def build(*rows):
    """Released rows from short ones: (stratum, estimate, lower, upper, status)."""
    return Estimates.cast(
        pd.DataFrame(
            [
                {
                    "analysis": "resolution_curves",
                    "population": "positional",
                    "endpoint": "objective",
                    "stratum": stratum,
                    "term": "share_day_30",
                    "estimate": estimate,
                    "lower": lower,
                    "upper": upper,
                    "n_episodes": 100,
                    "method": "npmle",
                    "status": status,
                }
                for stratum, estimate, lower, upper, status in rows
            ]
        ).reindex(columns=list(Estimates.describe()))
    )


def test_a_number_moved_if_it_lies_outside_the_earlier_interval():
    earlier = build(
        ("all", 0.5, 0.4, 0.6, "ok"),
        ("canal=lateral", 0.5, 0.4, 0.6, "ok"),
        ("canal=posterior", 0.5, 0.4, 0.6, "ok"),
    )
    later = build(
        ("all", 0.6, 0.5, 0.7, "ok"),
        ("canal=lateral", 0.61, 0.5, 0.7, "ok"),
        ("canal=posterior", 0.39, 0.3, 0.5, "ok"),
    )
    compared = compare_estimates(earlier, later)
    assert compared.compared == 3
    assert compared.moved["stratum"].tolist() == ["canal=lateral", "canal=posterior"]
    assert compared.moved["estimate_before"].tolist() == [0.5, 0.5]
    assert compared.moved["estimate_after"].tolist() == [0.61, 0.39]


def test_what_got_or_lost_an_answer_is_told_and_a_bound_is_no_answer():
    earlier = build(("all", 0.5, 0.4, 0.6, "ok"), ("canal=lateral", None, None, None, "too_few"))
    later = build(("all", None, None, 0.6, "bounded"), ("canal=lateral", 0.5, 0.4, 0.6, "ok"))
    compared = compare_estimates(earlier, later)
    assert (compared.compared, len(compared.moved)) == (0, 0)
    assert compared.came["stratum"].tolist() == ["canal=lateral"]
    assert compared.gone["stratum"].tolist() == ["all"]
    table = tabulate_comparison(compared)
    assert table["what"].tolist() == ["came", "gone"]
    assert table["estimate_before"].isna().tolist() == [True, False]


def test_sites_are_left_out_since_their_letters_are_drawn_anew():
    earlier = build(("site=A", 0.5, 0.4, 0.6, "ok"))
    later = build(("site=A", 0.9, 0.8, 0.95, "ok"), ("site=B", 0.5, 0.4, 0.6, "ok"))
    compared = compare_estimates(earlier, later)
    assert compared.compared == len(compared.moved) == len(compared.came) == 0


SHARES = st.integers(1, 98).map(lambda percent: percent / 100)


@given(st.lists(SHARES, min_size=1, max_size=6))
def test_a_release_has_not_moved_from_itself(shares):
    rows = build(*((f"canal={k}", share, share, share, "ok") for k, share in enumerate(shares)))
    compared = compare_estimates(rows, rows.sample(frac=1, random_state=1))
    assert compared.compared == len(shares)
    assert len(compared.moved) == len(compared.came) == len(compared.gone) == 0
    assert len(tabulate_comparison(compared)) == 0


def test_what_differs_is_named_and_releases_and_versions_alone_are_no_cause():
    earlier = {"release": "1", "version": "0.8", "deliveries": "a", "plan": "b", "numpy": "1"}
    later = {"release": "2", "version": "0.9", "deliveries": "c", "plan": "b", "numpy": "2"}
    assert list_causes(earlier, later) == ["the records", "numpy"]
    assert list_causes(earlier, earlier | {"release": "2", "newer records": "stays"}) == []


def make_release(folder, rows) -> Package:
    (folder / "estimates").mkdir(parents=True)
    table = folder / "estimates" / "resolution_curves.csv"
    rows.drop(columns="rounded").to_csv(table, index=False)  # as an earlier version wrote it
    described = describe_release({"estimates/resolution_curves.csv": table}, {"release": "1"})
    (folder / PACKAGE).write_text(described, "utf-8")
    return read_package(folder)


def test_kept_releases_are_compared_from_their_folders(tmp_path):
    one = make_release(tmp_path / "1", build(("all", 0.5, 0.4, 0.6, "ok")))
    two = make_release(tmp_path / "2", build(("all", 0.7, 0.6, 0.8, "ok")))
    assert len(compare_releases(one, two).moved) == 1
    assert len(read_released(tmp_path)) == 0
    assert json.loads((tmp_path / "1" / PACKAGE).read_text())["name"] == "release-1"
