"""Orders of maneuvers: differences from the usual one in words, clear only where their interval
is, in a fixed sequence that ranks nothing."""

import pytest

from pipeline.reports.committee.order_pictures import describe_orders
from pipeline.reports.committee.order_readings import COMPARISON, NEEDED, read_orders
from pipeline.reports.committee.orders import (
    MOST,
    say_orders,
    tabulate_numbers,
    tabulate_orders,
)
from pipeline.statistics.tidy import state, withhold
from tests.unit.reports.committee.sections import table, words

POSTERIOR = "variant=posterior_long_arm,strategy="
TERMS = (
    "resolved_after_1_sessions",
    "resolved_after_2_sessions",
    "resolved_after_3_sessions",
    "resolved_by_day_30",
)


def tell(order: str, days: float, share: float, stratum: str = POSTERIOR) -> list[dict]:
    fields = {"stratum": f"{stratum}{order}", "n_sites": 8}
    means = {"mean_days_with_vertigo": days, "mean_sessions": 1.6}
    return [
        *(state(t, share, lower=share - 0.1, upper=share + 0.04, **fields) for t in TERMS),
        *(state(t, mean, lower=mean - 1, upper=mean + 1, **fields) for t, mean in means.items()),
    ]


def differ(order: str, days: tuple, points: tuple, stratum: str = POSTERIOR) -> list[dict]:
    fields = {"stratum": f"{stratum}{order}", "n_sites": 8, "comparison": COMPARISON}
    terms = {"mean_days_with_vertigo": days, "resolved_by_day_30": points}
    return [
        state(f"difference_{term}", number, lower=low, upper=high, **fields)
        for term, (number, low, high) in terms.items()
    ]


def need(order: str, number: int) -> dict:
    return state(NEEDED, number, stratum=f"{POSTERIOR}{order}", n_sites=8, comparison=COMPARISON)


def refuse(stratum: str, term: str = "mean_days_with_vertigo", **more) -> dict:
    return withhold(term, "too_few", "few", stratum=stratum, **more)


EPLEY = tell("epley", 6.1, 0.95)
SEMONT = [
    *tell("epley > semont", 6.7, 0.92),
    *differ("epley > semont", (0.6, -2.0, 3.2), (-0.02, -0.13, 0.08)),
]
DAROFF = [
    *tell("epley > epley > brandt_daroff", 7.0, 0.89),
    *differ("epley > epley > brandt_daroff", (0.9, 0.1, 1.6), (-0.06, -0.12, -0.01)),
]
FEW = [
    refuse("variant=lateral_geotropic,strategy=gufoni"),
    refuse("variant=lateral_geotropic,strategy=gufoni > zuma"),
    refuse(
        "variant=lateral_geotropic,strategy=gufoni > zuma",
        "difference_mean_days_with_vertigo",
        comparison=COMPARISON,
    ),
]


def read(rows, plan):
    return read_orders(table("strategies", rows), plan)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_difference_is_said_in_words_with_its_limits(plan):
    orders = tabulate_orders(read([*EPLEY, *SEMONT, *FEW], plan), plan)
    group = orders["groups"][0]
    assert group["heading"] == "Posterior canal, long arm. Usual: Epley again until negative"
    assert group["rows"] == [
        {
            "name": "Epley once, then Semont",
            "cells": [
                "0.6 more (2.0 fewer to 3.2 more)",
                # of the shares that are printed: 92 and 95
                "3 fewer (13 fewer to 8 more)",
                "no clear difference",
            ],
        }
    ]


def test_a_difference_is_clear_only_where_its_limits_exclude_none(plan):
    variants = read([*EPLEY, *SEMONT, *DAROFF], plan)
    last = tabulate_orders(variants, plan)["groups"][0]["rows"][-1]
    assert last["name"] == "Epley twice, then Brandt-Daroff"
    assert last["cells"][-1] == "clear: more days, fewer resolved"
    text = plain(say_orders(variants, plan))
    assert "2 can be compared with the usual one, and 1 differs clearly" in text
    assert "does not show why" in text
    assert "1 can be compared with the usual one, and none differs clearly" in plain(
        say_orders(read([*EPLEY, *SEMONT], plan), plan)
    )


@pytest.mark.parametrize(("second", "disputed"), [(0.8, False), (-0.9, True)])
def test_an_order_is_no_finding_where_two_ways_of_estimating_disagree(plan, second, disputed):
    """The first way says 0.9 more days (0.1 to 1.6)."""
    numbers = (second, second - 0.8, second + 0.8)
    weighted = differ("epley > epley > brandt_daroff", numbers, (-0.05, -0.2, 0.1))
    estimates = table("strategies", [*EPLEY, *DAROFF]) | table("weighted_strategies", weighted)
    variants = read_orders(estimates, plan)
    last = tabulate_orders(variants, plan)["groups"][0]["rows"][-1]
    sentence = plain(say_orders(variants, plan))
    if disputed:
        assert last["cells"][-1] == "two ways of estimating disagree: cannot tell yet"
        assert "none differs clearly" in sentence
        assert "two ways of estimating disagree: cannot tell yet" in sentence
    else:
        assert last["cells"][-1].startswith("clear")
        assert "1 differs clearly" in sentence
        assert "disagree" not in sentence
    section = plain(words(describe_orders(estimates, plan)))
    assert "Of 1 order the second way has a number for 1." in section
    titles = [panel["name"] for panel in describe_orders(estimates, plan)["panels"]]
    assert [title[:1] for title in titles] == ["0" if disputed else "1"]


