"""Estimates as a page reads them."""

from pipeline.reports.readings import Reading


def test_a_number_with_a_status_is_not_used():
    assert Reading(0.4, status="ok").usable
    assert not Reading(0.4, status="too_few").usable
    assert not Reading(None, status="ok").usable
