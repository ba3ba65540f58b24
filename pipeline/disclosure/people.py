"""Whom each row of estimates counts: the declared quantity of the row,
and the sets of people behind its counts, called alike in all analyses."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from schemas.columns import Frame
from schemas.declared import find_quantity
from schemas.estimate import Estimates
from schemas.published import Published
from schemas.quantities import KINDS, Kind, People, Quantity
from schemas.strata import THEN, split_stratum

# where the quantities of a set of people stand beside each other
PLACE = ["analysis", "population", "endpoint", "stratum"]
PUBLISHED = "published"  # population of results printed in papers: nobody of this pool
WHOLE = "all"
START, BACK = "start", ".."  # steps of a path
Trials = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Group:
    """A set of people: its name and what narrows it, as pairs of variable and value."""

    name: str
    narrowed: frozenset[tuple[str, str]] = frozenset()

    @property
    def by(self) -> dict[str, str]:
        return dict(self.narrowed)

    def say(self) -> str:
        """'followed objective, canal=posterior'."""
        return ", ".join(
            [self.name, *(f"{variable}={value}" for variable, value in sorted(self.narrowed))]
        )


@dataclass(frozen=True)
class Described:
    """What one row is.

    Attributes
    ----------
    quantity
        As it is declared.
    episodes
        The people whom n_episodes counts; None where nobody can say.
    events
        Those whom n_events, or a count itself, counts; likewise.
    parameters
        What the placeholders of the declared term stand for.
    """

    quantity: Quantity
    episodes: Group | None
    events: Group | None
    parameters: tuple[tuple[str, str], ...] = ()

    @property
    def kind(self) -> Kind:
        return KINDS[self.quantity.kind]


def describe_rows(estimates: Frame[Estimates], trials: Trials | None = None) -> pd.Series:
    """Describe each row of estimates.

    Parameters
    ----------
    estimates
        Rows of any analyses.
    trials
        By published trial the variables that narrow the people who are like those of it
        (narrow_trials).

    Returns
    -------
    pd.Series
        A Described for each row, None for results of papers.

    Raises
    ------
    schemas.quantities.Undeclared
        For a row that nobody has declared.
    """
    key = [*PLACE, "term"]
    describe = partial(describe_row, trials=trials or {})
    seen: dict[tuple, Described | None] = {}
    descriptions = []
    for row in estimates[key].astype("string").fillna("").itertuples(index=False, name=None):
        if row not in seen:
            seen[row] = None if row[1] == PUBLISHED else describe(*row)
        descriptions.append(seen[row])
    return pd.Series(descriptions, index=estimates.index, dtype=object)


def describe_row(
    analysis: str, population: str, endpoint: str, stratum: str, term: str, trials: Trials
) -> Described:
    """What a row of this key is."""
    declared = find_quantity(analysis, stratum, term)
    values = dict(declared.parameters) | {"endpoint": endpoint, "population": population}
    events, episodes = (
        None if people is None else _name_group(people, values, stratum, trials)
        for people in (declared.quantity.events, declared.quantity.episodes)
    )
    return Described(
        declared.quantity, episodes, events, tuple(sorted(declared.parameters.items()))
    )


def narrow_trials(published: Published) -> dict[str, dict[str, str]]:
    """What narrows the people like those of each trial: its canal,
    and the arms of the canal if it names any."""
    return {
        name: {"canal": trial.canal}
        | ({"arm": "+".join(trial.canal_arms)} if trial.canal_arms else {})
        for name, trial in published.trials.items()
    }


def _name_group(people: People, values: Mapping[str, str], stratum: str, trials: Trials) -> Group:
    narrowed = split_stratum(stratum) or ({} if stratum == WHOLE else {stratum: ""})
    if people.by is not None:
        narrowed = {variable: narrowed[variable] for variable in people.by if variable in narrowed}
    else:
        narrowed = dict(narrowed)
    narrowed |= {
        variable: value.format_map(dict(values) | narrowed)
        for variable, value in people.fields.items()
    }
    if "trial" in narrowed:
        narrowed |= trials.get(narrowed["trial"], {"like": narrowed["trial"]})
        del narrowed["trial"]
    if "basis" in narrowed:  # short arms by different definitions are different arms
        narrowed["arm"] = f"{narrowed.get('arm', 'short')} by {narrowed.pop('basis')}"
    if "path" in narrowed:
        narrowed |= {"path": _walk(narrowed["path"])}
        if not narrowed["path"]:
            del narrowed["path"]
    return Group(people.name.format_map(values), frozenset(narrowed.items()))


def _walk(path: str) -> str:
    """A path without its start, a step back being taken."""
    steps = [step for step in path.split(THEN) if step != START]
    return THEN.join(steps[:-2] if steps and steps[-1] == BACK else steps)


@dataclass(frozen=True)
class BySite:
    """How many people of each site are behind the rows.

    Attributes
    ----------
    sites
        Names of the sites, in order.
    place
        The number of a row by its label.
    episodes, events
        How many n_episodes and n_events count, (rows, sites); nan where it is not told.
    """

    sites: tuple[str, ...]
    place: Mapping[object, int]
    episodes: np.ndarray
    events: np.ndarray

    def of(self, label: object, counted: str, number: float) -> np.ndarray | None:
        """The people of each site that one row counts, of its "episodes" or "events";
        None where it does not say of whom its `number` is."""
        row = getattr(self, counted)[self.place[label]]
        if number == 0:
            return np.zeros(len(self.sites))
        return row if row.sum() == number else None


def read_by_site(estimates: Frame[Estimates]) -> BySite:
    """The column `by_site` (schemas.estimate.Estimates) as numbers;
    a site that a row does not name has nobody in it."""
    stated = estimates["by_site"].dropna()
    by_text = {
        text: {
            site: counts.split("/")
            for site, _, counts in (entry.partition("=") for entry in text.split())
        }
        for text in stated.unique()
    }
    by_label = {label: by_text[text] for label, text in stated.items()}
    sites = tuple(sorted({site for counts in by_label.values() for site in counts}))
    place = {label: number for number, label in enumerate(estimates.index)}
    column = {site: number for number, site in enumerate(sites)}
    episodes, events = (np.full((len(estimates), len(sites)), np.nan) for _ in range(2))
    for label, counts in by_label.items():
        row, lengths = place[label], {len(numbers) for numbers in counts.values()}
        episodes[row] = 0
        if lengths == {2}:
            events[row] = 0
        for site, numbers in counts.items():
            for array, number in zip((episodes, events), numbers, strict=False):
                array[row, column[site]] = int(number)
    return BySite(sites, place, episodes, events)
