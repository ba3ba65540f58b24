"""Of many strata the largest are drawn, in the order they had."""

from pipeline.reports.committee.strata import choose_largest
from pipeline.reports.readings import Reading, Readings


def test_the_largest_parts_keep_their_order():
    sizes = {"a": 5, "b": 9, "c": 9, "d": 1}
    readings = Readings(
        "resolution_curves",
        {(name, "share"): Reading(0.5, n_episodes=n, status="ok") for name, n in sizes.items()},
    )
    assert choose_largest(readings, list(sizes), 2) == ["b", "c"]
    assert choose_largest(readings, list(sizes), 9) == list(sizes)
