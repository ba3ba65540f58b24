"""Which episodes a row counts is told where it is known beyond doubt, and nowhere else."""

import pandas as pd
import pytest

from pipeline.statistics.tidy import Counted, count_sites, recording_members, state, tidy_estimates
from pipeline.trace.rerun import HAS_EVENT, Members, Rerun, find_members, name_sites, read_codes
from schemas.estimate import Estimates

EPISODES = pd.DataFrame(
    {"site": ["S01", "S01", "S02"], "episode_id": ["EP-1", "EP-2", "EP-1"]}, dtype="string"
)
SHARED = {
    "analysis": "resolution_curves",
    "population": "positional",
    "endpoint": "objective",
    "method": "m",
}


def run(*texts: str | None, n_episodes: int = 3) -> Rerun:
    """An analysis of one row for each text of `by_site`."""
    rows = [
        state("median_days", 7, stratum=f"canal={canal}", n_episodes=n_episodes, by_site=text)
        for canal, text in zip(("posterior", "lateral", "anterior"), texts, strict=False)
    ]
    known: dict[str, list[Counted]] = {}
    for text in texts:
        if isinstance(text, Counted):
            known.setdefault(str(text), []).append(text)
    return Rerun(tidy_estimates(rows, **SHARED), list(texts), known, {}, {})


@pytest.fixture
def counted():
    """A function from rows to the text of `by_site` that knows them."""

    def count(rows, **more):
        with recording_members():
            return count_sites(rows, **more)["by_site"]

    return count


def test_episodes_are_told_in_order_with_those_who_had_the_event(counted):
    members = find_members(run(counted(EPISODES[::-1], events=EPISODES[1:2])), 0)
    assert members.by_site == "S01=2/1 S02=1/0"
    pd.testing.assert_frame_equal(members.episodes[["site", "episode_id"]], EPISODES)
    assert members.episodes[HAS_EVENT].tolist() == [False, True, False]


def test_a_text_alone_is_that_of_the_one_set_that_was_counted_with_it(counted):
    known = counted(EPISODES)
    assert len(find_members(run(known, str(known)), 1).episodes) == 3
    other = counted(EPISODES.assign(episode_id=["EP-7", "EP-8", "EP-9"]))
    assert str(other) == str(known)
    assert find_members(run(known, other, str(known)), 2) == Members(str(known), None)


def test_a_row_that_counts_others_than_its_sites_say_is_not_told(counted):
    assert find_members(run(counted(EPISODES), n_episodes=2), 0).episodes is None
    assert find_members(run(None), 0) == Members("", None)
    assert find_members(run(counted(EPISODES[["site"]])), 0).episodes is None


def test_a_row_is_found_by_its_whole_key(counted):
    rerun = run(counted(EPISODES), counted(EPISODES))
    key = dict.fromkeys(Estimates.key(), "") | SHARED | {"term": "median_days"}
    assert rerun.find_row(key | {"stratum": "canal=lateral"}) == 1
    assert rerun.find_row(key | {"stratum": "canal=multiple"}) is None


def test_letters_of_a_release_are_the_sites_they_were_drawn_for():
    rows = [
        state("resolved_by_day_7", 0.5, stratum=f"site={code}", n_episodes=20 + k)
        for k, code in enumerate(("S01", "S02", "S03"))
    ]
    unreleased = tidy_estimates(rows, **SHARED)
    codes = read_codes(unreleased)
    named = {name_sites({"stratum": f"site={letter}"}, codes)["stratum"] for letter in "ABC"}
    assert named == set(unreleased["stratum"])
