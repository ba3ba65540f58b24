"""Who came between two releases: hidden if they are few, in a cell or in a difference of sums of cells."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclose.between import find_small_changes, read_before
from pipeline.disclose.release import GivenAway, audit_release, release_estimates
from pipeline.disclose.suppress import hide_rows
from schemas.study import Disclosure
from tests.unit.test_audit import hide, table, two_way

RULE = Disclosure(min_cell=11, min_sites=2, max_share=0.8)


def test_what_came_since_the_last_release_is_hidden_if_it_is_few():
    before = release_estimates(table({"canal=posterior": 300, "canal=lateral": 100}), RULE)
    now = table({"canal=posterior": 320, "canal=lateral": 104})
    few = find_small_changes(now, read_before(now, before), RULE.min_cell)
    assert now["stratum"][few].tolist() == ["canal=lateral"]
    released = release_estimates(now, RULE, before).set_index("stratum")["status"]
    assert released["canal=lateral"] == "suppressed"
    same = table({"canal=posterior": 300, "canal=lateral": 100})
    assert release_estimates(same, RULE, before)["status"].eq("ok").all()


def test_a_difference_of_sums_gives_newcomers_away_that_no_cell_does():
    counts = {"canal=posterior": 300, "canal=lateral": 50, "canal=anterior": 9}
    before = hide(table(counts), "canal=lateral", "canal=anterior")
    now = table({"canal=posterior": 325, "canal=lateral": 53, "canal=anterior": 11})
    released = hide(now, "canal=lateral", "canal=anterior")
    assert not find_small_changes(released, read_before(now, before), RULE.min_cell).any()  # each cell alone passes
    audit_release(now, released, RULE)  # so does the release alone
    with pytest.raises(GivenAway) as failure:  # 30 more in all, 25 of them posterior: 5 elsewhere
        audit_release(now, released, RULE, before)
    assert "since the release before" in str(failure.value)
    safe = release_estimates(now, RULE, before)
    audit_release(now, safe, RULE, before)
    assert not {"all", "canal=posterior"} <= set(safe["stratum"][safe["status"].eq("ok")])


def test_newcomers_are_found_through_two_margins():
    then = {("a", "x"): 60, ("a", "y"): 60, ("b", "x"): 60, ("b", "y"): 60}
    more = {("a", "x"): 20, ("a", "y"): 5, ("b", "x"): 15, ("b", "y"): 20}
    before, now = two_way(then), two_way({key: then[key] + more[key] for key in then})
    hidden = now["stratum"].eq("canal=a,arm=y")
    with pytest.raises(GivenAway):  # the margins tell of the five
        audit_release(now, hide_rows(now, hidden, "hidden"), RULE, before)
    audit_release(now, hide_rows(now, now["stratum"].str.contains("canal=.,arm"), "hidden"), RULE, before)


@settings(max_examples=10, deadline=None)
@given(
    st.lists(st.integers(0, 60), min_size=6, max_size=6),
    st.lists(st.integers(-12, 25), min_size=6, max_size=6),
)
def test_any_release_passes_with_the_one_before_also_if_some_left(counts, changes):
    keys = [(a, b) for a in "abc" for b in "xy"]
    before = release_estimates(two_way(dict(zip(keys, counts, strict=True))), RULE)
    later = [max(n + change, 0) for n, change in zip(counts, changes, strict=True)]
    now = two_way(dict(zip(keys, later, strict=True)))
    released = release_estimates(now, RULE, before)
    audit_release(now, released, RULE, before)
    both = pd.concat([released["n_episodes"], before["n_episodes"]], axis=1).dropna().astype(int)
    assert not (both.iloc[:, 0] - both.iloc[:, 1]).abs().between(1, 10).any()
