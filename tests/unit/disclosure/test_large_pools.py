"""Pools of any size fit: what is drawn is limited and what is not drawn is counted;
numbers never touch each other."""

import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports.committee import apart, published
from pipeline.reports.committee.apart import describe_apart
from pipeline.reports.committee.published import describe_published
from pipeline.reports.committee.strata import choose_largest
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.figures.curves import draw_curve
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.technical.condense import MOST, condense_rows
from pipeline.statistics.tidy import state, tidy_estimates
from tests.unit.reports.figures.test_figures import (
    RISING,
    UNTIL,
    find_points,
    find_texts,
    make_curve,
    make_strip,
)

# pixels: width of a digit of the numbers in DejaVu Sans, from its metrics (0.636 of 11), rounded
# down to what is seen
LETTER = 6.9
TICKS = (0, 7, 14, 30)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 6), st.sampled_from([270, 340]))
def test_numbers_of_strips_never_touch(digits, width):
    strips = tuple(
        make_strip(day, *(10**digits - 1 - day - 2 * k for k in range(4))) for day in TICKS
    )
    svg = draw_curve(
        make_curve(RISING, known=strips),
        key="k",
        title="t",
        description="d",
        until=UNTIL,
        ticks=TICKS,
        size=(width, 166),
    )
    root = ET.fromstring(svg)
    places = find_texts(root)
    bars = [points[:, 0].max() for points in find_points(root, "bar")]
    for strip in strips:
        ends = [(places[words][0], words) for _, words in strip.parts.values()]
        lefts = [x - LETTER * len(words) for x, words in ends]
        assert all(end < left for (end, _), left in zip(ends, lefts[1:], strict=False))
        beside = {y for words, (_, y) in places.items() if words == strip.day}
        below = places[ends[0][1]][1] not in beside
        assert below or max(bars) < lefts[0]
        assert lefts[0] >= 0
        assert max(places[words][1] for _, words in ends) < float(root.get("height"))


def test_a_long_number_pushes_its_label_aside():
    texts = {
        n: find_texts(
            ET.fromstring(
                draw_bars([Bar("a label", n, 0, 1)], whole=1, key="k", title="t", description="d")
            )
        )
        for n in ("7", "123,456,789")
    }
    assert texts["7"]["a label"][0] == 56
    assert texts["123,456,789"]["a label"][0] - 8.4 * 11 >= 0


def test_the_largest_parts_keep_their_order():
    sizes = {"a": 5, "b": 9, "c": 9, "d": 1}
    readings = Readings(
        "resolution_curves",
        {(name, "share"): Reading(0.5, n_episodes=n, status="ok") for name, n in sizes.items()},
    )
    assert choose_largest(readings, list(sizes), 2) == ["b", "c"]
    assert choose_largest(readings, list(sizes), 9) == list(sizes)


def test_many_reasons_and_many_trials_are_counted_and_not_all_drawn(plan):
    flow = [
        state(
            "probable_non_positional", 900, stratum="all", n_episodes=900, n_events=900, n_sites=9
        )
    ]
    reasons = [
        state(
            "share",
            0.5 - n / 50,
            stratum=f"reason={name}",
            n_episodes=900,
            n_events=400 - n,
            n_sites=9,
        )
        for n, name in enumerate(list(plan.criteria.flags)[:14])
    ]
    estimates = {
        "episode_flow": tidy_estimates(
            flow, analysis="episode_flow", population="pool", endpoint=None, method="count"
        ),
        "non_positional": tidy_estimates(
            reasons,
            analysis="non_positional",
            population="probable_non_positional",
            endpoint=None,
            method="m",
        ),
    }
    told = describe_apart(estimates, plan)
    assert told["figure"]["svg"].count('class="bar ') == apart.MOST
    assert f"{len(reasons) - apart.MOST}\u00a0rarer reason" in told["figure"]["caption"]
    rows = [
        state(
            f"resolved_by_day_{trial.day}",
            0.5,
            stratum=f"trial={name},first_maneuver={arm.family}",
            population=population,
            lower=0.4,
            upper=0.6,
            n_episodes=100,
            n_events=50,
            n_sites=9,
        )
        for name, trial in plan.published.trials.items()
        for arm in trial.arms
        for population in ("published", "positional")
    ]
    table = tidy_estimates(rows, analysis="published_comparison", endpoint="objective", method="m")
    section = describe_published({"published_comparison": table}, plan)
    assert (
        sum(panel["figure"]["svg"].count('class="dot ') for panel in section["panels"])
        == 2 * published.MOST
    )
    assert f"{len(rows) // 2 - published.MOST}\u00a0further comparisons" in " ".join(
        section["notes"]
    )


@settings(max_examples=25, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(
            [f"a={n}" for n in range(9)] + [f"a={n},b={m}" for n in range(9) for m in range(9)]
        ),
        st.integers(1, 700),
        min_size=1,
    )
)
def test_a_long_analysis_keeps_whole_parts_coarse_ones_first(parts):
    rows = pd.DataFrame({"stratum": np.repeat(list(parts), list(parts.values()))}).assign(
        term="share"
    )
    kept = condense_rows(rows.sample(frac=1, random_state=3))
    sizes = kept["stratum"].value_counts().to_dict()
    assert all(parts[stratum] == number for stratum, number in sizes.items())
    assert len(kept) <= MOST or len(sizes) == 1
    assert len(sizes) >= 1
    gone = set(parts) - set(sizes)
    assert all(stratum.count("=") >= max(name.count("=") for name in sizes) for stratum in gone)
    assert set(condense_rows(rows)["stratum"]) == set(sizes)
    if sum(parts.values()) <= MOST:
        assert not gone


@pytest.mark.parametrize("term", ["unresolved_upper_day_3", "unresolved_lower_day_30"])
def test_curves_by_day_are_in_the_files_only(term):
    rows = pd.DataFrame({"stratum": "all", "term": [term, "resolved_by_day_7"]})
    assert condense_rows(rows)["term"].tolist() == ["resolved_by_day_7"]
