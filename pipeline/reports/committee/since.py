"""What moved since the last release: how many numbers left the interval that they had, and in which
parts, so that no reader compares two reports by eye."""

from collections import Counter
from dataclasses import dataclass

import pandas as pd

from pipeline.releases.compare import compare_estimates, list_causes
from pipeline.reports.committee.matrix import POPULATION, SHARES
from pipeline.reports.readings import read_estimates
from pipeline.reports.wording import agree, count_words, join_words, name_value, say_count
from schemas.columns import Frame
from schemas.declared import PLAN
from schemas.estimate import Estimates
from schemas.strata import split_stratum
from schemas.study import Config

NOTE = (
    "Both releases share most of their records, so that less moves by chance than between two "
    "pools. A number that stayed within its interval may have changed all the same."
)


MOST_NAMED = 4


@dataclass(frozen=True)
class Earlier:
    """The release before this one.

    Attributes
    ----------
    made_from
        Its number and what it was made from, by name.
    estimates
        Its rows, of all analyses.
    """

    made_from: dict[str, str]
    estimates: Frame[Estimates]


def describe_since(
    earlier: Earlier | None,
    estimates: dict[str, pd.DataFrame],
    used: dict[str, str],
    config: Config,
) -> list[str]:
    """What moved, in sentences; none where there is no earlier release.

    Parameters
    ----------
    earlier
        The release before.
    estimates
        Released rows by analysis.
    used
        What this release was made from.
    config
        The plan, for names.
    """
    if earlier is None:
        return []
    number = earlier.made_from["release"]
    now = pd.concat(
        [Estimates.cast(rows) for name, rows in estimates.items() if name in PLAN and len(rows)],
        ignore_index=True,
    )
    compared = compare_estimates(earlier.estimates, now)
    causes = list_causes(earlier.made_from, used)
    came, gone = len(compared.came), len(compared.gone)
    return [
        *_say_sizes(earlier, estimates, number),
        f"Of {count_words(compared.compared, 'number')} with a 95 % confidence interval in both "
        f"releases, {_say_moved(compared.moved)}.",
        f"{say_count(came)} {agree(came, 'number has', 'numbers have')} an interval that had none, "
        f"and {say_count(gone)} {agree(gone, 'has', 'have')} none any more.",
        *_say_new(earlier.estimates, now, config),
        f"Different since release {number}: {join_words(causes)}."
        if causes
        else f"Nothing that release {number} was made from is different.",
    ]


def _say_sizes(earlier: Earlier, estimates: dict[str, pd.DataFrame], number: str) -> list[str]:
    """How many episodes were handed in then and now, where both are shown."""
    tables = (
        {"episode_flow": earlier.estimates[earlier.estimates["analysis"].eq("episode_flow")]},
        estimates,
    )
    before, now = (
        read_estimates(each, "episode_flow", "pool")["all", "handed_in"] for each in tables
    )
    if not (before.usable and now.usable):
        return []
    return [
        f"{count_words(now.number, 'episode')} were handed in for this release, "
        f"{say_count(before.number)} for release {number}."
    ]


def _say_new(before: pd.DataFrame, now: pd.DataFrame, config: Config) -> list[str]:
    """Which first maneuvers of which variants have a share, of their own records or pooled, that
    had none before."""
    new = sorted(_find_told(now, config) - _find_told(before, config))
    names = [
        f"{name_value('first_maneuver', family, config)} for "
        f"{name_value('variant', variant, config)}"
        for variant, family in new[:MOST_NAMED]
    ]
    if not names:
        return []
    more = len(new) - len(names)
    rest = f"; and {count_words(more, 'other')}" if more else ""
    return [f"First maneuvers that have a share for the first time: {'; '.join(names)}{rest}."]


def _find_told(rows: pd.DataFrame, config: Config) -> set[tuple[str, str]]:
    """Variant and family of each share of the matrix on page one."""
    told = rows[
        rows["analysis"].eq("first_choice")
        & rows["population"].eq(POPULATION)
        & rows["term"].isin(SHARES)
        & rows["status"].eq("ok")
    ]
    cells = [dict(split_stratum(stratum)) for stratum in told["stratum"]]
    return {
        (cell["variant"], cell["family"])
        for cell in cells
        if "family" in cell and not config.study.variants[cell["variant"]].is_circular
    }


def _say_moved(moved: pd.DataFrame) -> str:
    """How many lie outside, by the title of their analysis."""
    if not len(moved):
        return "none lies outside the interval that it had"
    by_analysis = Counter(moved["analysis"])
    parts = [f"{PLAN[name].text.title} ({n})" for name, n in sorted(by_analysis.items())]
    return (
        f"{say_count(len(moved))} {agree(len(moved), 'lies', 'lie')} outside the interval that "
        f"{agree(len(moved), 'it', 'they')} had: {'; '.join(parts)}"
    )
