"""The site's own numbers beside the pool's.

The pool's are disclosed ones, and are left out where they would tell of few others.

What a site knows of itself it can take away from what is shown of all: what is released is audited
for the eyes of each site (pipeline/disclosure/audit.py). A number of the pool stands here only
where at least LEAST_OTHERS other sites are in it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pandas as pd

from pipeline.analyses.attempts.failure_reasons import (
    FAILED,
    list_taken_for_failed,
    list_with_part,
)
from pipeline.analyses.covariates import name_first_maneuvers
from pipeline.analyses.description.agreement import PARTS, pair_diagnoses
from pipeline.analyses.description.quality_measures import (
    REASSESSED,
    list_measures,
    select_asked,
)
from pipeline.reports.readings import AboutShare, Reading, Readings, read_estimates
from pipeline.reports.site.records import SiteRecords
from pipeline.reports.wording import begin_sentence, count_words, name_maneuver, say_percent
from schemas.failure import TECHNIQUE
from schemas.keys import EPISODE
from schemas.study import Config

LEAST_OTHERS = 3
FIRST_SHOWN = 3
ASKED = {  # by the guideline, and of whom
    "dix_hallpike_both_sides": (
        "Dix-Hallpike test to both sides before the first maneuver, of positional vertigo"
    ),
    "roll_both_sides": (
        "Roll test to both sides, of those whose Dix-Hallpike tests showed horizontal nystagmus or "
        "none"
    ),
    "treated_on_first_day": "Maneuver on the day of the first test, of positional vertigo",
    REASSESSED: (
        "Tested again or asked about symptoms within 30 days, of those treated for positional "
        "vertigo"
    ),
}
HIDDEN = "not shown"


@dataclass(frozen=True)
class Measure:
    """A share of the site, `events` of `total`, and what the pool says of the same."""

    name: str
    events: int
    total: int
    pool: Reading


def compare_measures(
    records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config
) -> list[dict]:
    """Rows of a table: name, the site's share with its counts, the pool's share."""
    measures = [
        *_measure_flow(records, estimates),
        *_measure_agreement(records, estimates),
        *_measure_asked(records, estimates, config),
        *_measure_technique(records, estimates),
        *_measure_first_maneuvers(records, estimates, config),
    ]
    return [
        {
            "name": measure.name,
            "own": (
                f"{say_percent(measure.events / measure.total)} ({measure.events:,} of "
                f"{measure.total:,})"
            ),
            "pool": say_pool(measure),
        }
        for measure in measures
        if measure.total
    ]


def say_pool(measure: Measure) -> str:
    """The pool's share, if enough other sites are in it."""
    if not measure.pool.usable or (measure.pool.n_sites or 0) - 1 < LEAST_OTHERS:
        return HIDDEN
    return say_percent(measure.pool.number)


def _measure_flow(records: SiteRecords, estimates: dict[str, pd.DataFrame]) -> Iterator[Measure]:
    pool, bases = (
        read_estimates(estimates, analysis, "pool") for analysis in ("episode_flow", "denominators")
    )
    verdicts = records.first_spells
    positional = verdicts["positional"].eq("yes")
    treated = positional & verdicts["status"].ne("untreated")

    def share(name: str, which: pd.Series, among: pd.Series, event: str, total: Reading) -> Measure:
        return Measure(
            name, int((which & among).sum()), int(among.sum()), _divide(pool["all", event], total)
        )

    stored, everyone = pool["all", "stored"], pd.Series(True, index=verdicts.index)
    yield share(
        "Positional vertigo, of all stored episodes", positional, everyone, "positional", stored
    )
    apart = verdicts["positional"].eq("probable_non_positional")
    yield share(
        "Probably not positional vertigo, of all stored episodes",
        apart,
        everyone,
        "probable_non_positional",
        stored,
    )
    open_ = verdicts["positional"].eq("undetermined")
    yield share(
        "Undetermined, of all stored episodes: the record does not tell",
        open_,
        everyone,
        "undetermined",
        stored,
    )
    followed = verdicts["status"].isin(["resolved", "unresolved"])
    yield share(
        "Tested again, of those treated for positional vertigo",
        followed,
        treated,
        "followed",
        bases["all", "treated"],
    )


def _measure_agreement(
    records: SiteRecords, estimates: dict[str, pd.DataFrame]
) -> Iterator[Measure]:
    pool = read_estimates(estimates, "diagnosis_agreement", "positional")
    pairs = pair_diagnoses(records["episodes"], records["adjudications"])
    for part, label in (
        ("canal", "Recorded canal agrees with the tests"),
        ("side", "Recorded side agrees with them"),
    ):
        values = PARTS[part]
        named = pairs[pairs[part].isin(values) & pairs[f"recorded_{part}"].isin(values)]
        agree = int(named[part].eq(named[f"recorded_{part}"]).sum())
        reading = pool["all", f"{part}_agreement"]
        yield Measure(
            f"{label}, of those in which both name one",
            agree,
            len(named),
            reading,
        )


def _measure_asked(
    records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config
) -> Iterator[Measure]:
    """What the guideline asks, as far as it is recorded."""
    pool = read_estimates(estimates, "quality_measures", "positional")
    tables = ("episodes", "examinations", "treatments", "followups", "findings", "adjudications")
    listed = list_measures(**{name: records[name] for name in tables}, maneuvers=config.maneuvers)
    for measure, name in ASKED.items():
        asked = select_asked(listed, measure)
        yield Measure(name, int(asked[measure].sum()), len(asked), pool["all", measure])


def _measure_technique(
    records: SiteRecords, estimates: dict[str, pd.DataFrame]
) -> Iterator[Measure]:
    """In which part the technique of failed first maneuvers was not as usual."""
    pool = read_estimates(estimates, "failure_reasons", FAILED)
    reasons = records["failure_reasons"]
    reasons = reasons[reasons["view"].eq("at_the_time")]
    failed = list_taken_for_failed(reasons)
    for part, (words, _) in TECHNIQUE.items():
        found = list_with_part(reasons, part).merge(failed, on=EPISODE)
        stratum = f"view=at_the_time,reason=technique,measure={part}"
        name = f"{begin_sentence(words)}, of first maneuvers that failed or were taken to have"
        yield Measure(name, len(found), len(failed), pool[stratum, "share"])


def _measure_first_maneuvers(
    records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config
) -> Iterator[Measure]:
    """The site's most used first maneuvers of positional episodes."""
    pool: Readings = read_estimates(estimates, "pool_description", "positional")
    verdicts = records["adjudications"]
    positional = verdicts.loc[verdicts["positional"].eq("yes"), "episode_id"]
    first = name_first_maneuvers(records["attempts"])
    maneuvers = first.loc[first["episode_id"].isin(positional), "first_maneuver"].dropna()
    counts = maneuvers.value_counts()
    for family in sorted(counts.index, key=lambda name: (-counts[name], name))[:FIRST_SHOWN]:
        reading = pool[f"first_maneuver={family}", "share"]
        name = (
            f"First maneuver {name_maneuver(family, config)}, of those treated for positional "
            "vertigo"
        )
        yield Measure(name, int(counts[family]), len(maneuvers), reading)


def say_size(records: SiteRecords) -> str:
    """'1,204 stored episodes of delivery 002'."""
    return (
        f"{count_words(len(records['episodes']), 'stored episode')} of delivery "
        f"{records.current_delivery}"
    )


def _divide(part: Reading, base: Reading) -> Reading:
    """The share that one count is of another, both rounded as they are released."""
    if not (part.usable and base.usable):
        return Reading()
    return replace(part, estimate=AboutShare(min(1, part.number / base.number)))
