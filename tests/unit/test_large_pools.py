"""Pools of any size fit: what is drawn is limited and what is not drawn is counted; numbers never touch each other."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.committee import apart, published
from pipeline.committee.apart import describe_apart
from pipeline.committee.published import describe_published
from pipeline.committee.readings import Reading, Readings
from pipeline.committee.strata import choose_largest
from pipeline.figures.bars import Bar, draw_bars
from pipeline.figures.curves import draw_curve
from pipeline.models.tidy import state, tidy_estimates
from pipeline.technical.condense import MOST, condense_rows
from tests.unit.test_figures import RISING, SVG, UNTIL, find_texts, make_curve

LETTER = 6.9  # pixels: width of a digit of the numbers at risk in DejaVu Sans, from its metrics (0.636 of 11), rounded down to what is seen
TICKS = (0, 7, 14, 30)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 8))
def test_numbers_at_risk_never_touch(digits):
    words = {f"d{day}": f"{10**digits - 1 - day:,}" for day in TICKS}
    svg = draw_curve(make_curve(RISING, **words), key="k", title="t", description="d", until=UNTIL, ticks=TICKS)
    root = ET.fromstring(svg)
    places = find_texts(root)
    anchors = {text.text: text.get("style", "") for text in root.iter(f"{SVG}text")}
    spans: dict[float, list[tuple[float, float]]] = {}
    for label in words.values():
        (x, y), width = places[label], LETTER * len(label)
        left = (
            x - width if "anchor: end" in anchors[label] else x - width / 2 if "anchor: middle" in anchors[label] else x
        )
        spans.setdefault(y, []).append((left, left + width))
        assert y < float(root.get("height"))
    for line in spans.values():
        line.sort()
        assert all(before[1] < after[0] for before, after in pairwise(line))


def test_a_long_number_pushes_its_label_aside():
    texts = {
        n: find_texts(ET.fromstring(draw_bars([Bar("a label", n, 0, 1)], whole=1, key="k", title="t", description="d")))
        for n in ("7", "123,456,789")
    }
    assert texts["7"]["a label"][0] == 56
    assert texts["123,456,789"]["a label"][0] - 8.4 * 11 >= 0


def test_the_largest_parts_keep_their_order():
    sizes = {"a": 5, "b": 9, "c": 9, "d": 1}
    readings = Readings({(name, "share"): Reading(0.5, n_episodes=n, status="ok") for name, n in sizes.items()})
    assert choose_largest(readings, list(sizes), 2) == ["b", "c"]
    assert choose_largest(readings, list(sizes), 9) == list(sizes)


def test_many_reasons_and_many_trials_are_counted_and_not_all_drawn(plan):
    flow = [state("probable_non_positional", 900, stratum="all", n_episodes=900, n_events=900, n_sites=9)]
    reasons = [
        state("share", 0.5 - n / 50, stratum=f"reason={name}", n_episodes=900, n_events=400 - n, n_sites=9)
        for n, name in enumerate(list(plan.criteria.flags)[:14])
    ]
    estimates = {
        "episode_flow": tidy_estimates(flow, analysis="episode_flow", population="pool", endpoint=None, method="count"),
        "non_positional": tidy_estimates(
            reasons, analysis="non_positional", population="probable_non_positional", endpoint=None, method="m"
        ),
    }
    told = describe_apart(estimates, plan)
    assert told["figure"]["svg"].count('class="bar"') == apart.MOST
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
    assert sum(panel["figure"]["svg"].count('class="dot"') for panel in section["panels"]) == 2 * published.MOST
    assert f"{len(rows) // 2 - published.MOST}\u00a0further comparisons" in " ".join(section["notes"])


@settings(max_examples=25, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from([f"a={n}" for n in range(9)] + [f"a={n},b={m}" for n in range(9) for m in range(9)]),
        st.integers(1, 700),
        min_size=1,
    )
)
def test_a_long_analysis_keeps_whole_parts_coarse_ones_first(parts):
    rows = pd.DataFrame({"stratum": np.repeat(list(parts), list(parts.values()))}).assign(term="share")
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
