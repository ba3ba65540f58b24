"""Which of records, plan and program moved an answer, told from what the analyses say when each
combination of them is run again. No order of the changes is assumed."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import pandas as pd

from pipeline.releases.compare import (
    BEFORE,
    CAUSES,
    Comparison,
    tabulate_comparison,
    take_answers,
)
from schemas.columns import Frame
from schemas.estimate import Estimates

# what is taken from the later release, the rest being the earlier one's
Changes = frozenset[str]
MOVED_BY, RUN = "moved_by", "run: "
NOT_AGAIN = "nothing that was run again: protection, rounding or libraries"


def list_combinations(causes: Sequence[str]) -> list[Changes]:
    """All combinations of causes, the earlier release itself first and the later one second: a run
    that cannot be made again is found before the others are waited for."""
    between = [
        frozenset(chosen) for size in range(1, len(causes)) for chosen in combinations(causes, size)
    ]
    return [frozenset(), frozenset(causes), *between]


def name_changes(changes: Changes) -> str:
    """The causes of a combination in words, in the order of `CAUSES`."""
    return ", ".join(words for name, words in CAUSES.items() if name in changes)


def attribute_answers(
    compared: Comparison, reruns: Mapping[Changes, Frame[Estimates] | None]
) -> pd.DataFrame:
    """Say of each answer that moved, came or went which changes do that.

    A change moves an answer if the run with this change alone has it outside the 95 % confidence
    interval of the earlier release. Where no change alone does so, the fewest that do it together
    are named.

    Parameters
    ----------
    compared
        Two releases.
    reruns
        By what was taken from the later release the estimates before protection; None where that
        combination does not run.

    Returns
    -------
    pandas.DataFrame
        The rows of `tabulate_comparison`, each with `moved_by`, and with the estimate of each run
        (`run:` and what was taken from the later release; missing where it has no answer).
    """
    table = tabulate_comparison(compared).reset_index(drop=True)
    key = Estimates.key()
    places = pd.MultiIndex.from_frame(table[key])
    found: dict[Changes, pd.Series] = {}
    for changes, rows in reruns.items():
        answers = take_answers(rows if rows is not None else Estimates.empty()).set_index(key)
        found[changes] = pd.Series(
            answers["estimate"].astype("float").reindex(places).to_numpy(), table.index
        )
    table.insert(1, MOVED_BY, "")
    for row, what in table["what"].items():
        low, high = table.loc[row, [f"lower{BEFORE}", f"upper{BEFORE}"]]
        states = {
            changes: None
            if reruns[changes] is None
            else judge(what, found[changes][row], low, high)
            for changes in reruns
        }
        table.loc[row, MOVED_BY] = say_what_moved(states)
    runs = {f"{RUN}{name_changes(changes) or 'as before'}": found[changes] for changes in reruns}
    return pd.concat([table, pd.DataFrame(runs, table.index)], axis=1)


def judge(what: str, value: float, low: float, high: float) -> bool | None:
    """Whether a run has an answer as the later release has it and the earlier one has not; None if
    it has none to ask."""
    if what == "came":
        return bool(pd.notna(value))
    if what == "gone":
        return bool(pd.isna(value))
    return None if pd.isna(value) else not low <= value <= high


def say_what_moved(states: Mapping[Changes, bool | None]) -> str:
    """The fewest changes that move an answer, in words.

    Parameters
    ----------
    states
        By combination of changes whether the answer is moved in it; None where nobody can say.
        With no change and with all of them it must be known.

    Returns
    -------
    str
        One cause; several that only move it together; several sets of which each is enough; or
        causes that cannot be told apart, since some combination of them has no answer.
    """
    everything = max(states, key=len)
    if states[frozenset()] is not False or states[everything] is not True:
        return NOT_AGAIN
    enough = [
        changes
        for changes, moved in states.items()
        if moved and not any(states[fewer] for fewer in _list_within(changes))
    ]
    ways = []
    for changes in sorted(enough, key=name_changes):
        named = name_changes(changes)
        if any(states[fewer] is None for fewer in _list_within(changes)):
            ways.append(f"{named} (not told apart)")
        else:
            ways.append(f"{named} together" if len(changes) > 1 else named)
    said = " or ".join(f"{way} alone" if len(ways) > 1 else way for way in ways)
    goes_back = any(
        moved is False and any(way < changes for way in enough) for changes, moved in states.items()
    )
    return f"{said}, and back again with some of the others" if goes_back else said


def _list_within(changes: Changes) -> Iterator[Changes]:
    """All that are fewer of the same changes."""
    for size in range(len(changes)):
        yield from map(frozenset, combinations(changes, size))


def list_touched(compared: Comparison) -> set[str]:
    """The analyses of which some answer moved, came or went."""
    return {
        name for rows in (compared.moved, compared.came, compared.gone) for name in rows["analysis"]
    }


def count_causes(attributed: pd.DataFrame) -> pd.DataFrame:
    """How many answers were moved by what: columns `what`, `moved_by` and `answers`."""
    return attributed.groupby(["what", MOVED_BY], sort=True).size().rename("answers").reset_index()


def drop_runs(attributed: pd.DataFrame) -> pd.DataFrame:
    """The same rows without the estimates of single runs."""
    return attributed[[name for name in attributed if not name.startswith(RUN)]]
