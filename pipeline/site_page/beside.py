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
    yield share("Probably not positional", apart, everyone, "probable_non_positional", stored)
    open_ = verdicts["positional"].eq("undetermined")
    yield share("Undetermined: the record does not tell", open_, everyone, "undetermined", stored)
    counts = [_whole(pool["all", term]) for term in ("positional", "untreated")]
    pool_treated = None if None in counts else counts[0] - counts[1]
    followed = verdicts["status"].isin(["resolved", "unresolved"])
    yield share("Looked at again, of those treated for it", followed, treated, "followed", pool_treated)


def _measure_agreement(records: SiteRecords, estimates: dict[str, pd.DataFrame]) -> Iterator[Measure]:
    pool = read_estimates(estimates, "diagnosis_agreement", "positional")
    pairs = pair_diagnoses(records["episodes"], records["adjudications"])
    for part, label in (("canal", "Recorded canal agrees with the looks"), ("side", "Recorded side agrees")):
        values = PARTS[part]
        named = pairs[pairs[part].isin(values) & pairs[f"recorded_{part}"].isin(values)]
        agree = int(named[part].eq(named[f"recorded_{part}"]).sum())
        found = pool["all", f"{part}_agreement"]
        yield Measure(label, agree, len(named), found.n_events, found.n_episodes, found.n_sites)


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
        name = f"First maneuver: {name_maneuver(family, config)}"
        yield Measure(name, int(counts[family]), len(own), found.n_events, found.n_episodes, found.n_sites)


def place_in_funnel(monitoring: pd.DataFrame, records: SiteRecords, pool_sites: int | None) -> list[dict]:
    """For each day of the plan the site's share beside what its case mix lets expect of it, or why there is none.

    `monitoring` are the estimates of site_monitoring before protection, of which only this site's rows are used. The expected share rests on
    the other sites; it is shown if they are at least LEAST_OTHERS.
    """
    own = monitoring[monitoring["stratum"].eq(f"site={records.site}")]
    readings = read_estimates({"site_monitoring": own}, "site_monitoring", "positional")
    days = sorted({int(term.rpartition("_")[2]) for term in own["term"] if term.startswith("observed_by_day_")})
    if pool_sites is None or pool_sites - 1 < LEAST_OTHERS:
        return []
    return [_place(day, readings.of(f"site={records.site}")) for day in days]


def _place(day: int, terms: dict[str, Reading]) -> dict:
    observed, expected = terms[f"observed_by_day_{day}"], terms[f"expected_by_day_{day}"]
    if not (observed.usable and expected.usable):
        return {"day": day, "why": observed.note or "too few episodes", "bar": None}
    limits = {
        c: [terms[f"control_{side}_{c}_day_{day}"].estimate for side in ("lower", "upper")] for c in _coverages(terms)
    }
    inner = limits[min(limits, key=float)]
    outside = not inner[0] <= observed.estimate <= inner[1]
    of = "" if observed.n_episodes is None else f" {observed.n_episodes:,} followed"
    said = (
        f"By day {day}, {say_percent(observed.estimate)} of your{of} episodes were resolved. With your case mix, "
        f"{say_percent(expected.estimate)} would be expected, give or take chance ({say_percent(inner[0])} to {say_percent(inner[1])}). "
    )
    said += (
        "That is outside the range in which chance alone leaves 19 of 20 sites: look at your records first, then at when patients are seen again."
        if outside
        else "That is within the range of chance."
    )
    return {"day": day, "why": "", "said": said, "bar": _draw(observed.estimate, expected.estimate, limits)}


def _coverages(terms: dict[str, Reading]) -> list[str]:
    return sorted({term.split("_")[2] for term in terms if term.startswith("control_lower_")}, key=float)


def _draw(observed: float, expected: float, limits: dict[str, list[float]]) -> dict:
    """Places on a line from 0 to 100: numbers for the template, which draws them."""
    bands = [[round(100 * end, 1) for end in limits[c]] for c in sorted(limits, key=float, reverse=True)]
    return {"observed": round(100 * observed, 1), "expected": round(100 * expected, 1), "bands": bands}


def say_size(records: SiteRecords) -> str:
    """'1,204 stored episodes of delivery 002'."""
    return f"{count_words(len(records['episodes']), 'stored episode')} of delivery {records.current_delivery}"


def _whole(reading: Reading) -> int | None:
    return int(reading.estimate) if reading.usable else None
