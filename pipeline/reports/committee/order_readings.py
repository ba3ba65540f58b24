"""Orders of maneuvers as the committee's report reads them: each with its numbers and its
differences from the usual one."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pipeline.reports.readings import (
    Reading,
    Readings,
    disagree,
    read_estimates,
    subtract_printed,
)
from pipeline.reports.wording import begin_sentence, name_value
from schemas.strata import THEN, split_stratum
from schemas.study import Config

POPULATION, COMPARISON = "positional", "usual strategy"
DAYS, SESSIONS = "mean_days_with_vertigo", "mean_sessions"
NEEDED = "further_episodes_needed"
TIMES = {1: "once", 2: "twice"}


@dataclass(frozen=True)
class Order:
    """One order of maneuvers for a variant.

    Attributes
    ----------
    name
        In words.
    numbers
        By term.
    differences
        From the usual order, by the same terms; those of numbers that are printed beside each
        other. Empty for the usual order itself.
    weighted
        The same differences by weights, by those terms that are estimated so.
    disputed
        Whether the two ways of estimating disagree in any of them.
    needed
        About how many further episodes would tell the difference; without a number where they are
        enough.
    """

    name: str
    numbers: dict[str, Reading]
    differences: dict[str, Reading]
    weighted: dict[str, Reading]
    disputed: bool
    needed: Reading

    @property
    def told(self) -> bool:
        return any(number.usable for number in self.numbers.values())

    @property
    def compared(self) -> bool:
        return any(each.usable for each in self.differences.values())

    @property
    def told_twice(self) -> bool:
        return self.compared and any(each.usable for each in self.weighted.values())


@dataclass(frozen=True)
class Variant:
    """The orders of one variant that have numbers, by its code and name; `usual` is None where it
    has none."""

    code: str
    name: str
    usual: Order | None
    others: list[Order]

    @property
    def compared(self) -> list[Order]:
        return [order for order in self.others if order.compared]


def read_orders(estimates: dict[str, pd.DataFrame], config: Config) -> list[Variant]:
    """Read the orders of all variants of the plan that have any, in the order of the plan.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    list[Variant]
        One without numbers has no orders.
    """
    primary = config.study.resolution.primary
    plain = read_estimates(estimates, "strategies", POPULATION, primary)
    compared = read_estimates(estimates, "strategies", POPULATION, primary, COMPARISON)
    weighted = read_estimates(estimates, "weighted_strategies", POPULATION, primary, COMPARISON)
    found: dict[str, list[str]] = {}
    for stratum in plain.strata():
        found.setdefault(split_stratum(stratum)["variant"], []).append(stratum)
    return [
        _read_variant(variant, found[variant], plain, compared, weighted, config)
        for variant in config.study.strategies.variants
        if variant in found
    ]


def _read_variant(
    variant: str,
    strata: list[str],
    plain: Readings,
    compared: Readings,
    weighted: Readings,
    config: Config,
) -> Variant:
    """The usual order is the one that is compared with no other."""
    against_usual = set(compared.strata())
    known = list(dict.fromkeys(maneuver.family for maneuver in config.maneuvers.values()))
    families = {s: split_stratum(s)["strategy"].split(THEN) for s in strata}
    usual = next((s for s in strata if s not in against_usual), None)
    first = families[usual][0] if usual else ""
    terms = list_terms(config)

    def place(stratum: str) -> tuple:
        """By the other family as the plan lists them, then by when it is given."""
        order = families[stratum]
        other = next((family for family in order if family != first), first)
        return known.index(other), order[0] != first, len(order), order

    def read(stratum: str) -> Order:
        numbers = {term: plain[stratum, term] for term in terms}
        differences: dict[str, Reading] = {}
        if usual and stratum != usual:
            differences = {
                term: subtract_printed(
                    compared[stratum, f"difference_{term}"],
                    plain[usual, term],
                    numbers[term],
                    *print_as(term),
                )
                for term in terms
            }
        second = {
            term: weighted[stratum, f"difference_{term}"]
            for term in (DAYS, last_share(config))
            if differences
        }
        disputed = any(
            disagree(compared[stratum, f"difference_{term}"], each) for term, each in second.items()
        )
        name = _name_order(families[stratum], config)
        return Order(name, numbers, differences, second, disputed, compared[stratum, NEEDED])

    orders = {stratum: read(stratum) for stratum in sorted(strata, key=place)}
    told = {stratum: order for stratum, order in orders.items() if order.told}
    name = begin_sentence(name_value("variant", variant, config))
    others = [order for stratum, order in told.items() if stratum != usual]
    return Variant(variant, name, told.get(usual) if usual else None, others)


def print_as(term: str) -> tuple[int, int]:
    """The unit in which a number is printed, and its decimals."""
    return (1, 1) if term in (DAYS, SESSIONS) else (100, 0)


def _name_order(families: Sequence[str], config: Config) -> str:
    """'Epley twice, then Semont'; the last one again until the test is negative."""
    names = [name_value("family", family, config) for family in families]
    if len(set(names)) == 1:
        return f"{begin_sentence(names[0])} again until negative"
    return f"{begin_sentence(names[0])} {TIMES[len(names) - 1]}, then {names[-1]}"


def list_terms(config: Config) -> list[str]:
    """What is told of each order: shares after each session, and by the last day of the plan, mean
    days with vertigo and mean sessions."""
    plan = config.study.strategies
    after = [f"resolved_after_{number}_sessions" for number in range(1, plan.sessions)]
    return [*after, last_share(config), DAYS, SESSIONS]


def last_share(config: Config) -> str:
    """The term of the share resolved by the last day of the plan."""
    return f"resolved_by_day_{config.study.strategies.days[-1]}"
