"""Estimates as a page reads them."""

import pytest

from pipeline.reports.readings import Reading, disagree


def test_a_number_with_a_status_is_not_used():
    assert Reading(0.4, status="ok").usable
    assert not Reading(0.4, status="too_few").usable
    assert not Reading(None, status="ok").usable


@pytest.mark.parametrize(
    ("apart", "said"),
    [(0.49, False), (0.51, True), (-0.49, True), (-0.41, True), (-0.39, False)],
)
def test_two_ways_disagree_beyond_the_limits_of_their_difference(apart, said):
    """Limits .3 and .4 toward the other reach .5 together; the other way round .4 and .0."""
    one = Reading(0.0, -0.4, 0.3, status="ok")
    other = Reading(apart, apart - 0.4, apart, status="ok")
    assert disagree(one, other) is said
    assert disagree(other, one) is said


def test_what_has_no_number_or_no_limits_disagrees_with_nothing():
    far = Reading(0.9, 0.8, 0.95, status="ok")
    assert not disagree(Reading(0.1, 0.0, 0.2, status="too_wide"), far)
    assert not disagree(Reading(0.1, status="ok"), far)
    assert disagree(Reading(0.1, 0.0, 0.2, status="ok"), far)
