"""Figures that stand alone: a title that says no more than the numbers, a caption,
and a file that holds both."""

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports.committee.failures import FAILED, describe_failures
from pipeline.reports.committee.picture import (
    OPEN,
    TENTHS,
    headline_share,
    list_pictures,
    state_share,
)
from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.second_line import POPULATION as SECOND
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.readings import Reading
from pipeline.statistics.tidy import state, tidy_estimates
from schemas.estimate import Estimates
from tests.pool_of_sections import build_everything

SVG = "{http://www.w3.org/2000/svg}"
CAUSAL = re.compile(
    r"\b(significan\w*|helps?|helped|works?|worked|effect\w*|because|leads? to|thanks|better|best|"
    r"superior)\b",
    re.I,
)


@pytest.fixture(scope="module")
def estimates(plan):
    return build_everything(plan)


@pytest.fixture(scope="module")
def report(estimates, plan):
    return compose_report(estimates, plan, {"deliveries": "3f1c"}, invented=True)


@given(st.floats(0, 1))
def test_a_share_in_words_is_its_nearest_tenth_and_neither_none_nor_all(share):
    words = headline_share(Reading(share, status="ok"), "resolved")
    if share < 0.05:
        assert words.startswith("Fewer than 5")
    elif share >= 0.95:
        assert words.startswith("More than nine in ten")
    else:
        (tenth,) = [
            number
            for number, word in enumerate(TENTHS, 1)
            if words.startswith(f"About {word} in ten")
        ]
        assert abs(tenth / 10 - share) <= 0.05 + 1e-9


def test_a_range_too_wide_for_one_number_is_told_by_its_ends():
    wide, narrow = (
        Reading(0.61, 0.3, 0.3 + width, status="ok") for width in (OPEN + 0.1, OPEN - 0.1)
    )
    for words in (headline_share(wide, "resolved"), state_share(wide, "resolved")):
        assert "61" not in words
        assert "30\u00a0% to 90\u00a0%" in words
    assert "61\u00a0% (30\u00a0to\u00a070)" in headline_share(narrow, "resolved")


def test_every_figure_has_a_finding_a_caption_and_words(report):
    pictures = list(list_pictures(report))
    assert len(pictures) > 12
    assert len({picture["name"] for picture in pictures}) == len(pictures)
    for picture in pictures:
        assert re.search(r"\d", picture["title"]), picture["title"]
        assert not CAUSAL.search(picture["title"] + picture["caption"])
        assert picture["caption"]
        assert picture["alt"].startswith(picture["title"])
        root = ET.fromstring(picture["svg"])
        assert root.findtext(f"{SVG}title") == picture["title"]
        assert root.findtext(f"{SVG}desc") in picture["alt"]


def test_a_title_falls_back_to_the_last_day_with_a_share(estimates, plan):
    rows = estimates["joint_resolution"]
    late = rows["stratum"].eq("canal=lateral") & rows["term"].isin(
        ["resolved_by_day_30", "resolved_by_day_14"]
    )
    sparse = rows.copy()
    sparse.loc[late, ["estimate", "std_error", "lower", "upper"]] = None
    sparse.loc[late, ["status", "note"]] = ["too_few", "few"]
    made = compose_report(estimates | {"joint_resolution": Estimates.cast(sparse)}, plan, {})
    title = next(p["title"] for p in list_pictures(made) if p["name"] == "figure-curves-canal")
    assert re.search(r"Lateral canal: [^;]+ resolved by day 7(;|$)", title)


def choose(low: float, high: float, plan) -> dict:
    many = {"n_episodes": 100, "n_events": 50, "n_sites": 8}
    rows = [
        state(
            f"risk_{arm}_day_30",
            share,
            stratum=stratum,
            lower=share - 0.1,
            upper=share + 0.1,
            **many,
        )
        for stratum in (
            "all",
            *(
                f"variant={v}"
                for v in ("posterior_long_arm", "adherent_debris", "lateral_geotropic")
            ),
        )
        for arm, share in (("repeat", 0.5), ("change", 0.6))
    ]
    rows += [
        state(
            "risk_difference_day_30",
            0.1,
            stratum=stratum,
            lower=ends[0],
            upper=ends[1],
            comparison="repeat",
            **many,
        )
        for stratum, ends in {
            "all": (low, high),
            "variant=adherent_debris": (0.02, 0.2),
            "variant=posterior_long_arm": (-0.1, 0.2),
        }.items()
    ]
    table = tidy_estimates(
        rows, analysis="second_line", population=SECOND, endpoint="objective", method="m"
    )
    return describe_second_line({"second_line": table}, plan)


def test_an_order_is_in_a_title_only_where_the_range_of_the_difference_allows_one(plan):
    apart, open_ = choose(0.05, 0.2, plan), choose(-0.05, 0.2, plan)
    assert apart["figure"]["title"].startswith(
        "More were resolved by day 30 after another maneuver, an association"
    )
    assert "No clear difference" in open_["figure"]["title"]
    assert "no clear difference" in open_["finding"]
    words = apart["figure"]["alt"]
    assert "Posterior canal, long arm, day 30: no clear difference: The same again" in words
    assert "Adherent debris, day 30: a clear difference: The same again" in words
    assert "Lateral canal, geotropic, day 30: The same again" in words
    assert apart["figure"]["svg"].count('class="dot ') == 8


@pytest.mark.parametrize(("second", "alone"), [(20, True), (45, False)])
def test_a_reason_stands_out_only_where_its_range_lies_above_the_next(second, alone):
    rows = [
        state(
            "share",
            n / 200,
            stratum=f"view=at_the_time,reason={reason}",
            lower=(n - 9) / 200,
            upper=(n + 9) / 200,
            n_episodes=200,
            n_events=n,
            n_sites=8,
        )
        for reason, n in (("technique", 50), ("wrong_side", second), ("undetermined", 90))
    ]
    table = tidy_estimates(
        rows, analysis="failure_reasons", population=FAILED, endpoint=None, method="m"
    )
    title = describe_failures({"failure_reasons": table})["figure"]["title"]
    assert title.startswith(
        "The records point most often to one reason" if alone else "No one reason stands out"
    )
    assert ("wrong ear" in title) is not alone


def test_invented_data_are_called_so_and_real_ones_are_not(report, estimates, plan):
    assert "invented" in report["invented"]
    assert compose_report(estimates, plan, {})["invented"] == ""
