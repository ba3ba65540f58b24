"""What is declared of an analysis: the function that runs it, what its numbers mean in plain words,
and each quantity that it can state."""

from dataclasses import dataclass
from typing import Any

from schemas.quantities import People, Quantity


@dataclass(frozen=True)
class Text:
    """What stands over the tables of an analysis; `source` names where the method is described."""

    title: str
    estimand: str
    population: str
    time_zero: str
    estimator: str
    assumptions: str
    source: str


@dataclass(frozen=True)
class Analysis:
    """One analysis of the plan.

    `function` is its module and name, `module:name`; it is imported only when it runs.

    One `of_the_demonstration` compares with what was planted there, and is not made of a real pool.
    """

    function: str
    text: Text
    quantities: tuple[Quantity, ...]
    of_the_demonstration: bool = False


ALL = ()  # narrowed by nothing
FOLLOWED = People("followed {endpoint}")
FAILED = People("first session failed")
ON_DAY_0 = "Day 0, the day of the first maneuver."
DESCRIPTION = "None: a description of the pool."
JACKKNIFE = (
    "intervals leave out one site at a time (MacKinnon, Nielsen & Webb, J Appl Econometrics "
    "2023;38:671-694)"
)
EXACT = "Clopper & Pearson, Biometrika 1934;26:404-413"
# the worst of tests/recovery/days_of_tests.csv on each day; ratios: tests/recovery/README.md
TESTS_AS_GIVEN = (
    "The days of tests are taken as given here: in simulated pools this made shares resolved up to "
    "33 percentage points too low by day 1, 13 by day 7 and 7 by day 30, and drew ratios nearer to "
    "1."
)
TURNBULL = "Turnbull, J R Stat Soc B 1976;38:290-295"


def count(
    term: str, words: str, people: People, base: People | None = None, **more: Any
) -> Quantity:
    """A number of people; `base` are those of whom it is a part,
    where n_episodes says how many they are."""
    return Quantity(term, "count", words, base or people, people, **more)
