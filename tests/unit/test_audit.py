"""The audit finds what can be worked out, no more and no less than trying all whole numbers does, and a release passes it or is none."""

from itertools import product

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclose.audit import find_exposed, find_exposed_quickly, find_small_remainders
from pipeline.disclose.cells import Cell, Release, list_cells
from pipeline.disclose.release import GivenAway, audit_release, release_estimates
from pipeline.disclose.suppress import hide_rows, name_small
from pipeline.models.tidy import state, tidy_estimates
from schemas.study import Disclosure

RULE = Disclosure(min_cell=11, min_sites=2, max_share=0.8)
SMALL = name_small(RULE.min_cell)


def table(counts: dict[str, int], whole: int | None = None) -> pd.DataFrame:
    rows = [state("followed", n, stratum=name, n_episodes=n, n_sites=3) for name, n in counts.items()]
    rows.append(
        state(
            "followed",
            whole or sum(counts.values()),
            stratum="all",
            n_episodes=whole or sum(counts.values()),
            n_sites=3,
        )
    )
    return tidy_estimates(
        rows, analysis="resolution_curves", population="positional", endpoint="objective", method="count"
    )


def two_way(values: dict[tuple[str, str], int]) -> pd.DataFrame:
    counts = {f"canal={a},arm={b}": n for (a, b), n in values.items()}
    for variable, place in (("canal", 0), ("arm", 1)):
        for value in sorted({key[place] for key in values}):
            counts[f"{variable}={value}"] = sum(n for key, n in values.items() if key[place] == value)
    return table(counts, sum(values.values()))


def hide(estimates: pd.DataFrame, *strata: str) -> pd.DataFrame:
    return hide_rows(estimates, estimates["stratum"].isin(strata), SMALL)


def exposed_of(estimates: pd.DataFrame, released: pd.DataFrame) -> set[str]:
    release = list_cells(estimates, released, RULE)
    return {release.cells[found.cell].where.split(", ")[2] for found in find_exposed(release, RULE.min_cell)}


def test_a_total_gives_the_only_hidden_part_away():
    estimates = table({"canal=posterior": 300, "canal=lateral": 100, "canal=anterior": 5})
    assert exposed_of(estimates, hide(estimates, "canal=anterior")) == {"canal=anterior"}
    assert exposed_of(estimates, hide(estimates, "canal=anterior", "canal=lateral")) == set()
    assert exposed_of(estimates, estimates) == set()  # what is shown is not hidden


def test_two_hidden_parts_that_are_few_together_are_a_small_group():
    estimates = table({"canal=posterior": 300, "canal=lateral": 4, "canal=anterior": 5})
    released = hide(estimates, "canal=anterior", "canal=lateral")
    assert exposed_of(estimates, released) != set()
    assert exposed_of(estimates, hide(released, "canal=posterior")) == set()


def test_margins_of_a_two_way_table_give_away_what_each_alone_does_not():
    values = {("a", "x"): 20, ("a", "y"): 5, ("b", "x"): 30, ("b", "y"): 40}
    estimates = two_way(values)
    alone = ["canal=a,arm=y"]
    assert exposed_of(estimates, hide(estimates, *alone)) == {"canal=a,arm=y"}
    row = hide(estimates, *alone, "canal=a,arm=x")
    assert exposed_of(estimates, row) == {"canal=a,arm=y"}  # the column still tells
    square = hide(estimates, *alone, "canal=a,arm=x", "canal=b,arm=x", "canal=b,arm=y")
    assert exposed_of(estimates, square) == set()


def test_parts_that_have_no_row_are_a_group_too():
    estimates = table({"canal=posterior": 300, "canal=lateral": 100}, whole=407)
    release = list_cells(estimates, estimates, RULE)
    (found,) = find_exposed(release, RULE.min_cell)
    assert (found.least, found.most) == (7, 7)


