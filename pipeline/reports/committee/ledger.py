"""The ledger of denominators in words: whom a number is of, and of which larger group."""

from dataclasses import dataclass

import pandas as pd

from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import begin_sentence, count_words, say_count
from schemas.denominators import BASES


@dataclass(frozen=True)
class Ledger:
    """The disclosed numbers of the bases of schemas/denominators.py."""

    readings: Readings

    def find(self, name: str) -> Reading:
        """The number of a base; n_episodes is how many episodes they are."""
        return self.readings["all", name]

    def say(self, name: str) -> str:
        """'842 episodes treated, with a complete record';
        without a number where it is hidden."""
        base, reading = BASES[name], self.find(name)
        number = count_words(reading.number, base.noun) if reading.usable else f"{base.noun}s"
        return f"{number} {base.says}"

    def say_of(self, name: str) -> str:
        """' of 842 episodes treated, with a complete record':
        the base of which this one is a part."""
        return f" of {self.say(BASES[name].of)}"

    def say_number_of(self, name: str) -> str:
        """'676 of 842', or the number alone where the larger one is hidden."""
        part, larger = self.find(name), self.find(BASES[name].of)
        of = f" of {say_count(larger.estimate)}" if larger.usable else ""
        return f"{say_count(part.estimate if part.usable else None)}{of}"


def read_ledger(estimates: dict[str, pd.DataFrame]) -> Ledger:
    """The ledger as estimates give it; one without numbers if they do not."""
    return Ledger(read_estimates(estimates, "denominators", "pool"))


def tabulate_ledger(estimates: dict[str, pd.DataFrame], *, short: bool) -> list[dict]:
    """A row for each base that has a number and is not empty: whom it counts, how many,
    of how many of which, and who is not in it."""
    ledger = read_ledger(estimates)
    named = [name for name, base in BASES.items() if base.short or not short]
    counted = [name for name in named if ledger.find(name).usable and ledger.find(name).number > 0]
    return [_tabulate_base(ledger, name) for name in counted]


def _tabulate_base(ledger: Ledger, name: str) -> dict:
    base, reading = BASES[name], ledger.find(name)
    episodes = (
        None
        if reading.n_episodes in (None, reading.estimate) or base.noun == "site"
        else reading.n_episodes
    )
    left = ledger.find(f"without_{name}")
    number = say_count(left.estimate) if left.usable else "not shown"
    return {
        "name": f"{begin_sentence(base.noun)}s {base.says}",
        "number": say_count(reading.estimate),
        "inside": f"in {count_words(episodes, 'episode')}" if episodes else "",
        "of": ledger.say(base.of) if base.of else "",
        "without": f"{number}: {base.without}" if base.without else "",
    }
