"""No sentence, table or figure calls on a number whose status is not ok,
even if the file should hold one."""

import re
from itertools import cycle

import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.render import render_page
from schemas import codes
from tests.pool_of_sections import build_everything

EVENTS = 98_765  # a count that no row has


def spoil(estimates, share: float, statuses: dict[str, str]):
    """The estimates with every row of some analyses under another status,
    and odd numbers left in it."""
    odd = {
        "estimate": share,
        "lower": share - 0.01,
        "upper": share + 0.01,
        "n_events": EVENTS,
        "note": "a reason",
    }
    return estimates | {
        name: estimates[name].assign(**odd, status=status) for name, status in statuses.items()
    }


def read_words(estimates, plan) -> str:
    """The words of the committee's page."""
    page = render_page("committee.html.j2", compose_report(estimates, plan, {}))
    return re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.S)


@pytest.fixture(scope="module")
def estimates(plan):
    return build_everything(plan)


@pytest.fixture(scope="module")
def share(estimates, plan) -> float:
    """A share that the page does not have."""
    words = read_words(estimates, plan)
    return next(n for n in range(2, 99) if not re.search(rf"\b{n}\u00a0%", words)) / 100


@pytest.fixture(scope="module")
def seen(share) -> re.Pattern:
    return re.compile(rf"\b{round(100 * share)}\u00a0%|\b98,?765\b")


@pytest.mark.parametrize("half", [0, 1])
def test_a_number_with_another_status_is_nowhere(half, estimates, share, seen, plan):
    """Every other analysis, the statuses by turns."""
    statuses = cycle(status for status in codes.ESTIMATE_STATUS if status != "ok")
    spoilt = dict(zip(list(estimates)[half::2], statuses, strict=False))
    assert not seen.search(read_words(spoil(estimates, share, spoilt), plan)), spoilt


def test_the_check_sees_odd_numbers_that_may_be_used(estimates, share, seen, plan):
    assert seen.search(read_words(spoil(estimates, share, {"failure_reasons": "ok"}), plan))
