"""Two releases together: what somebody who has both can calculate with.

The cells of the earlier release are known numbers where it showed them. Those of now are those of then and the newcomers, and whatever adds
up in both releases adds up for the newcomers too: so a sum may give a small group of them away although each of its cells has changed by
nobody or by enough. Rows of single sites are left out: no release counts their episodes, and their letters change from one pool to another.
"""

import pandas as pd

from pipeline.disclose.cells import Cell, Release, tells_events
from pipeline.disclose.sites import find_own_rows

KEY = ["analysis", "population", "endpoint", "stratum", "term", "comparison"]
SINCE = "change since the release before"


def read_before(estimates: pd.DataFrame, previous: pd.DataFrame) -> pd.DataFrame:
    """For each row of `estimates` the counts that the previous release showed of it, by kind of cell; missing where it showed none."""
    key = estimates[KEY].astype("string").fillna("").agg("|".join, axis=1)
    past = previous.assign(key=previous[KEY].astype("string").fillna("").agg("|".join, axis=1))
    past = past[~find_own_rows(past)].drop_duplicates("key").set_index("key")
    shown = past.reindex(key[~find_own_rows(estimates)])[["n_episodes", "n_events", "estimate"]].astype(float)
    shown.index = key.index[~find_own_rows(estimates)]
    told = (shown["estimate"] * shown["n_episodes"]).where(tells_events(estimates).loc[shown.index]).round()
    events = shown["n_events"].fillna(told)
    return pd.DataFrame(
        {"episodes": shown["n_episodes"], "events": events, "others": shown["n_episodes"] - events}
    ).reindex(estimates.index)


def find_small_changes(estimates: pd.DataFrame, before: pd.DataFrame, least: int) -> pd.Series:
    """True for rows whose counts differ by 1 to `least` - 1 from those `before` (see read_before): who came or left would be few."""
    change = (estimates[["n_episodes", "n_events"]].astype(float) - before[["episodes", "events"]].to_numpy()).abs()
    return change.apply(lambda column: column.between(1, least - 1)).any(axis=1)


def add_release_before(release: Release, before: pd.DataFrame, least: int) -> None:
    """Add the cells of the release before, the changes since, and the equations of both; changes of fewer than `least` people must not be found."""
    equations, now = list(release.equations.items()), list(enumerate(release.cells))
    then = {n: _add_past(release, n, cell, before) for n, cell in now}
    change = {n: _add_change(release, n, then[n], least) for n, _ in now}
    for equation, said in equations:
        if all(then[n] in release.shown for n, _ in equation):
            if sum(sign * release.cells[then[n]].value for n, sign in equation):
                continue  # then it was another sum
        elif not any(then[n] in release.shown for n, _ in equation):
            continue
        for cells, when in ((then, "in the release before"), (change, SINCE)):
            release.equations.setdefault(frozenset((cells[n], sign) for n, sign in equation), f"{said}; {when}")
    equal: dict[tuple, int] = {}
    for n, cell in now:
        first = equal.setdefault((cell.where, cell.kind, cell.value), n)
        if first != n and n not in release.shown:
            release.relate(first, [n], f"{cell.where}: a count that is told twice")


def _add_past(release: Release, n: int, cell: Cell, before: pd.DataFrame) -> int:
    """The same cell in the release before; known if it showed it."""
    value = before.at[release.rows[n][0], cell.kind] if n in release.rows else None
    known = pd.notna(value)
    past = release.append(Cell(f"{cell.where}, in the release before", cell.kind, int(value) if known else 0))
    release.past.add(past)
    if known:
        release.shown.add(past)
    return past


def _add_change(release: Release, n: int, past: int, least: int) -> int:
    """How much a cell has grown; known, and no group that must be hidden, where both are shown. Who hides the cell hides its change."""
    now, then = release.cells[n], release.cells[past]
    change = release.append(Cell(f"{now.where}, {SINCE}", now.kind, now.value - then.value))
    release.change.add(change)
    if n in release.rows:
        release.rows[change] = release.rows[n]
    if n in release.wholes:
        release.wholes.add(change)
    if {n, past} <= release.shown and not 0 < abs(now.value - then.value) < least:
        release.shown.add(change)
    elif release.shown & {n, past}:
        release.relate(n, [past, change], f"{now.where}: then and the change since")
    return change
