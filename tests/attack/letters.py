"""Sites under letters: whose size comes out, and which letter the largest clinic, which many know,
can be matched with."""

import re
from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from scipy.special import bdtr, bdtrik

from tests.attack.groups import count, read_name
from tests.attack.program import Program
from tests.attack.released import Range, Release
from tests.attack.system import EVERYBODY, System

NUMBERS = np.arange(5, 2000)  # of observations that a site may be worth


def find_sizes(system: System, program: Program) -> Iterator[str]:
    """Tables in which the number of episodes of a single site comes out, however many they are,
    or in which one is seen to be the largest."""
    sites: dict[str, dict[str, tuple[float, float]]] = defaultdict(dict)
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        low, high = program.reach({name: 1})
        if set(narrowed) == {"site"}:
            sites[base][narrowed["site"]] = (low, high)
            if low == high > 0:
                yield f"the size of site {narrowed['site']} among “{base}” comes out"
    for base, reach in sites.items():
        for site, (low, _) in reach.items():
            if len(reach) > 2 and all(
                high < low for other, (_, high) in reach.items() if other != site
            ):
                yield f"site {site} is the largest among “{base}”"


def add_control_limits(system: System, release: Release) -> None:
    """Limits narrow with the number of observations, and a site is worth no more of them than it
    has episodes.

    They are those of the technical page: binomial quantiles around the expected share, interpolated
    between whole counts (Spiegelhalter DJ. Stat Med 2005;24:1185-1202; the interpolation is from
    memory).
    """
    limits: dict[tuple[str, str], dict[str, Range]] = defaultdict(dict)
    for row in release.among("site_monitoring"):
        site, day = (
            re.fullmatch(r"site=(.+)", row.stratum),
            re.fullmatch(r"(.+)_day_(\d+)", row.term),
        )
        if site and day and "estimate" in row.values:
            limits[day.group(2), site.group(1)][day.group(1)] = row.values["estimate"]
    for (day, site), by_term in limits.items():
        numbers = NUMBERS[_fits(by_term)] if "expected_by" in by_term else []
        if len(numbers):
            least = int(numbers[0])
            system.bound(
                count("followed", site=site),
                least,
                EVERYBODY,
                f"control limits by day {day} of site {site}",
            )


def _fits(by_term: dict[str, Range]) -> np.ndarray:
    """For each number of observations whether a share of the printed range can give each printed
    limit, which rises with the share."""
    fits = np.ones(len(NUMBERS), dtype=bool)
    for term, printed in by_term.items():
        match = re.fullmatch(r"control_(lower|upper)_(.+)", term)
        if match:
            tail, is_lower = (1 - float(match.group(2)) / 100) / 2, match.group(1) == "lower"
            expected = np.clip(
                [by_term["expected_by"].low, by_term["expected_by"].high], 1e-6, 1 - 1e-6
            )
            least, most = (
                find_limit(e, tail) if is_lower else 1 - find_limit(1 - e, tail) for e in expected
            )
            fits &= (most >= printed.low - 1e-9) & (least <= printed.high + 1e-9)
    return fits


def find_limit(expected: float, tail: float) -> np.ndarray:
    """The lower control limit of a share for each number of observations:
    between whole counts where the tail is reached."""
    r = np.maximum(np.ceil(bdtrik(tail, NUMBERS, expected)), 0)
    r = np.where((r > 0) & (bdtr(r - 1, NUMBERS, expected) >= tail), r - 1, r)
    below = np.where(r > 0, bdtr(np.maximum(r - 1, 0), NUMBERS, expected), 0.0)
    reached = bdtr(r, NUMBERS, expected)
    return np.maximum(0.0, r - (reached - tail) / (reached - below)) / NUMBERS
