"""The audit finds what can be worked out, no more and no less than trying all whole numbers does,
and a release passes it or is none."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclosure.audit import EVERYBODY, Audit
from pipeline.disclosure.cells import Cells
from pipeline.disclosure.known import Known, Misread, Share, learn_known
from pipeline.disclosure.people import Group
from pipeline.disclosure.program import Contradiction
from pipeline.disclosure.protect import hide_rows
from pipeline.disclosure.release import GivenAway, find_all, hide_what_tells, state_all
from pipeline.disclosure.rounding import round_counts
from pipeline.statistics.tidy import state, tidy_estimates
from tests.pool_of_counts import (
    CANALS,
    MECHANISMS,
    RULE,
    SITES,
    curves,
    describe,
    release,
    spread,
    two_way,
)


def hide(estimates: pd.DataFrame, *strata: str) -> set[str]:
    """What the audit finds if nothing is hidden but these strata."""
    stated = state_all(estimates, RULE)
    safe = hide_rows(
        stated.rows, list(stated.rows.index[stated.rows["stratum"].isin(strata)]), "hidden"
    )
    known = learn_known(stated.audit.cells, safe, stated.described, RULE)
    exposed = find_all(stated.audit, known)
    return {stated.audit.cells.keys[each.cell].say() for each in exposed}


def test_a_total_gives_the_only_hidden_part_away():
    estimates = curves({"canal=posterior": 300, "canal=lateral": 100, "canal=anterior": 5})
    assert hide(estimates, "canal=anterior") == {"followed objective, canal=anterior"}
    assert hide(estimates, "canal=anterior", "canal=lateral") == set()


def test_two_hidden_parts_that_are_few_together_are_a_small_group():
    estimates = curves({"canal=posterior": 300, "canal=lateral": 4, "canal=anterior": 5})
    assert hide(estimates, "canal=anterior", "canal=lateral") != set()
    assert hide(estimates, "canal=anterior", "canal=lateral", "canal=posterior") == set()


def test_margins_of_a_two_way_table_give_away_what_each_alone_does_not():
    estimates = two_way(
        {
            ("anterior", "canalolithiasis"): 40,
            ("anterior", "cupulolithiasis"): 5,
            ("lateral", "canalolithiasis"): 30,
            ("lateral", "cupulolithiasis"): 40,
        }
    )
    small = "canal=anterior,mechanism=cupulolithiasis"
    assert hide(estimates, small) == {
        "followed objective, canal=anterior, mechanism=cupulolithiasis"
    }
    # the column still tells
    assert hide(estimates, small, "canal=anterior,mechanism=canalolithiasis") != set()
    assert (
        hide(estimates, *(f"canal={a},mechanism={b}" for a in CANALS[:2] for b in MECHANISMS))
        == set()
    )


def test_parts_that_have_no_row_are_a_group_too():
    assert hide(curves({"canal=posterior": 300, "canal=lateral": 100}, whole=407)) != set()


def test_a_count_is_known_wherever_it_is_told():
    # the description of the pool and the flow tell of the same people
    sexes = describe("sex", {"female": 300, "male": 95, "unknown": 5})
    stated = state_all(
        pd.concat([sexes, describe("age", {"18-44": 200, "45-54": 200})], ignore_index=True), RULE
    )
    groups = [
        key for key in stated.audit.cells.keys if isinstance(key, Group) and key.name == "stored"
    ]
    assert Group("stored", frozenset({("sex", "*")})) in groups
    assert Group("stored", frozenset({("age", "*")})) in groups


def build_square(values: list[int]) -> Cells:
    """Four cells in a square, their margins and their whole."""
    cells = Cells(0)
    for k, value in enumerate(values):
        cells.add(Group(f"cell {k}"), value)
    for whole, parts in (
        (4, [0, 1]),
        (5, [2, 3]),
        (6, [0, 2]),
        (7, [1, 3]),
        (8, [4, 5]),
        (8, [6, 7]),
    ):
        cells.relate(whole, parts, f"{whole}")
    return cells


def try_all(
    values: list[int], cells: Cells, bounds: np.ndarray, least_shown: int, most: int
) -> set[int]:
    """The cells whose value is proved to be small, by trying every whole number up to `most`."""
    free = [n for n in range(len(values)) if bounds[n, 0] != bounds[n, 1]]
    seen: dict[int, set[int]] = {n: set() for n in free}
    for guess in product(
        *(range(int(bounds[n, 0]), int(min(bounds[n, 1], most)) + 1) for n in free)
    ):
        trial = dict(enumerate(values)) | dict(zip(free, guess, strict=True))
        if all(sum(sign * trial[n] for n, sign in equation) == 0 for equation in cells.equations):
            for n in free:
                seen[n].add(trial[n])
    return {n for n in free if seen[n] and min(seen[n]) >= 1 and max(seen[n]) < least_shown}


@settings(max_examples=60)
@given(
    st.lists(st.integers(0, 4), min_size=4, max_size=4),
    st.sets(st.integers(0, 8), max_size=4),
    st.sets(st.integers(0, 8), max_size=3),
)
def test_the_audit_finds_what_trying_all_numbers_finds(inner, hidden, rounded):
    a, b, c, d = inner
    values = [a, b, c, d, a + b, c + d, a + c, b + d, a + b + c + d]
    cells = build_square(values)
    bounds = np.array([[v, v] for v in values], dtype=float)
    bounds[sorted(rounded)] = [
        [max(values[n] - 1, 0), values[n] + 1] for n in sorted(rounded)
    ] or np.empty((0, 2))
    bounds[sorted(hidden)] = [0, np.inf]
    audit = Audit(cells, 3)
    wanted = try_all(values, cells, bounds, 3, 17)
    quickly = {exposed.cell for exposed in audit.find_quickly(Known(bounds))}
    together = {exposed.cell for exposed in audit.find_quickly(Known(bounds)) if exposed.least == 0}
    shown = {n for n in range(9) if bounds[n, 0] == bounds[n, 1] and 1 <= values[n] < 3}
    exposed = quickly | {each.cell for each in audit.find(Known(bounds))}
    assert wanted <= exposed
    assert exposed <= wanted | together | shown
    assert {each.cell for each in audit.find(Known(bounds))} <= wanted | shown
    for example in audit.examples:  # by which cells are safe
        sums = [sum(sign * example[n] for n, sign in equation) for equation in cells.equations]
        assert all(total == 0 or np.isnan(total) for total in sums)
        assert not ((example < bounds[:, 0]) | (example > bounds[:, 1])).any()


def test_whole_numbers_prove_what_fractions_do_not():
    # a + b = x, b + c = x, a + c = x: all are x / 2, which is no whole number if x is odd; with one
    # more in a, b + 1 = a = c
    cells = Cells(0)
    for name, value in (("a", 5), ("b", 4), ("c", 5), ("ab", 9), ("bc", 9), ("ac", 10)):
        cells.add(Group(name), value)
    place = {key.name: n for n, key in enumerate(cells.keys)}
    for whole in ("ab", "bc", "ac"):
        cells.relate(place[whole], [place[name] for name in whole], whole)
    bounds = np.array([[0, np.inf]] * 3 + [[9, 9], [9, 9], [10, 10]], dtype=float)
    assert {cells.keys[exposed.cell].name for exposed in Audit(cells, 11).find(Known(bounds))} == {
        "a",
        "b",
        "c",
    }


def carry_share(
    whole: tuple[int, int], part: tuple[int, int], low: float, high: float
) -> list[list[float]]:
    """What is known of a whole and of its part, each by its ends,
    once the part is a share of the whole."""
    cells = Cells(0)
    for name in ("whole", "part"):
        cells.add(Group(name), 0)
    known = Known(
        np.array([whole, part], dtype=float), {("row", "told"): Share(1, 0, low, high, 0.0, 1.0)}
    )
    return np.column_stack(Audit(cells, 3).carry(known)).tolist()


def test_a_share_tells_of_the_whole_by_its_part():
    # a share of a whole number of people: the end itself can be
    assert carry_share((40, 40), (0, 40), 0.5, 0.55) == [[40, 40], [20, 22]]
    # 43 or 44 people are 20.5 to 21.5 % of 200 (43 / .215) to 214 (44 / .205) people; of exactly 43
    # it is at most 209
    assert carry_share((150, np.inf), (43, 44), 0.205, 0.215) == [[200, 214], [43, 44]]
    assert carry_share((205, 214), (43, 43), 0.205, 0.215) == [[205, 209], [43, 43]]
    assert carry_share((205, 209), (0, np.inf), 0.205, 0.215) == [[205, 209], [43, 44]]


@settings(max_examples=100)
@given(
    st.integers(15, 60),
    st.data(),
    st.integers(0, 9),
    st.integers(0, 9),
    st.sampled_from([0.005, 0.025]),
)
def test_what_a_share_leaves_open_is_never_shut_out(whole, data, below, above, half):
    part = data.draw(st.integers(1, whole - 1))
    share = round(part / whole / (2 * half)) * 2 * half
    ends = (whole - below, whole + above), (max(part - above, 0), part + below)
    (least, most), (fewest, greatest) = carry_share(*ends, share - half, share + half)
    fits = [
        (n, k)
        for n in range(ends[0][0], ends[0][1] + 1)
        for k in range(ends[1][0], ends[1][1] + 1)
        if (share - half) * n - 1e-9 <= k <= (share + half) * n + 1e-9
    ]
    assert (whole, part) in fits
    assert all(least <= n <= most and fewest <= k <= greatest for n, k in fits)


def test_each_claim_is_proved_once():
    # a + b = x, b + c = x, a + c = x, with x odd but for the last: all follow, none twice
    cells = Cells(0)
    for name, value in (("a", 5), ("b", 4), ("c", 5), ("ab", 9), ("bc", 9), ("ac", 10)):
        cells.add(Group(name), value)
    for n, parts in enumerate(((0, 1), (1, 2), (0, 2)), start=3):
        cells.relate(n, list(parts), f"{n}")
    bounds = np.array([[0, np.inf]] * 3 + [[9, 9], [9, 9], [10, 10]], dtype=float)
    assert [exposed.cell for exposed in Audit(cells, 11).find(Known(bounds))] == [0, 1, 2]


def show(*ends: tuple[float, float]) -> Known:
    """What is known of each cell, by its ends."""
    return Known(np.array(ends, dtype=float))


@pytest.mark.parametrize(("least_shown", "cells_exposed"), [(4, []), (5, [1]), (6, [0, 1, 2])])
def test_a_count_one_below_the_least_shown_is_small_and_the_least_shown_is_not(
    least_shown, cells_exposed
):
    # as above: what follows are 5, 4 and 5 people
    cells = Cells(0)
    for name, value in (("a", 5), ("b", 4), ("c", 5), ("ab", 9), ("bc", 9), ("ac", 10)):
        cells.add(Group(name), value)
    for n, parts in enumerate(((0, 1), (1, 2), (0, 2)), start=3):
        cells.relate(n, list(parts), f"{n}")
    audit = Audit(cells, least_shown)
    known = show(*[(0, np.inf)] * 3, (9, 9), (9, 9), (10, 10))
    assert [each.cell for each in audit.find(known) if each.cell < 3] == cells_exposed


@pytest.mark.parametrize(
    ("came", "few"),
    [(-3, False), (-2, True), (-1, True), (0, False), (1, True), (2, True), (3, False)],
)
def test_few_who_came_or_left_since_an_earlier_release_are_a_small_group(came, few):
    cells = Cells(0)
    cells.growth.add(cells.add(Group("came"), came))
    assert bool(Audit(cells, 3).find_quickly(show((came, came)))) is few


def test_what_may_be_nobody_or_many_is_no_proof():
    cells = Cells(0)
    cells.growth.add(cells.add(Group("came"), 1))
    audit = Audit(cells, 3)
    assert audit.find_quickly(show((1, 3))) == []
    assert audit.find_quickly(show((0, 2))) == []
    assert [exposed.cell for exposed in audit.find_quickly(show((1, 2)))] == [0]


@pytest.mark.parametrize(("most", "cells_exposed"), [(6, [0]), (7, [])])
def test_a_count_must_seem_to_be_able_to_be_no_single_sites(most, cells_exposed):
    cells = Cells(0)
    cells.floor[cells.add(Group("a"), 6)] = 7
    assert [each.cell for each in Audit(cells, 3).find_quickly(show((3, most)))] == cells_exposed


@pytest.mark.parametrize(
    ("whole", "shown", "together"), [(5, 3, 2), (6, 3, None), (3, 3, None), (4, 3, 1)]
)
def test_hidden_parts_that_are_few_together_are_found_by_what_is_left(whole, shown, together):
    cells = Cells(0)
    for name, value in (("whole", whole), ("shown", shown), ("a", whole - shown), ("b", 0)):
        cells.add(Group(name), value)
    cells.relate(0, [1, 2, 3], "")
    known = show((whole, whole), (shown, shown), (0, np.inf), (0, np.inf))
    exposed = [each for each in Audit(cells, 3).find_quickly(known) if each.cell != 1]
    bounds = [(each.cell, each.least, each.most) for each in exposed if each.cell > 1]
    assert bounds == ([] if together is None else [(2, 0, together)])


def test_of_a_hidden_whole_nothing_is_left_over():
    cells = Cells(0)
    for name, value in (("whole", 40), ("shown", 2), ("a", 18), ("b", 20)):
        cells.add(Group(name), value)
    cells.relate(0, [1, 2, 3], "")
    known = show((0, np.inf), (2, 2), (0, np.inf), (0, np.inf))
    # the one that is shown is small; of the others no remainder is told
    assert [each.cell for each in Audit(cells, 3).find_quickly(known)] == [1]


@pytest.mark.parametrize(("value", "exposed"), [(12, False), (13, True), (22, True), (23, False)])
def test_a_site_that_knows_its_own_must_not_learn_that_few_others_are_there(value, exposed):
    cells = Cells(2)
    cells.add(Group("a"), value, np.array([12.0, value - 12.0]))
    audit = Audit(cells, 11)
    assert audit.everybody == (EVERYBODY, 0, 1)
    exposed_to_site = audit.find_quickly(show((value, value)), 0)
    assert [(each.cell, each.eyes) for each in exposed_to_site] == ([(0, 0)] if exposed else [])
    assert audit.find_quickly(show((value, value))) == []


def test_a_site_knows_that_its_own_are_in_a_cell():
    cells = Cells(1)
    cells.add(Group("a"), 9, np.array([7.0]))
    least, most = Audit(cells, 3).carry(show((0, 20)), 0)
    assert (least[0], most[0]) == (7, 20)
    least, most = Audit(cells, 3).carry(show((0, 20)))
    assert (least[0], most[0]) == (0, 20)


def test_what_contradicts_itself_is_no_release():
    cells = Cells(0)
    for name, value in (("whole", 5), ("a", 3), ("b", 2)):
        cells.add(Group(name), value)
    cells.relate(0, [1, 2], "")
    with pytest.raises(Contradiction):
        Audit(cells, 3).carry(show((5, 5), (4, 4), (2, 2)))


@pytest.mark.parametrize(
    ("value", "examples", "stays"),
    [
        (2, [], True),
        (1, [], True),
        (0, [], False),
        (3, [], False),
        (np.nan, [], True),
        (2, [0], False),
        (2, [3], False),
        (2, [1], True),
        (2, [2], True),
        (2, [9], True),  # cannot be: it refutes nothing
        (2, [np.nan], True),
        (2, [1, 3], False),
    ],
)
def test_a_claim_is_open_until_its_truth_or_an_example_refutes_it(value, examples, stays):
    cells = Cells(0)
    cells.add(Group("a"), value)
    audit = Audit(cells, 3)  # that one or two people are there
    audit.examples = [np.array([float(number)]) for number in examples]
    still = audit.list_open(EVERYBODY, np.array([0.0]), np.array([5.0]))
    assert still.cell.tolist() == ([0] if stays else [])
    known = audit.list_open(EVERYBODY, np.array([2.0]), np.array([2.0]))
    assert known.cell.tolist() == []  # what is known is not asked


def test_ends_go_on_through_chains_of_sums():
    # a + b = c and c + d = e: of e and the others follows each
    cells = Cells(0)
    for name, value in (("a", 2), ("b", 5), ("c", 7), ("d", 4), ("e", 11)):
        cells.add(Group(name), value)
    cells.relate(2, [0, 1], "")
    cells.relate(4, [2, 3], "")
    least, most = Audit(cells, 3).carry(show((0, np.inf), (4, 6), (0, np.inf), (4, 4), (11, 11)))
    assert np.column_stack([least, most]).tolist() == [[1, 3], [4, 6], [7, 7], [4, 4], [11, 11]]


def test_a_site_takes_itself_away():
    cells = Cells(1)
    for name, value, owned in (("whole", 40, 30), ("part", 20, 18), ("rest", 20, 12)):
        cells.add(Group(name), value, np.array([float(owned)]))
    cells.relate(0, [1, 2], "whole")
    audit = Audit(cells, 11)
    bounds = np.array([[40, 40], [20, 20], [20, 20]], dtype=float)
    assert audit.find_quickly(Known(bounds), EVERYBODY) == []
    # 10, 2 and 8 others
    assert {exposed.cell for exposed in audit.find_quickly(Known(bounds), 0)} == {0, 1, 2}
    assert audit.everybody == (EVERYBODY, 0)


@settings(max_examples=15)
@given(st.lists(st.integers(0, 60), min_size=6, max_size=6))
def test_a_release_passes_its_audit_whatever_the_counts(counts):
    keys = [(a, b) for a in CANALS[:3] for b in MECHANISMS]
    made = release(two_way(dict(zip(keys, counts, strict=True))))
    assert not made.rows["n_episodes"].between(1, 10).any()
    audit = made.stated.audit
    assert [exposed for eyes in audit.everybody for exposed in audit.find(made.known, eyes)] == []


def test_what_cannot_be_covered_is_not_released_and_the_message_has_names_and_no_numbers(
    monkeypatch,
):
    estimates = two_way(
        {
            ("anterior", "canalolithiasis"): 20,
            ("anterior", "cupulolithiasis"): 5,
            ("lateral", "canalolithiasis"): 37,
            ("lateral", "cupulolithiasis"): 48,
        }
    )
    stated = state_all(estimates, RULE)
    alone = hide_rows(
        stated.rows,
        list(
            stated.rows.index[stated.rows["stratum"].eq("canal=anterior,mechanism=cupulolithiasis")]
        ),
        "hidden",
    )
    monkeypatch.setattr("pipeline.disclosure.release.Cover.add", lambda self, exposed: False)
    with pytest.raises(GivenAway) as failure:
        hide_what_tells(stated, alone, RULE)
    message = str(failure.value)
    assert "canal=anterior, mechanism=cupulolithiasis" in message
    assert not any(
        number in message.replace("1 hidden", "") for number in ("5", "20", "25", "37", "48")
    )


def test_what_is_shown_is_known_and_marks_say_nothing():
    estimates = curves({"canal=posterior": 300, "canal=lateral": 100, "canal=anterior": 5})
    stated = state_all(estimates, RULE)
    cells = stated.audit.cells
    place = {key.say(): n for n, key in enumerate(cells.keys)}
    lateral = list(stated.rows.index[stated.rows["stratum"].eq("canal=lateral")])
    bounds = learn_known(cells, hide_rows(stated.rows, lateral), stated.described, RULE).bounds
    # a mark tells nothing
    assert bounds[place["followed objective, canal=lateral"]].tolist() == [0, np.inf]
    assert bounds[place["followed objective, canal=posterior"]].tolist() == [300, 300]


def test_sessions_on_both_sides_of_a_share_may_be_those_of_fewer_people():
    # 18 people had 26 sessions, 15 of them without success: there need not be 22 people
    row = state(
        "success_raw",
        11 / 26,
        stratum="family=epley,canal_arm=posterior long,mechanism=canalolithiasis",
        n_episodes=18,
        n_events=11,
        n_sites=5,
        by_site=spread(18),
    )
    estimates = tidy_estimates(
        [row],
        analysis="attempt_success",
        population="positional, attempts with a deciding test",
        method="m",
    )
    stated = state_all(estimates, RULE)
    cells = stated.audit.cells
    known = learn_known(
        cells, round_counts(stated.rows, stated.described, 10), stated.described, RULE
    )
    n = next(n for n, key in enumerate(cells.keys) if cells.values[n] == 18)
    assert known.bounds[n].tolist() == [15, 24]


def test_a_quantity_that_counts_other_people_than_are_declared_is_named():
    estimates = curves({"canal=posterior": 300})
    other = tidy_estimates(
        [
            state(
                "resolved_by_day_7",
                0.5,
                stratum="canal=posterior",
                n_episodes=100,
                n_sites=5,
                n_events=50,
                by_site=spread(100),
            )
        ],
        analysis="resolution_curves",
        population="positional",
        endpoint="objective",
        method="m",
    )
    with pytest.raises(Misread) as refused:
        release(pd.concat([estimates, other], ignore_index=True))
    assert "median_days" in str(refused.value)
    assert not any(number in str(refused.value) for number in ("100", "300"))


@pytest.mark.parametrize("elsewhere", [(3, 2, 1), (3, 3, 0), (6, 0, 0)])
def test_small_parts_that_are_few_together_are_not_told_by_the_whole_and_the_large_part(elsewhere):
    # 400 of 2,600 at one place, 6 elsewhere: all and the large part, each in shares and rounded,
    # tell of 6 people; a place without any is one of the others to whoever does not know that
    def row(stratum: str, events: int, whole: int) -> dict:
        return state(
            "adverse_any",
            events / whole,
            stratum=stratum,
            n_episodes=whole,
            n_events=events,
            n_sites=5,
            by_site=" ".join(
                f"{site}={whole // 5}/{events // 5 + (k < events % 5)}"
                for k, site in enumerate(SITES)
            ),
        )

    others = dict(zip(("home alone", "home supervised", "several"), elsewhere, strict=True))
    people = {"home alone": 90, "home supervised": 80, "several": 95}
    sizes = {"clinic": (400, 2600)} | {place: (n, people[place]) for place, n in others.items()}
    everybody = tuple(map(sum, zip(*sizes.values(), strict=True)))
    rows = [row(f"place={place}", *counts) for place, counts in sizes.items()]
    estimates = tidy_estimates(
        [row("all", *everybody), *rows],
        analysis="adverse_events",
        population="positional",
        method="m",
    )
    cells = state_all(estimates, RULE).audit.cells
    together = [n for n, key in enumerate(cells.keys) if "larger parts" in key.say()]
    assert [cells.values[n] for n in together] == [6]
    released = release(estimates)
    audit = released.stated.audit
    least, most = audit.carry(released.known)
    assert not 1 <= least[together[0]] <= most[together[0]] <= 10
