"""A release that passes its audit: small groups are hidden, numbers and counts rounded,
and then whatever still tells of a small group is hidden too, until nothing does."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from pipeline.disclosure.audit import Audit, Exposed
from pipeline.disclosure.between import add_releases
from pipeline.disclosure.cells import list_cells
from pipeline.disclosure.cover import Cover
from pipeline.disclosure.equations import add_equations
from pipeline.disclosure.known import Known, check_known, learn_known
from pipeline.disclosure.ledger import Entry
from pipeline.disclosure.message import describe_exposed
from pipeline.disclosure.people import BySite, Trials, describe_rows, read_by_site
from pipeline.disclosure.protect import hide_contrasts, hide_rows, hide_small_groups
from pipeline.disclosure.rounding import coarsen_shares, is_coarse, round_counts, round_released
from pipeline.disclosure.share_sums import (
    ShareSum,
    find_exposed_shares,
    list_open_sums,
    list_share_sums,
)
from pipeline.disclosure.sites import draw_letters, mask_sites
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.study import Disclosure

ROUNDS = 100


class GivenAway(Exception):
    """Some hidden count can still be worked out; the message names the tables that together give it
    away, and no number."""


@dataclass(frozen=True)
class Stated:
    """What the analyses state.

    Attributes
    ----------
    rows
        All rows before protection.
    described
        By label what each row is.
    by_site
        How many of each site are behind them.
    audit
        What asks of the cells that they tell of.
    sums
        Shares that add up to one, which are asked by themselves.
    """

    rows: pd.DataFrame
    described: pd.Series
    by_site: BySite
    audit: Audit
    sums: list[ShareSum]


@dataclass(frozen=True)
class Made:
    """A release: its rows as they may leave, what they were made from,
    and what is `known` of each cell then."""

    rows: pd.DataFrame
    stated: Stated
    known: Known


def state_all(
    estimates: Frame[Estimates],
    rule: Disclosure,
    trials: Trials | None = None,
    entries: Sequence[Entry] = (),
) -> Stated:
    """The rows of all analyses (schemas.estimate.Estimates), and the cells behind them,
    beside those of earlier releases (`entries` of the ledger)."""
    described, by_site = describe_rows(estimates, trials), read_by_site(estimates)
    cells = list_cells(estimates, described, by_site, rule)
    add_equations(cells, rule.min_cell)
    add_releases(cells, entries, by_site.sites)
    sums = list_share_sums(cells, estimates, described)
    return Stated(estimates, described, by_site, Audit(cells, rule.min_cell), sums)


def make_release(
    estimates: Frame[Estimates],
    rule: Disclosure,
    trials: Trials | None = None,
    entries: Sequence[Entry] = (),
) -> Made:
    """Make a release that passes its audit.

    Everything is left out by which a group of fewer than `rule.min_cell` people, or what is nearly
    all one site's, could be found, by who has kept the earlier releases too; single sites lose
    their codes and sizes.

    Parameters
    ----------
    estimates
        The rows of all analyses.
    rule
        Thresholds of disclosure.
    trials
        What narrows the people like those of each published trial, by people.narrow_trials.
    entries
        Earlier releases.

    Returns
    -------
    Made
        The rows as they may leave, and what is known then.

    Raises
    ------
    GivenAway
        If that cannot be done.
    """
    stated = state_all(estimates, rule, trials, entries)
    safe = hide_small_groups(estimates, stated.described, stated.by_site, rule)
    safe = round_counts(round_released(safe, stated.described), stated.described, rule.round_counts)
    safe, known = hide_what_tells(stated, safe, rule)
    masked = mask_sites(safe.reset_index(drop=True), draw_letters(estimates))
    return Made(Estimates.validate(Estimates.cast(masked), lazy=True), stated, known)


def hide_what_tells(
    stated: Stated, safe: pd.DataFrame, rule: Disclosure
) -> tuple[pd.DataFrame, Known]:
    """The rows with more hidden, until no hidden count can be worked out by anybody,
    or by a site that knows its own; and what they show."""
    cells = stated.audit.cells
    known = learn_known(cells, safe, stated.described, rule)
    check_known(cells, known, stated.described)
    for _ in range(ROUNDS):
        exposed = find_all(stated.audit, known)
        if exposed:
            cover = Cover(stated.audit, safe, stated.described, known, rule)
            chosen = [cover.add(exposure) for exposure in exposed]
            if not any(chosen):
                break
            safe = cover.apply()
        else:
            shares = find_shares(stated, safe, known, rule)
            if not shares:
                return safe, known
            fine = ~pd.Series(is_coarse(safe), index=safe.index)
            safe = coarsen_shares(safe, [label for label in shares if fine[label]])
            safe = hide_contrasts(hide_rows(safe, [label for label in shares if not fine[label]]))
        known = learn_known(cells, safe, stated.described, rule)
    raise GivenAway(describe_exposed(exposed, cells, known.bounds))


def find_all(audit: Audit, known: Known) -> list[Exposed]:
    """What can be worked out from what a release shows: quickly first, for all eyes in turn,
    and by all equations only if that finds nothing."""
    for find in (audit.find_quickly, audit.find):
        for eyes in audit.everybody:
            exposed = find(known, eyes)
            if exposed:
                return exposed
    return []


def find_shares(
    stated: Stated, released: pd.DataFrame, known: Known, rule: Disclosure
) -> list[object]:
    """The rows of shares to coarsen or hide, so that no hidden one that adds up with them to one is
    known to stand for a small group."""
    audit, sums = stated.audit, list_open_sums(stated.sums, released)
    for eyes in audit.everybody:
        exposed = find_exposed_shares(
            sums, *audit.carry(known, eyes), audit.owned[:, eyes], rule.min_cell
        )
        if exposed:
            return exposed
    return []