def test_events_shown_as_a_share_are_shown():
    rows = [
        state("share", e / n, stratum=s, n_episodes=n, n_events=e, n_sites=3)
        for s, e, n in (("all", 60, 200), ("arm=long", 55, 150), ("arm=short", 5, 50))
    ]
    estimates = tidy_estimates(rows, analysis="pool_description", population="positional", method="share")
    released = estimates.copy()
    released.loc[released["stratum"].eq("arm=short"), "n_events"] = pd.NA
    with pytest.raises(GivenAway):  # hidden as a number, told by the estimates of the others
        audit_release(estimates, hide_rows(released, released["stratum"].eq("arm=short"), SMALL), RULE)
    release = list_cells(estimates, released, RULE)
    small = next(n for n, cell in enumerate(release.cells) if cell.value == 5)
    assert small in release.shown


def try_all(release: Release, least_shown: int, most: int) -> set[int]:
    """The hidden small cells whose value is proved to be small, by trying every whole number up to `most`."""
    unknown = [n for n in range(len(release.cells)) if n not in release.shown]
    seen: dict[int, set[int]] = {n: set() for n in unknown}
    for values in product(range(most + 1), repeat=len(unknown)):
        guess = dict(zip(unknown, values, strict=True))
        value = lambda n, guess=guess: guess[n] if n in guess else release.cells[n].value  # noqa: E731
        if all(sum(sign * value(n) for n, sign in equation) == 0 for equation in release.equations):
            for n in unknown:
                seen[n].add(guess[n])
    return {
        n
        for n in unknown
        if 0 < release.cells[n].value < least_shown and seen[n] and min(seen[n]) >= 1 and max(seen[n]) < least_shown
    }


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 4), min_size=4, max_size=4), st.sets(st.integers(0, 8), max_size=4))
def test_the_audit_finds_what_trying_all_numbers_finds(inner, hidden):
    a, b, c, d = inner
    values = [a, b, c, d, a + b, c + d, a + c, b + d, a + b + c + d]
    release = Release()
    for k, value in enumerate(values):
        release.add(Cell(f"cell {k}", "episodes", value))
    for whole, parts in ((4, [0, 1]), (5, [2, 3]), (6, [0, 2]), (7, [1, 3]), (8, [4, 5]), (8, [6, 7])):
        release.relate(whole, parts, f"{whole}")
    release.shown = set(range(9)) - hidden
    wanted = try_all(release, 3, 16)
    together = {exposed.cell for exposed in find_small_remainders(release, 3)}
    assert {exposed.cell for exposed in find_exposed(release, 3)} == wanted | together
    assert {exposed.cell for exposed in find_exposed_quickly(release, 3)} <= wanted | together


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 60), min_size=6, max_size=6))
def test_a_release_passes_its_audit_whatever_the_counts(counts):
    keys = [(a, b) for a in "abc" for b in "xy"]
    estimates = two_way(dict(zip(keys, counts, strict=True)))
    released = release_estimates(estimates, RULE)
    audit_release(estimates, released, RULE)
    for column in ("n_episodes", "estimate"):
        assert not released[column].between(1, 10).any()


def test_primary_suppression_alone_fails_and_the_message_has_names_and_no_numbers():
    estimates = two_way({("a", "x"): 20, ("a", "y"): 5, ("b", "x"): 37, ("b", "y"): 48})
    alone = hide(estimates, "canal=a,arm=y")
    with pytest.raises(GivenAway) as failure:
        audit_release(estimates, alone, RULE)
    said = str(failure.value)
    assert "canal=a,arm=y" in said
    assert "resolution_curves" in said
    assert not any(number in said.replace("1 hidden", "") for number in ("5", "20", "25", "37", "48"))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(0, 40), min_size=6, max_size=6),
    st.lists(st.sets(st.integers(0, 10), max_size=5), min_size=2, max_size=2),
)
def test_a_release_is_found_also_where_parts_have_no_row_on_some_days(counts, missing):
    keys = [(a, b) for a in "abc" for b in "xy"]
    first, second = (two_way(dict(zip(keys, values, strict=True))) for values in (counts, [n // 2 for n in counts]))
    days = [
        rows.drop(index=[k for k in left_out if rows["stratum"][k] != "all"]).assign(term=f"at_risk_day_{day}")
        for day, rows, left_out in zip((0, 7), (first, second), missing, strict=True)
    ]
    estimates = pd.concat(days, ignore_index=True)
    audit_release(estimates, release_estimates(estimates, RULE), RULE)
