"""The committee's report: it says what was estimated, hides what is hidden,
keeps apart what must stay apart."""

import re

import numpy as np
import pandas as pd
import pytest

from pipeline.reports.committee.curves import read_curve
from pipeline.reports.committee.known import FILLED
from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.resolved import Course, read_course
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.render import render_page
from pipeline.reports.wording import BLANK, say_percent, say_share
from schemas import codes
from schemas.estimate import Estimates
from schemas.notes import NEWER
from tests.pool_of_estimates import build_estimates, build_joint
from tests.pool_of_sections import build_sections

USED = {"deliveries": "3f1c", "plan": "77ab"}
NUMBERS = ["estimate", "std_error", "lower", "upper", "n_episodes", "n_events", "n_sites"]


@pytest.fixture(scope="module")
def estimates(plan):
    return build_estimates(plan) | {"first_choice": build_sections(plan)["first_choice"]}


@pytest.fixture(scope="module")
def report(estimates, plan):
    return compose_report(estimates, plan, USED)


def change(estimates, analysis, chosen, **values):
    """The same estimates with some rows of one analysis changed;
    `chosen` picks them from the table."""
    table = estimates[analysis].copy()
    table.loc[chosen(table), list(values)] = list(values.values())
    return estimates | {analysis: Estimates.validate(Estimates.cast(table))}


def hide(estimates, analysis, chosen=lambda table: slice(None)):
    nothing = dict.fromkeys(NUMBERS, pd.NA)
    return change(estimates, analysis, chosen, **nothing, status="suppressed", note="hidden")


def hide_everything(estimates):
    for analysis in estimates:
        estimates = hide(estimates, analysis)
    return estimates


def reading_of(estimates, stratum, term, analysis="joint_resolution"):
    rows = estimates[analysis]
    return rows[
        rows["endpoint"].eq("objective") & rows["stratum"].eq(stratum) & rows["term"].eq(term)
    ].iloc[0]


def names_of(report):
    """Everything that has a curve or a row."""
    frames = [group["figure"]["alt"] for group in report["groups"] if group["figure"]]
    curves = [variant["name"] for variant in report["variants"] if variant["figure"]]
    return frames + curves + [row["name"] for part in report["shares"] for row in part["rows"]]


def test_the_answer_carries_the_estimates_and_their_ranges(estimates, report):
    answer = " ".join(report["answer"])
    for stratum, day in (("all", 7), ("all", 30), ("canal=posterior", 7), ("canal=lateral", 7)):
        row = reading_of(estimates, stratum, f"resolved_by_day_{day}")
        text = Reading(
            float(row["estimate"]), float(row["lower"]), float(row["upper"]), status="ok"
        )
        assert say_share(text) in answer
    first = next(
        day
        for day in range(1, 31)
        if reading_of(estimates, "all", f"resolved_by_day_{day}")["estimate"] >= 0.5
    )
    assert f"Half were resolved by about day {first} " in answer


def test_tables_and_figures_tell_the_same_as_the_estimates(estimates, report):
    rows = {row["name"]: row["cells"] for part in report["shares"] for row in part["rows"]}
    assert rows["Posterior canal"][0] == "744 of 818".replace(" ", BLANK)
    assert rows["Posterior canal"][3].startswith(
        say_percent(reading_of(estimates, "canal=posterior", "resolved_by_day_7")["estimate"])
    )


def test_strips_divide_everybody_in_the_curve(estimates, report):
    figure = next(v["figure"] for v in report["variants"] if v["name"] == "More than one canal")
    rows = [
        reading_of(estimates, "canal=multiple", f"known_{part}_day_7", "resolution_curves")
        for part in FILLED
    ]
    counts = [int(row["estimate"]) for row in rows if row["status"] == "ok"]
    assert len(counts) > 1
    assert all(f">{count}<" in figure["svg"] for count in counts)
    assert f"Day 7: {counts[0]} tested negative by then" in figure["alt"]


def test_no_strip_without_a_number_and_no_number_without_a_strip(estimates, plan):
    bare = compose_report(
        hide(estimates, "resolution_curves", lambda t: t["term"].str.startswith("known_")),
        plan,
        USED,
    )
    curves = [variant["figure"] for variant in bare["variants"] if variant["figure"]]
    assert curves
    assert not any("those tested again" in curve["svg"] for curve in curves)
    assert not any('class="swatch ' in curve["svg"] for curve in curves)


