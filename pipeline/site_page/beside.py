"""The site's own numbers beside the pool's. The pool's are disclosed ones, and are left out where they would tell of few others.

What a site knows of itself it can take away from what is shown of all. A number of the pool stands here only where at least
LEAST_OTHERS other sites are in it, and where the rest, with and without the event, is nobody or at least the least group that may be shown.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from pipeline.committee.readings import Reading, Readings, read_estimates
from pipeline.committee.wording import count_words, name_maneuver, say_percent
from pipeline.models.agreement import PARTS, pair_diagnoses
from pipeline.models.counts import name_first_maneuvers
from pipeline.site_page.records import SiteRecords
from schemas.study import Config

LEAST_OTHERS = 3
FIRST_SHOWN = 3
HIDDEN = "not shown"


@dataclass(frozen=True)
class Measure:
    """A share of the site, `events` of `total`, and what the pool says of the same."""

    name: str
    events: int
    total: int
    pool_events: int | None
    pool_total: int | None
    pool_sites: int | None


def compare_measures(records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config) -> list[dict]:
    """Rows of a table: name, the site's share with its counts, the pool's share."""
    measures = [
        *_measure_flow(records, estimates),
        *_measure_agreement(records, estimates),
        *_measure_first_maneuvers(records, estimates, config),
    ]
    least = config.study.disclosure.min_cell
    return [
        {
            "name": measure.name,
            "own": f"{say_percent(measure.events / measure.total)} ({measure.events:,} of {measure.total:,})",
            "pool": say_pool(measure, least),
        }
        for measure in measures
        if measure.total
    ]


def say_pool(measure: Measure, least: int) -> str:
    """The pool's share, if it tells of no few others."""
    if None in (measure.pool_events, measure.pool_total, measure.pool_sites) or not measure.pool_total:
        return HIDDEN
    others = measure.pool_total - measure.total
    with_event = measure.pool_events - measure.events
    small = any(0 < group < least for group in (with_event, others - with_event, others))
    if measure.pool_sites - 1 < LEAST_OTHERS or small or min(with_event, others - with_event) < 0:
        return HIDDEN
    return say_percent(measure.pool_events / measure.pool_total)


def _measure_flow(records: SiteRecords, estimates: dict[str, pd.DataFrame]) -> Iterator[Measure]:
    pool = read_estimates(estimates, "episode_flow", "pool")
    verdicts = records.first_spells
    positional = verdicts["positional"].eq("yes")
    treated = positional & verdicts["status"].ne("untreated")

    def share(name: str, which: pd.Series, among: pd.Series, event: str, total: int | None) -> Measure:
        found = pool["all", event]
        return Measure(name, int((which & among).sum()), int(among.sum()), _whole(found), total, found.n_sites)

    stored, everyone = _whole(pool["all", "stored"]), pd.Series(True, index=verdicts.index)
    yield share("Positional vertigo, of all stored episodes", positional, everyone, "positional", stored)
    apart = verdicts["positional"].eq("probable_non_positional")
    yield share(
        "Probably not positional vertigo, of all stored episodes", apart, everyone, "probable_non_positional", stored
    )
    open_ = verdicts["positional"].eq("undetermined")
    yield share(
        "Undetermined, of all stored episodes: the record does not tell", open_, everyone, "undetermined", stored
    )
    counts = [_whole(pool["all", term]) for term in ("positional", "untreated")]
    pool_treated = None if None in counts else counts[0] - counts[1]
    followed = verdicts["status"].isin(["resolved", "unresolved"])
    yield share("Looked at again, of those treated for positional vertigo", followed, treated, "followed", pool_treated)


def _measure_agreement(records: SiteRecords, estimates: dict[str, pd.DataFrame]) -> Iterator[Measure]:
    pool = read_estimates(estimates, "diagnosis_agreement", "positional")
    pairs = pair_diagnoses(records["episodes"], records["adjudications"])
    for part, label in (("canal", "Recorded canal agrees with the looks"), ("side", "Recorded side agrees with them")):
        values = PARTS[part]
        named = pairs[pairs[part].isin(values) & pairs[f"recorded_{part}"].isin(values)]
        agree = int(named[part].eq(named[f"recorded_{part}"]).sum())
        found = pool["all", f"{part}_agreement"]
        yield Measure(
            f"{label}, of those in which both name one",
            agree,
            len(named),
            found.n_events,
            found.n_episodes,
            found.n_sites,
        )


def _measure_first_maneuvers(
    records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config
) -> Iterator[Measure]:
    """The site's most used first maneuvers of positional episodes."""
    pool: Readings = read_estimates(estimates, "pool_description", "positional")
    verdicts = records["adjudications"]
    positional = verdicts.loc[verdicts["positional"].eq("yes"), "episode_id"]
    first = name_first_maneuvers(records["attempts"])
    own = first.loc[first["episode_id"].isin(positional), "first_maneuver"].dropna()
    counts = own.value_counts()
    for family in sorted(counts.index, key=lambda name: (-counts[name], name))[:FIRST_SHOWN]:
        found = pool[f"first_maneuver={family}", "share"]
        name = f"First maneuver {name_maneuver(family, config)}, of those treated for positional vertigo"
        yield Measure(name, int(counts[family]), len(own), found.n_events, found.n_episodes, found.n_sites)


def say_size(records: SiteRecords) -> str:
    """'1,204 stored episodes of delivery 002'."""
    return f"{count_words(len(records['episodes']), 'stored episode')} of delivery {records.current_delivery}"


def _whole(reading: Reading) -> int | None:
    return int(reading.estimate) if reading.usable else None
