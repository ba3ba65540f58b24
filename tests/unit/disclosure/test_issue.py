"""Every release is remembered: who came between any two is hidden if they are few,
and while too little is new the last release stays."""

from itertools import combinations
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclosure.issue import KEPT, issue_release
from pipeline.disclosure.ledger import read_ledger
from pipeline.disclosure.release import GivenAway
from pipeline.statistics.tidy import state, tidy_estimates
from tests.attack.released import Release, read_release
from tests.attack.releases import find_changes
from tests.pool_of_counts import CANALS, MECHANISMS, RULE, curves, two_way

MADE_FROM = pd.DataFrame({"name": ["deliveries"], "value": ["abc"]})
FREELY = RULE.model_copy(update={"min_renewed": 0.0})


def issue(ledger: Path, estimates: pd.DataFrame, rule=FREELY):
    return issue_release(estimates, rule, {}, ledger, MADE_FROM)


def read_sizes(issued) -> dict[str, int]:
    rows = issued.files["resolution_curves.csv"]
    return rows.set_index("stratum")["n_episodes"].dropna().astype(int).to_dict()


def read_as_outsider(folder: Path, issued) -> Release:
    """What leaves, as the attack reads it, which shares no code with the audit."""
    (folder / "estimates").mkdir(parents=True)
    for name, rows in issued.files.items():
        rows.to_csv(folder / "estimates" / name, index=False)
    return read_release(folder)


def test_the_same_once_more_is_no_new_release(tmp_path):
    estimates = curves({"canal=posterior": 300, "canal=lateral": 100})
    first = issue(tmp_path, estimates)
    again = issue(tmp_path, estimates.sample(frac=1, random_state=1).sort_index())
    assert len(read_ledger(tmp_path)) == 1
    assert first.made_from.equals(again.made_from)
    assert first.files["resolution_curves.csv"].equals(again.files["resolution_curves.csv"])
    assert first.made_from["value"].tolist() == ["1", "abc"]


def test_a_number_that_tells_of_few_newcomers_is_hidden(tmp_path):
    # shares tell more than rounded counts do: 30 of 100, then 34 of 100, are few newcomers with the
    # event
    def share(events: int, whole: int) -> pd.DataFrame:
        rows = [
            state(
                "share",
                events / whole,
                stratum="reason=x",
                n_episodes=whole,
                n_events=events,
                n_sites=5,
            )
        ]
        return tidy_estimates(rows, analysis="non_positional", population="p", method="m")

    first = issue(tmp_path, share(30, 100)).files["non_positional.csv"]
    assert (first["estimate"].item(), first["n_episodes"].item()) == (0.3, 100)
    now = issue(tmp_path, share(37, 104)).files["non_positional.csv"]
    assert pd.isna(now["estimate"].item()) or "estimate" in now["rounded"].item()
    assert len(read_ledger(tmp_path)) == 2


def test_while_too_little_is_new_the_last_release_stays_and_it_is_said(tmp_path):
    first = issue(tmp_path, curves({"canal=posterior": 300, "canal=lateral": 100}), RULE)
    # shows less than four fifths as much
    kept = issue(tmp_path, curves({"canal=posterior": 340}), RULE)
    assert read_sizes(kept) == read_sizes(first)
    assert kept.message == KEPT.format(number=1)
    assert kept.made_from["name"].tolist() == ["release", "deliveries", "newer records"]
    assert len(read_ledger(tmp_path)) == 1
    new = issue(tmp_path, curves({"canal=posterior": 405, "canal=lateral": 204}), RULE)
    assert read_sizes(new)["all"] == 610
    assert [entry.number for entry in read_ledger(tmp_path)] == [1, 2]


def test_what_fails_its_audit_leaves_the_last_release_as_it_was(tmp_path, monkeypatch):
    first = issue(tmp_path, curves({"canal=posterior": 300, "canal=lateral": 100}), RULE)

    def refuse(*_):
        raise GivenAway("no")

    monkeypatch.setattr("pipeline.disclosure.issue.make_release", refuse)
    kept = issue(tmp_path, curves({"canal=posterior": 340, "canal=lateral": 140}), RULE)
    assert (read_sizes(kept), kept.message) == (read_sizes(first), KEPT.format(number=1))


def test_without_an_earlier_release_nothing_is_released_that_fails(tmp_path, monkeypatch):
    monkeypatch.setattr("pipeline.disclosure.release.Cover.add", lambda self, exposed: False)
    rows = [
        state(
            "share",
            n / 314,
            stratum=f"view={view},reason=technique",
            n_episodes=314,
            n_events=n,
            n_sites=5,
        )
        for view, n in (("at_the_time", 60), ("in_hindsight", 66))
    ]
    estimates = tidy_estimates(rows, analysis="failure_reasons", population="p", method="m")
    with pytest.raises(GivenAway):
        issue(tmp_path, estimates)
    assert read_ledger(tmp_path) == []


def test_what_was_released_of_the_same_records_in_another_way_counts_too(tmp_path):
    estimates = curves({"canal=posterior": 300, "canal=lateral": 100})
    issue(tmp_path, estimates)
    (entry,) = read_ledger(tmp_path)
    entry.folder.rename(entry.folder.with_name("0001_another"))
    issue(tmp_path, estimates)
    assert [entry.number for entry in read_ledger(tmp_path)] == [1, 2]


@settings(max_examples=10)
@given(
    st.lists(st.integers(0, 60), min_size=4, max_size=4),
    st.lists(st.lists(st.integers(-12, 25), min_size=4, max_size=4), min_size=1, max_size=2),
)
def test_no_release_tells_an_outsider_who_came_or_left_since_an_earlier_one(
    tmp_path_factory, counts, changes
):
    folder, shown = tmp_path_factory.mktemp("ledger"), []
    keys = [(a, b) for a in CANALS[:2] for b in MECHANISMS]
    for number, change in enumerate([[0] * 4, *changes]):
        counts = [max(n + more, 0) for n, more in zip(counts, change, strict=True)]
        issued = issue(folder / "ledger", two_way(dict(zip(keys, counts, strict=True))))
        shown.append(read_as_outsider(folder / f"release {number}", issued))
    for earlier, later in combinations(shown, 2):
        assert find_changes(earlier, later) == []