def test_order_of_rows_does_not_matter(estimates, report, plan):
    shuffled = {name: table.sample(frac=1, random_state=7) for name, table in estimates.items()}
    assert compose_report(shuffled, plan, USED) == report


def test_hidden_numbers_appear_nowhere(estimates, plan):
    bare = compose_report(hide_everything(estimates), plan, USED)
    text = re.sub(
        r"<[^>]+>",
        " ",
        render_page("committee.html.j2", bare).split("<main>")[1].split("<footer")[0],
    )
    assert set(re.findall(r"[\d,]+(?=\s%)", text)) <= {"95"}
    assert "<svg" not in text
    assert not re.search(r"\bNone\b|\bnan\b|<NA>", text)


def test_no_bar_of_the_flow_tells_a_hidden_number(estimates, plan):
    """Two pools that differ only in how a hidden total is split must look the same."""
    pools = []
    for untreated, incomplete in ((5, 65), (9, 61)):
        pool = change(
            estimates, "episode_flow", lambda t: t["term"].eq("untreated"), estimate=untreated
        )
        pool = change(
            pool, "episode_flow", lambda t: t["term"].eq("incomplete_record"), estimate=incomplete
        )
        pool = hide(
            pool, "episode_flow", lambda t: t["term"].isin(["untreated", "incomplete_record"])
        )
        pools.append(compose_report(pool, plan, USED)["flow"])
    assert pools[0] == pools[1]
    assert pools[0]["figure"]["svg"].count('class="bar ') == 10


def test_what_leaves_lies_side_by_side_within_what_it_left(report):
    bars = re.findall(r'class="bar \w+">.*? d="(.*?)"', report["flow"]["figure"]["svg"], re.S)
    across = [[float(x) for x in re.findall(r"[ML] ([\d.]+)", bar)] for bar in bars]
    handed_in, refused, set_aside, stored = across[:4]
    ends = [max(stored), max(refused), max(set_aside)]
    assert ends == pytest.approx([min(refused), min(set_aside), max(handed_in)], abs=1e-3)


def test_a_curve_is_the_estimates_and_beside_it_the_tests_turned_around(estimates, plan):
    curve = read_curve(read_course(estimates, plan), "canal=multiple", 30, plan.study.curves.days)
    row = reading_of(estimates, "canal=multiple", "resolved_by_day_17")
    assert (curve.share[17], curve.low[17], curve.high[17]) == pytest.approx(
        (row["estimate"], row["lower"], row["upper"])
    )
    row = reading_of(estimates, "canal=multiple", "unresolved_upper_day_17", "resolution_curves")
    assert curve.tests[17] == pytest.approx(1 - row["estimate"])
    assert curve.share[0] == curve.low[0] == curve.high[0] == 0
    assert np.isnan([curve.share[1], curve.low[1], curve.high[1]]).all()
    least, greatest = (
        reading_of(estimates, "canal=multiple", f"known_{part}_by_day_14")["estimate"]
        for part in ("resolved", "unresolved")
    )
    assert curve.bounds[14] == pytest.approx((least, 1 - greatest))


def test_a_share_with_a_status_is_not_drawn():
    few = Reading(0.4, 0.3, 0.5, status="too_few")
    course = Course(
        Readings("joint_resolution", {("all", "resolved_by_day_1"): few}),
        Readings("resolution_curves", {("all", "unresolved_upper_day_1"): few}),
    )
    curve = read_curve(course, "all", 2)
    for drawn in (curve.share, curve.low, curve.high, curve.tests):
        assert np.isnan(drawn[1:]).all()


def test_a_stratum_without_numbers_is_named_with_its_reason(report):
    missing = [part["names"] for group in report["groups"] for part in group["missing"]]
    assert "anterior canal" in missing
    assert "Anterior canal" not in names_of(report)


@pytest.mark.parametrize("status", ["too_few", "not_converged", "not_identified", "suppressed"])
def test_every_status_gives_a_sentence_and_no_number(status, estimates, plan):
    nothing = dict.fromkeys(NUMBERS, pd.NA) | {"status": status, "note": "the reason"}
    pool = change(
        estimates, "joint_resolution", lambda t: t["stratum"].eq("canal=multiple"), **nothing
    )
    report = compose_report(pool, plan, USED)
    assert not any("ore than one canal" in name for name in names_of(report))
    group = next(group for group in report["groups"] if group["heading"] == "How soon by canal?")
    assert "more than one canal" in " ".join(part["names"] for part in group["missing"])


