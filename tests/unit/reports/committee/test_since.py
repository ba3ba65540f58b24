"""What moved since the last release, in sentences that count what the tables hold."""

import pandas as pd
import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.since import Earlier, describe_since
from pipeline.reports.render import render_page
from pipeline.reports.wording import name_maneuver
from schemas.declared import PLAN
from schemas.estimate import Estimates
from tests.pool_of_estimates import build_estimates
from tests.pool_of_sections import build_sections

USED = {"release": "3", "deliveries": "new", "plan": "same", "code": "same"}
BEFORE = {"release": "2", "deliveries": "old", "plan": "same", "code": "same"}


@pytest.fixture(scope="module")
def estimates(plan):
    return build_estimates(plan)


def join(estimates) -> pd.DataFrame:
    tables = [Estimates.cast(rows) for name, rows in estimates.items() if name in PLAN]
    return pd.concat(tables, ignore_index=True)


def test_without_an_earlier_release_nothing_is_said(estimates, plan):
    report = compose_report(estimates, plan, USED)
    assert report["since"] == []
    assert "since-title" not in render_page("committee.html.j2", report)


def test_the_same_numbers_have_not_moved(estimates, plan):
    earlier = Earlier(BEFORE, join(estimates))
    sentences = describe_since(earlier, estimates, USED, plan)
    assert sum("none lies outside the interval that it had." in said for said in sentences) == 1
    assert "0 numbers have an interval that had none, and 0 have none any more." in sentences
    assert sentences[-1] == "Different since release 2: the records."


def test_what_moved_is_counted_by_its_part_and_what_came_and_went_too(estimates, plan):
    rows = join(estimates)
    usable = rows["status"].eq("ok") & rows[["lower", "upper"]].notna().all(axis=1)
    usable &= ~rows["stratum"].str.contains("site=") & rows["analysis"].eq("resolution_curves")
    moved, gone = rows.index[usable][:3], rows.index[usable][3:5]
    rows.loc[moved, ["estimate", "lower", "upper"]] = [-9.0, -9.5, -8.5]
    rows.loc[gone, ["status", "note"]] = ["too_few", "fewer than 11 episodes"]
    rows.loc[gone, ["estimate", "lower", "upper", "std_error", "p_value"]] = pd.NA
    sentences = describe_since(Earlier(BEFORE, rows), estimates, USED, plan)
    title = PLAN["resolution_curves"].text.title
    assert any(f"3 lie outside the interval that they had: {title} (3)." in s for s in sentences)
    assert "2 numbers have an interval that had none, and 0 have none any more." in sentences


def test_the_page_has_it_with_its_place_in_the_contents(estimates, plan):
    report = compose_report(estimates, plan, USED, earlier=Earlier(BEFORE, join(estimates)))
    page = render_page("committee.html.j2", report)
    assert 'href="#since-title"' in page
    assert 'id="since-title"' in page
    assert "Different since release 2" in page


def test_sizes_are_told_where_both_show_them(estimates, plan):
    flow = estimates["episode_flow"].copy()
    handed = flow["term"].eq("handed_in")
    assert handed.any()
    flow.loc[handed, "estimate"] = 7
    earlier = Earlier(BEFORE, join(estimates | {"episode_flow": flow}))
    said = describe_since(earlier, estimates, USED, plan)[0]
    assert said.endswith("were handed in for this release, 7 for release 2.")


def test_first_maneuvers_that_got_a_share_are_named(estimates, plan):
    now = estimates | {"first_choice": build_sections(plan)["first_choice"]}
    rows = join(now)
    cell = rows["analysis"].eq("first_choice") & rows["stratum"].str.contains("family=")
    told = rows[cell & rows["term"].eq("first_test_negative") & rows["status"].eq("ok")]
    stratum = told["stratum"].iloc[0]
    before = rows[~(cell & rows["stratum"].eq(stratum))]
    same = describe_since(Earlier(BEFORE, rows), now, USED, plan)
    named = describe_since(Earlier(BEFORE, before), now, USED, plan)
    (sentence,) = [said for said in named if said not in same and "first time" in said]
    family = dict(part.split("=") for part in stratum.split(","))["family"]
    assert name_maneuver(family, plan) in sentence