def test_variants_without_numbers_are_named_once(plan):
    section = describe_orders(table("strategies", [*EPLEY, *SEMONT, *FEW]), plan)
    assert "cannot tell yet about orders in: lateral canal, geotropic." in words(section)
    assert [panel["figure"]["svg"].count("canal") > 0 for panel in section["panels"]] == [True]
    assert "geotropic" not in section["panels"][0]["figure"]["svg"]


def test_a_variant_has_each_number_beside_its_difference(plan):
    (variant,) = read([*EPLEY, *SEMONT], plan)
    rows = tabulate_numbers(variant, plan)["groups"][0]["rows"]
    cells = {row["name"]: [plain(cell) for cell in row["cells"]] for row in rows}
    assert cells["Epley again until negative (usual)"][-2:] == [
        "6.1 (5.1 to 7.1)",
        "1.6 (0.6 to 2.6)",
    ]
    assert cells["less the usual"][3:5] == ["−3 (−13 to +8)", "+0.6 (−2.0 to +3.2)"]
    assert tabulate_numbers(read(FEW, plan)[0], plan) is None


def test_a_picture_has_each_order_and_tells_clear_differences_by_their_mark(plan):
    section = describe_orders(table("strategies", [*EPLEY, *SEMONT, *DAROFF]), plan)
    (panel,) = section["panels"]
    assert panel["name"].startswith("1 of 2")
    drawn = panel["figure"]["svg"]
    assert (drawn.count('class="dot clear"'), drawn.count('class="dot unclear"')) == (1, 1)
    words = plain(panel["figure"]["alt"])
    assert "Usual: Epley again until negative 6.1 (5.1 to 7.1) days" in words
    assert "Epley twice, then Brandt-Daroff +0.9 (+0.1 to +1.6)" in words


def test_many_orders_are_drawn_in_several_pictures_and_none_is_lost(plan):
    families = ("semont", "gans", "gufoni", "zuma", "casani", "barbecue_roll", "bow_and_yaw")
    orders = [f"epley > {f}" for f in families] + [f"epley > epley > {f}" for f in families]
    rows = [row for order in orders for row in tell(order, 6.1, 0.95)]
    rows += [row for order in orders for row in differ(order, (0.0, -1.0, 1.0), (0.0, -0.1, 0.1))]
    section = describe_orders(table("strategies", [*EPLEY, *rows]), plan)
    assert len(section["panels"]) == 2
    drawn = [panel["figure"]["svg"].count('class="dot ') for panel in section["panels"]]
    assert sum(drawn) == len(orders)


def test_the_sequence_of_orders_follows_the_plan_and_not_their_numbers(plan):
    def names(rows):
        return [r["name"] for r in tabulate_orders(read(rows, plan), plan)["groups"][0]["rows"]]

    turned = [
        *tell("epley > semont", 9.7, 0.5),
        *differ("epley > semont", (3.6, 2.0, 5.2), (-0.45, -0.5, -0.4)),
    ]
    expected = ["Epley once, then Semont", "Epley twice, then Brandt-Daroff"]
    assert names([*EPLEY, *SEMONT, *DAROFF]) == names([*DAROFF, *turned, *EPLEY]) == expected


def test_where_there_are_many_orders_the_first_page_has_the_clear_ones(plan):
    families = ("gans", "gufoni", "zuma", "casani", "barbecue_roll", "bow_and_yaw")
    orders = [f"epley > {family}" for family in families]
    orders += [f"epley > epley > {family}" for family in families]
    many = [row for order in orders for row in tell(order, 6.1, 0.95)]
    many += [row for order in orders for row in differ(order, (0.0, -1.0, 1.0), (0.0, -0.1, 0.1))]
    many += [need(order, 40 * n) for n, order in enumerate(orders, 1)]
    shown = tabulate_orders(read([*EPLEY, *DAROFF, *many], plan), plan)
    assert len(orders) > MOST
    assert [row["name"] for row in shown["groups"][0]["rows"]] == [
        "Epley twice, then Brandt-Daroff"
    ]
    assert "12 further orders without a clear difference" in plain(shown["note"])
    assert "about 40 to 480" in plain(shown["note"])


def test_an_order_without_a_clear_difference_says_how_many_more_would_tell_it(plan):
    orders = tabulate_orders(read([*EPLEY, *SEMONT, need("epley > semont", 1250)], plan), plan)
    assert orders["groups"][0]["rows"][0]["cells"][-1] == "no clear difference; ≈1,250 more"


@pytest.mark.parametrize("rows", [[], FEW, EPLEY])
def test_what_cannot_be_compared_is_not(rows, plan):
    variants = read(rows, plan) if rows else read_orders({}, plan)
    assert tabulate_orders(variants, plan) is None
    assert "cannot tell yet" in say_orders(variants, plan)
    assert "cannot tell yet" in words(
        describe_orders(table("strategies", rows) if rows else {}, plan)
    )