def test_a_short_arm_by_response_is_never_compared(estimates, report, plan):
    assert not any("response" in name for name in names_of(report))
    pool = estimates
    for analysis in ("joint_resolution", "resolution_curves"):
        pool = change(
            pool,
            analysis,
            lambda t: t["stratum"].str.contains("treatment_response") & t["estimate"].notna(),
            estimate=0.123,
        )
    assert compose_report(pool, plan, USED) == report


def test_definitions_of_the_short_arm_are_never_pooled(estimates, report, plan):
    pool = dict(estimates)
    for analysis in ("joint_resolution", "resolution_curves"):
        rows = estimates[analysis]
        pooled = rows[rows["stratum"].eq("canal=posterior,arm=long")].assign(
            stratum="canal=posterior,arm=short"
        )
        pool[analysis] = Estimates.cast(pd.concat([rows, pooled]))
    assert compose_report(pool, plan, USED) == report
    assert "Posterior canal, short arm by findings on sitting up" in names_of(report)


def test_cases_kept_apart_touch_no_curve(estimates, report, plan):
    without = compose_report(hide(estimates, "non_positional"), plan, USED)
    assert without["apart"] != report["apart"]
    for part in ("whole", "groups", "shares", "first_maneuvers", "endpoints"):
        assert without[part] == report[part]


def test_reasons_without_a_share_are_counted_not_drawn(estimates, report, plan):
    reasons = estimates["non_positional"]
    reasons = reasons[reasons["stratum"].str.startswith("reason=")]
    unknown = int(reasons["status"].ne("ok").sum())
    assert unknown > 0
    assert str(unknown) in report["apart"]["hidden"]
    assert "Cannot stand" not in report["apart"]["figure"]["svg"]
    bare = compose_report(hide(estimates, "non_positional"), plan, USED)["apart"]
    assert bare["figure"] is None
    assert str(len(reasons)) in bare["hidden"]


def test_first_maneuvers_have_no_figure(report):
    assert len(report["first_maneuvers"]["rows"]) == 5
    assert not any("Epley" in name for name in names_of(report))


def test_another_primary_endpoint_of_the_plan_is_followed(estimates, plan):
    study = plan.study.model_copy(
        update={"resolution": plan.study.resolution.model_copy(update={"primary": "same_visit"})}
    )
    other = {"joint_resolution": build_joint(plan, "same_visit")}
    report = compose_report(estimates | other, plan.model_copy(update={"study": study}), USED)
    rows = estimates["resolution_curves"]
    row = rows[rows["endpoint"].eq("same_visit") & rows["term"].eq("resolved_by_day_7")].iloc[0]
    assert say_percent(row["estimate"]) in report["whole"]["tests"]
    row = reading_of(estimates, "all", "resolved_by_day_7")
    assert say_percent(row["estimate"]) in " ".join(report["answer"])
    assert (
        "cannot tell"
        in compose_report(estimates, plan.model_copy(update={"study": study}), USED)["answer"][0]
    )
    assert codes.ENDPOINT["same_visit"] in " ".join(report["resolution"])


@pytest.mark.parametrize("pool", ["nothing", "empty tables", "all hidden"])
def test_pools_without_numbers_give_sentences_instead_of_charts(pool, estimates, plan):
    tables = {
        "nothing": {},
        "empty tables": {name: Estimates.empty() for name in estimates},
        "all hidden": hide_everything(estimates),
    }[pool]
    report = compose_report(tables, plan, {})
    assert report["answer"]
    assert report["flow"]["sentences"]
    assert report["apart"]["sentences"]
    assert "<svg" not in render_page("committee.html.j2", report)


def test_a_release_that_stays_is_said_to_be_old_before_its_numbers(estimates, plan):
    content = compose_report(estimates, plan, USED | {NEWER: "Release 1 stays."})
    page = render_page("committee.html.j2", content)
    assert 0 < page.index("Release 1 stays.") < page.index("In short")
    assert "Release 1 stays." not in render_page(
        "committee.html.j2", compose_report(estimates, plan, USED)
    )
