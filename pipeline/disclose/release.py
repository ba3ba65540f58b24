"""A release that passes its audit: small groups are hidden, then whatever still tells of one, until nothing does."""

import pandas as pd

from pipeline.disclose.audit import Exposed, find_exposed, find_exposed_quickly
from pipeline.disclose.cells import Release, list_cells
from pipeline.disclose.suppress import hide_rows, hide_small_groups
from schemas.estimate import Estimates
from schemas.study import Disclosure

ROUNDS = 60
FARTHEST = 3  # see _cover
KEY = ["analysis", "population", "endpoint", "stratum", "term", "comparison"]


class GivenAway(Exception):
    """Some hidden count can still be worked out; the message names the tables that together give it away, and no number."""


def release_estimates(estimates: pd.DataFrame, rule: Disclosure, previous: pd.DataFrame | None = None) -> pd.DataFrame:
    """The rows of all analyses (schemas.estimate.Estimates), with everything left out by which a group of fewer than `rule.min_cell` people could
    be found, also by taking away what the `previous` release showed; single sites lose their codes. Raises GivenAway if that takes more than
    ROUNDS rounds."""
    safe = hide_small_groups(estimates, rule)
    if previous is not None:
        safe = hide_rows(
            safe, find_small_changes(mask_sites(estimates, estimates), safe, previous, rule.min_cell), rule.min_cell
        )
    reach = 0
    for _ in range(ROUNDS):
        release = list_cells(estimates, safe)
        exposed = find_exposed_quickly(release, rule.min_cell) or find_exposed(release, rule.min_cell)
        if not exposed:
            return Estimates.validate(Estimates.cast(mask_sites(safe, estimates)), lazy=True)
        before = safe
        while safe.equals(before) and reach <= FARTHEST:
            safe = _cover(exposed, release, safe, rule.min_cell, reach)
            reach += safe.equals(before)
        if safe.equals(before):
            break
    raise GivenAway(describe_exposed(exposed, release))


def find_small_changes(named: pd.DataFrame, safe: pd.DataFrame, previous: pd.DataFrame, least: int) -> pd.Series:
    """True for rows of `safe` whose counts differ by 1 to `least` - 1 from those that the previous release showed: who was added would be few.

    `named` are the same rows as they are called in a release.
    """
    key = KEY
    keys = named[key].astype("string").fillna("").agg("|".join, axis=1)
    before = (
        previous.assign(key=previous[key].astype("string").fillna("").agg("|".join, axis=1))
        .drop_duplicates("key")
        .set_index("key")
    )
    few = pd.Series(False, index=safe.index)
    for column in ("n_episodes", "n_events"):
        change = (safe[column].astype(float) - keys.map(before[column]).astype(float)).abs()
        few |= change.between(1, least - 1)
    return few


def mask_sites(rows: pd.DataFrame, estimates: pd.DataFrame) -> pd.DataFrame:
    """The rows with single sites called by letters in the order of their size instead of by their codes."""
    own = estimates[estimates["stratum"].str.startswith("site=")]
    sizes = (
        own.groupby("stratum")["n_episodes"]
        .max()
        .reset_index()
        .sort_values(["n_episodes", "stratum"], ascending=[False, True])
    )
    letters = {stratum: f"site={name_letters(k)}" for k, stratum in enumerate(sizes["stratum"])}
    return rows.assign(stratum=rows["stratum"].replace(letters))


def name_letters(number: int) -> str:
    """A, B, ... Z, AA, AB for 0, 1, ..."""
    above, last = divmod(number, 26)
    return (name_letters(above - 1) if above else "") + chr(ord("A") + last)


def audit_release(estimates: pd.DataFrame, released: pd.DataFrame, rule: Disclosure) -> None:
    """Raise GivenAway if a hidden small count of `estimates` can be worked out from the `released` rows."""
    release = list_cells(estimates, released)
    exposed = find_exposed(release, rule.min_cell)
    if exposed:
        raise GivenAway(describe_exposed(exposed, release))


def describe_exposed(exposed: list[Exposed], release: Release) -> str:
    """Which tables together give hidden counts away, without any number."""
    lines = [f"{len(exposed)} hidden counts of small groups can be worked out from what is shown:"]
    for found in exposed[:10]:
        cell = release.cells[found.cell]
        lines.append(f"- {cell.where} ({cell.kind}), from: {'; '.join(found.said[:3])}")
    return "\n".join([*lines, *(["- and others"] if len(exposed) > 10 else [])])


def _cover(exposed: list[Exposed], release: Release, safe: pd.DataFrame, least: int, reach: int) -> pd.DataFrame:
    """One more cell hidden for each exposed one: the smallest shown part that is somebody, and no total if there is a part.

    It is taken from the equations of the exposed cell; where nothing is left there (`reach` 1), from those of its neighbours; then (2) whole
    populations may be hidden too; at last (3) all rows of its analysis are.
    """
    if reach == FARTHEST:
        lost = {release.cells[found.cell].where.split(",")[0] for found in exposed}
        return hide_rows(safe, safe["analysis"].isin(lost) & safe["population"].ne("published"), least)
    near: dict[int, list[frozenset]] = {}
    for equation in release.equations if reach else ():
        for n, _ in equation:
            near.setdefault(n, []).append(equation)
    chosen: set[int] = set()
    for found in exposed:
        equations = set(found.equations)
        if reach:
            equations |= {further for equation in found.equations for n, _ in equation for further in near[n]}
        if any(n in chosen for equation in equations for n, _ in equation):
            continue
        options = [
            (n in release.wholes, sign < 0, release.cells[n].value, n)
            for equation in equations
            for n, sign in equation
            if n in release.shown and release.cells[n].value > 0 and n in release.rows
        ]
        options = [option for option in options if reach == 2 or not option[0]]
        if options:
            chosen.add(min(options)[3])
    rows = pd.Series(False, index=safe.index)
    events = pd.Series(False, index=safe.index)
    for n in sorted(chosen):
        target = rows if release.cells[n].kind == "episodes" else events
        target[release.rows[n]] = True
    tells = events & release.tells.reindex(safe.index, fill_value=False)
    safe = hide_rows(safe, rows | tells, least)
    safe.loc[events, "n_events"] = pd.NA
    return safe
