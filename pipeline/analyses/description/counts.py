"""Descriptive analyses: where the episodes went, and who is in the pool.

Counts and shares, no model.
"""

from collections.abc import Iterator

import pandas as pd

from pipeline.analyses.covariates import name_first_maneuvers
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.store import Deliveries, RowCounts

AGE_EDGES = [0, 18, 45, 55, 65, 75, 85, 200]
AGE_BANDS = ["0-17", "18-44", "45-54", "55-64", "65-74", "75-84", "85+"]


def count_flow(
    row_counts: Frame[RowCounts],
    deliveries: Frame[Deliveries],
    adjudications: Frame[Adjudications],
    spells: Frame[Spells],
) -> Frame[Estimates]:
    """Count how many episodes were handed in, stored and set aside, and what became of them.

    Of each site the current delivery counts; of a site without an accepted one, its last refused
    delivery. Patients who withdrew their consent are not counted anywhere.

    Returns
    -------
    Frame[Estimates]
        One count a term. handed_in = refused + set_aside + stored; stored = positional +
        probable_non_positional + undetermined; positional = untreated + incomplete_record +
        never_positive + not_tested_again + followed; reclassified_later are those of the positional
        that the site found to be something else after the first attempt.
    """
    counted = _count_latest(row_counts, deliveries)
    first = spells[spells["spell"].eq(1) & spells["endpoint"].eq("objective")]
    verdicts = adjudications.merge(first[[*EPISODE, "status"]], on=EPISODE, validate="one_to_one")
    positional = verdicts["positional"].eq("yes")
    rows = [
        _count("handed_in", counted, counted["rows_in"] - counted["rows_withdrawn"]),
        _count("refused", counted, counted["rows_refused"]),
        _count("set_aside", counted, counted["rows_set_aside"]),
        _count("stored", counted, counted["rows_stored"]),
        _count("positional", verdicts, positional),
        _count(
            "probable_non_positional",
            verdicts,
            verdicts["positional"].eq("probable_non_positional"),
        ),
        _count("undetermined", verdicts, verdicts["positional"].eq("undetermined")),
        _count("untreated", verdicts, positional & verdicts["status"].eq("untreated")),
        _count(
            "incomplete_record", verdicts, positional & verdicts["status"].eq("incomplete_record")
        ),
        _count("never_positive", verdicts, positional & verdicts["status"].eq("never_positive")),
        _count(
            "not_tested_again", verdicts, positional & verdicts["status"].eq("not_tested_again")
        ),
        _count(
            "followed", verdicts, positional & verdicts["status"].isin(["resolved", "unresolved"])
        ),
        _count("reclassified_later", verdicts, positional & verdicts["reclassified_day"].notna()),
    ]
    return tidy_estimates(
        rows, analysis="episode_flow", population="pool", stratum="all", method="count"
    )


def list_handed_in(row_counts: Frame[RowCounts], deliveries: Frame[Deliveries]) -> pd.DataFrame:
    """One row for each episode that was handed in, with its site alone,
    since those of refused deliveries are not kept."""
    counted = _count_latest(row_counts, deliveries)
    return pd.DataFrame(
        {
            "site": counted["site"].repeat(
                (counted["rows_in"] - counted["rows_withdrawn"]).astype(int)
            )
        }
    )


def _count_latest(row_counts: pd.DataFrame, deliveries: pd.DataFrame) -> pd.DataFrame:
    """The counts of episodes of each site's current delivery,
    or of its last refused one where none was accepted."""
    accepted = deliveries[deliveries["is_current"]]
    refused = (
        deliveries[~deliveries["site"].isin(accepted["site"])]
        .sort_values("delivery")
        .groupby("site")
        .tail(1)
    )
    latest = pd.concat([accepted, refused])[["site", "delivery"]]
    return row_counts[row_counts["table"].eq("episodes")].merge(latest, on=["site", "delivery"])


def describe_pool(
    episodes: Frame[Episodes], adjudications: Frame[Adjudications], attempts: Frame[Attempts]
) -> Frame[Estimates]:
    """Describe who is in the pool.

    Returns
    -------
    Frame[Estimates]
        Shares (stratum <variable>=<value>) of stored episodes by sex, age and cause, and of
        positional ones by variant, certainty and first maneuver, of those with a value; quartiles
        of age in years.
    """
    people = episodes.assign(
        age=pd.cut(
            episodes["age_years"].astype("float"), AGE_EDGES, labels=AGE_BANDS, right=False
        ).astype("string")
    )
    first = name_first_maneuvers(attempts)
    positional = adjudications[adjudications["positional"].eq("yes")].merge(
        first, on=EPISODE, how="left"
    )
    rows = [
        row | {"population": "stored"}
        for column in ("sex", "age", "cause")
        for row in _shares(people, column)
    ]
    variants = ("canal", "side", "arm", "arm_basis", "mechanism", "certainty", "first_maneuver")
    rows += [
        row | {"population": "positional"}
        for column in variants
        for row in _shares(positional, column)
    ]
    rows += [row | {"population": "stored"} for row in _age_quartiles(people)]
    return tidy_estimates(rows, analysis="pool_description", method="share of episodes")


def _count(term: str, rows: pd.DataFrame, episodes: pd.Series) -> dict:
    """A count of episodes; `episodes` says of each row how many it stands for."""
    number = int(episodes.sum())
    counted = rows.loc[rows.index.repeat(episodes.astype(int))]
    return state(term, number, n_episodes=number, **count_sites(counted))


def _shares(rows: pd.DataFrame, column: str) -> Iterator[dict]:
    """One row for each value of a column, empty cells left out."""
    known = rows[rows[column].notna()]
    for value, members in known.groupby(column, sort=True):
        yield _share(members, known, stratum=f"{column}={value}")


def _share(members: pd.DataFrame, base: pd.DataFrame, *, stratum: str) -> dict:
    fields = {"stratum": stratum, "n_episodes": len(base), "n_events": len(members)}
    fields |= count_sites(members, among=base)
    return state("share", len(members) / len(base), **fields)


def _age_quartiles(people: pd.DataFrame) -> Iterator[dict]:
    fields = {"stratum": "all", "n_episodes": len(people), **count_sites(people)}
    for term, share in (
        ("age_lower_quartile", 0.25),
        ("age_median", 0.5),
        ("age_upper_quartile", 0.75),
    ):
        if len(people):
            yield state(
                term,
                people["age_years"].astype("float").quantile(share),
                method="quantile, years",
                **fields,
            )
        else:
            yield withhold(term, "too_few", "no episodes", method="quantile, years", **fields)
