"""Clinics are not compared."""

from pipeline.reports.committee.sites import describe_sites
from tests.unit.reports.committee.sections import words


def test_clinics_are_not_compared_and_the_reason_is_said():
    section = describe_sites()
    assert section["figure"] is None
    assert "test on different days" in words(section)
