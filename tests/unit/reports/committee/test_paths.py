"""Paths: a step that is hidden has no bar and no number."""

import re

from pipeline.reports.committee.paths import describe_paths
from pipeline.reports.wording import HIDDEN
from pipeline.statistics.tidy import state
from tests.unit.reports.committee.sections import table, words


def test_a_hidden_step_of_a_path_has_no_bar_and_no_number(plan):
    def count(stratum: str, term: str, n: int, whole: int) -> dict:
        return state(term, n, stratum=stratum, n_episodes=whole, n_events=n, n_sites=8)

    rows = [
        count("path=start", "reached", 300, 300),
        count("path=start", "next=epley", 200, 300),
        count("path=start", "next=rarer", 100, 300),
    ]
    rows += [
        count("path=epley", "resolved_at_next_test", 120, 200),
        count("path=epley", "next=epley", 40, 200),
    ]
    rows += [
        {
            "term": "never_tested_again",
            "stratum": "path=epley",
            "status": "suppressed",
            "note": "hidden",
        }
    ]
    section = describe_paths(table("sequence_paths", rows, endpoint=None), plan)
    drawn = section["figure"]["svg"].replace("\u00a0", " ")
    assert drawn.count('class="bar ') == 2
    assert f"{HIDDEN} not tested again" in drawn
    # the forty that are left over are nowhere else
    assert re.findall(r"\b40\b(?! the same again)", re.sub("<[^>]+>", " ", drawn)) == []
    assert "The others began otherwise." in words(section)
