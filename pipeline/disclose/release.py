"""A release that passes its audit: small groups are hidden, then whatever still tells of one, until nothing does."""

import pandas as pd

from pipeline.disclose.audit import Exposed, find_exposed, find_exposed_quickly
from pipeline.disclose.between import add_release_before, find_small_changes, read_before
from pipeline.disclose.cells import Release, list_cells
from pipeline.disclose.message import describe_exposed
from pipeline.disclose.sites import draw_letters, hide_sizes, mask_sites
from pipeline.disclose.suppress import hide_rows, hide_small_groups, name_small
from schemas.estimate import Estimates
from schemas.study import Disclosure

ROUNDS = 60
FARTHEST = 3  # see _cover


class GivenAway(Exception):
    """Some hidden count can still be worked out; the message names the tables that together give it away, and no number."""


def release_estimates(estimates: pd.DataFrame, rule: Disclosure, previous: pd.DataFrame | None = None) -> pd.DataFrame:
    """The rows of all analyses (schemas.estimate.Estimates), with everything left out by which a group of fewer than `rule.min_cell` people, or
    what is nearly all one site's, could be found, also by taking away what the `previous` release showed; single sites lose their codes and
    sizes. Raises GivenAway if that takes more than ROUNDS rounds."""
    safe = hide_sizes(hide_small_groups(estimates, rule))
    before = None
    if previous is not None:
        before = read_before(estimates, previous)
        safe = hide_rows(safe, find_small_changes(safe, before, rule.min_cell), name_small(rule.min_cell))
    reach = 0
    for _ in range(ROUNDS):
        release = list_cells(estimates, safe, rule, before)
        if before is not None:
            add_release_before(release, before, rule.min_cell)
        exposed = find_exposed_quickly(release, rule.min_cell) or find_exposed(release, rule.min_cell)
        if not exposed:
            return Estimates.validate(Estimates.cast(mask_sites(safe, draw_letters(estimates))), lazy=True)
        covered = safe
        while safe.equals(covered) and reach <= FARTHEST:
            safe = _cover(exposed, release, safe, rule.min_cell, reach)
            reach += safe.equals(covered)
        if safe.equals(covered):
            break
    raise GivenAway(describe_exposed(find_exposed(release, rule.min_cell), release))


def audit_release(
    estimates: pd.DataFrame, released: pd.DataFrame, rule: Disclosure, previous: pd.DataFrame | None = None
) -> None:
    """Raise GivenAway if a hidden count of `estimates` can be worked out from the `released` rows, and those of the `previous` release."""
    before = None if previous is None else read_before(estimates, previous)
    release = list_cells(estimates, released, rule, before)
    if before is not None:
        add_release_before(release, before, rule.min_cell)
    exposed = find_exposed(release, rule.min_cell)
    if exposed:
        raise GivenAway(describe_exposed(exposed, release))


def _cover(exposed: list[Exposed], release: Release, safe: pd.DataFrame, least: int, reach: int) -> pd.DataFrame:
    """One more cell hidden for each exposed one: the smallest shown part that is somebody, and no total if there is a part.

    It is taken from the equations of the exposed cell; where nothing is left there (`reach` 1), from those of its neighbours; then (2) whole
    populations may be hidden too; at last (3) all rows of its analysis are.
    """
    if reach == FARTHEST:
        lost = {release.cells[found.cell].where.split(",")[0] for found in exposed}
        return hide_rows(safe, safe["analysis"].isin(lost) & safe["population"].ne("published"), name_small(least))
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
    safe = hide_rows(safe, rows | tells, name_small(least))
    safe.loc[events, "n_events"] = pd.NA
    return safe
