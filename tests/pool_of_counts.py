"""Small tables of counts and shares with their sites, as analyses state them:
what the tests of protection share."""

import pandas as pd

from pipeline.disclosure.release import Made, make_release
from pipeline.statistics.tidy import state, tidy_estimates
from schemas.study import Disclosure

RULE = Disclosure(min_cell=11, round_counts=10, min_sites=2, max_share=0.8, min_renewed=0.8)
SITES = ("S01", "S02", "S03", "S04", "S05")


def spread(number: int) -> str:
    """As many people over five sites, as evenly as can be: the column by_site of
    schemas.estimate.Estimates."""
    counts = [number // len(SITES) + (k < number % len(SITES)) for k in range(len(SITES))]
    return " ".join(f"{site}={count}" for site, count in zip(SITES, counts, strict=True))


CANALS, MECHANISMS = (
    ("anterior", "lateral", "multiple", "posterior"),
    ("canalolithiasis", "cupulolithiasis"),
)


def curves(counts: dict[str, int], whole: int | None = None) -> pd.DataFrame:
    """How many are followed in each stratum, with a median of their days;
    the whole is their sum if it is not given."""
    sizes = {"all": sum(counts.values()) if whole is None else whole} | counts
    rows = [
        state("median_days", 7, stratum=stratum, n_episodes=n, n_sites=5, by_site=spread(n))
        for stratum, n in sizes.items()
    ]
    return tidy_estimates(
        rows,
        analysis="resolution_curves",
        population="positional",
        endpoint="objective",
        method="m",
    )


def two_way(values: dict[tuple[str, str], int]) -> pd.DataFrame:
    """The same by two variables, with both margins and the whole."""
    counts = {f"canal={a},mechanism={b}": n for (a, b), n in values.items()}
    for variable, place in (("canal", 0), ("mechanism", 1)):
        for value in sorted({key[place] for key in values}):
            counts[f"{variable}={value}"] = sum(
                n for key, n in values.items() if key[place] == value
            )
    return curves(counts, sum(values.values()))


def describe(variable: str, counts: dict[str, int], population: str = "stored") -> pd.DataFrame:
    """Shares of the pool by one variable."""
    whole = sum(counts.values())
    rows = [
        state(
            "share",
            n / whole,
            stratum=f"{variable}={value}",
            n_episodes=whole,
            n_events=n,
            n_sites=5,
            by_site=None,
        )
        for value, n in counts.items()
    ]
    return tidy_estimates(
        rows, analysis="pool_description", population=population, method="share of episodes"
    )


def flow(**counts: int) -> pd.DataFrame:
    """Where episodes went."""
    rows = [
        state(term, n, n_episodes=n, n_sites=5, by_site=spread(n)) for term, n in counts.items()
    ]
    return tidy_estimates(
        rows, analysis="episode_flow", population="pool", stratum="all", method="count"
    )


def release(estimates: pd.DataFrame, entries: tuple = ()) -> Made:
    """A release of some tables by the rule of the tests."""
    return make_release(estimates, RULE, entries=entries)
