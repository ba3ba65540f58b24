"""Any section of the report: a sentence where there is no estimate, nothing that is hidden."""

import pandas as pd
import pytest

from pipeline.reports.committee.afterwards import describe_handicap, describe_recurrence
from pipeline.reports.committee.attempts import POPULATION as ATTEMPTS
from pipeline.reports.committee.attempts import describe_attempts
from pipeline.reports.committee.failures import describe_failures
from pipeline.reports.committee.paths import describe_paths
from pipeline.reports.committee.published import describe_published
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.committee.sites import describe_sites
from tests.unit.reports.committee.sections import table, words

ALL = {
    "attempts": lambda estimates, plan: describe_attempts(estimates),
    "failures": lambda estimates, plan: describe_failures(estimates),
    "second_line": describe_second_line,
    "paths": describe_paths,
    "handicap": describe_handicap,
    "recurrence": describe_recurrence,
    "sites": describe_sites,
    "published": describe_published,
}


@pytest.mark.parametrize("describe", ALL.values(), ids=ALL)
def test_without_estimates_a_section_is_a_sentence(describe, plan):
    section = describe({}, plan)
    assert section["figure"] is None
    assert not section["panels"]
    assert section["sentences"]


def test_hidden_numbers_reach_no_section(plan):
    hidden = {
        "stratum": "attempt_number=1",
        "term": "success_raw",
        "status": "suppressed",
        "note": "hidden",
    }
    section = describe_attempts(table("attempt_success", [hidden], ATTEMPTS, None))
    assert section["figure"] is None
    assert "not shown, to protect people and sites" in words(section)
    assert pd.isna(
        table("attempt_success", [hidden], ATTEMPTS, None)["attempt_success"]["estimate"]
    ).all()
