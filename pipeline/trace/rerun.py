"""An analysis run once more on the store, so that each of its rows can say which episodes it counts
and what of the plan it rests on."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from pipeline.analyses.plan import run_analysis
from pipeline.disclosure.sites import SITE, draw_letters
from pipeline.statistics.tidy import Counted, recording_members
from pipeline.trace.plan_read import watch_plan
from pipeline.warehouse import open_warehouse
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import read_config

HAS_EVENT = "has_event"


@dataclass(frozen=True)
class Rerun:
    """What an analysis gave when it was run again.

    Attributes
    ----------
    estimates
        Its rows before protection.
    counted
        Of each of them the text of `by_site`, most of which know the episodes that they count.
    candidates
        By such a text all that were made with it in this run.
    rows_read
        By table of the warehouse how many rows it was given.
    plan
        By place in the plan's files the values that it read.
    """

    estimates: Frame[Estimates]
    counted: list[str | None]
    candidates: Mapping[str, list[Counted]]
    rows_read: dict[str, int]
    plan: dict[str, list]

    @cached_property
    def places(self) -> dict[tuple, int]:
        """By key the place of each row."""
        return {key: place for place, key in enumerate(_list_keys(self.estimates))}

    def find_row(self, key: Mapping[str, str]) -> int | None:
        """The place of a row by its key; None if there is no such row."""
        return self.places.get(tuple(key[column] for column in Estimates.key()))


@dataclass(frozen=True)
class Members:
    """The episodes that one row counts.

    Attributes
    ----------
    by_site
        How many of each site, and after a slash those with the event; empty where no site is told.
    episodes
        site, episode_id and, where that is told, has_event; None where the analysis does not tell
        which they are.
    """

    by_site: str
    episodes: pd.DataFrame | None


def rerun_analysis(analysis: str, warehouse: Path, plan: Path) -> Rerun:
    """Run an analysis once more, with its members and what it reads of the plan recorded.

    Parameters
    ----------
    analysis
        Its name.
    warehouse
        The store.
    plan
        Folder of the plan.

    Returns
    -------
    Rerun
        Its rows, as at the first time if store, plan and program are the same.
    """
    read = watch_plan(read_config(plan))
    with recording_members() as tables, open_warehouse(warehouse) as store:
        estimates = run_analysis(analysis, store, read.config)
        rows_read = store.rows_read
    by_key: dict[tuple, str | None] = {}
    candidates: dict[str, list[Counted]] = {}
    for table, texts in tables:
        by_key |= dict(zip(_list_keys(table), texts, strict=True))
        for text in texts:
            if isinstance(text, Counted):
                candidates.setdefault(str(text), []).append(text)
    counted = [by_key[key] for key in _list_keys(estimates)]
    return Rerun(estimates, counted, candidates, rows_read, read.group())


def _list_keys(rows: Frame[Estimates]) -> list[tuple]:
    return list(rows[Estimates.key()].fillna("").itertuples(index=False, name=None))


def find_members(rerun: Rerun, place: int) -> Members:
    """The episodes that the row at a place counts.

    A row that took its counts from another row has their text alone: the episodes are those that
    were counted with this text, if that was one set only.
    """
    text, number = rerun.counted[place], rerun.estimates["n_episodes"].iloc[place]
    if not text:
        nobody = pd.DataFrame(columns=EPISODE, dtype="string")
        return Members("", nobody if pd.notna(number) and number == 0 else None)
    known = [text] if isinstance(text, Counted) else rerun.candidates.get(text, [])
    sets = [_list_episodes(each) for each in known]
    first = sets[0] if sets else None
    if first is None or any(each is None or not each.equals(first) for each in sets):
        return Members(str(text), None)
    alike = pd.isna(number) or len(first) == number
    return Members(str(text), first if alike else None)


def _list_episodes(counted: Counted) -> pd.DataFrame | None:
    """The episodes of a text of `by_site`, each once and in order."""
    if counted.episodes is None:
        return None
    episodes = counted.episodes.drop_duplicates().sort_values(EPISODE, ignore_index=True)
    if counted.events is None:
        return episodes
    with_event = pd.MultiIndex.from_frame(counted.events)
    has = pd.MultiIndex.from_frame(episodes[EPISODE]).isin(with_event)
    return episodes.assign(**{HAS_EVENT: has})


def read_codes(unreleased: Frame[Estimates]) -> dict[str, str]:
    """By letter of a release the code of the site, from all of its rows before protection: the
    letters were drawn from them."""
    return {letter: code for code, letter in draw_letters(unreleased).items()}


def name_sites(key: Mapping[str, str], codes: Mapping[str, str]) -> dict[str, str]:
    """A released key with the codes of sites in place of their letters: that of the same row
    before protection."""
    return {
        column: SITE.sub(lambda found: f"site={codes.get(found[1], found[1])}", value)
        for column, value in key.items()
    }
