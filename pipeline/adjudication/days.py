"""What the tests of single days say by themselves, and until which day rows of an episode count."""

import pandas as pd

from pipeline.adjudication.readings import read_variants
from pipeline.adjudication.rolls import pair_rolls
from pipeline.adjudication.variants import match_variants
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Examinations
from schemas.derived import Adjudications, Findings
from schemas.keys import EPISODE


def read_each_day(
    examinations: Frame[Examinations], findings: Frame[Findings], criteria: Criteria
) -> pd.DataFrame:
    """Read the tests of each day by themselves.

    Each day is read as if it were an episode of its own, so that a test means here what it means in
    the verdict. A day that meets no criterion has no row.

    Parameters
    ----------
    examinations, findings
        Tests and what they show, row by row.
    criteria
        Criteria of variants.

    Returns
    -------
    pd.DataFrame
        site, episode_id, day, variants, canal and side, as in a verdict.
    """
    examined = examinations.assign(**findings[findings.columns.difference(examinations.columns)])
    examined["real_id"] = examined["episode_id"]
    examined["episode_id"] = examined["episode_id"] + "@" + examined["day"].astype("string")
    days = examined[[*EPISODE, "real_id", "day"]].drop_duplicates()
    readings = read_variants(match_variants(examined, pair_rolls(examined), criteria))[
        ["variants", "canal", "side"]
    ]
    named = days.merge(readings.reset_index(), on=EPISODE)
    return named.drop(columns="episode_id").rename(columns={"real_id": "episode_id"})


def keep_until_reclassified(
    rows: pd.DataFrame, adjudications: Frame[Adjudications]
) -> pd.DataFrame:
    """The rows (with a day) that come before the day on which their episode was reclassified,
    if it was."""
    until = rows[EPISODE].merge(
        adjudications[[*EPISODE, "reclassified_day"]],
        on=EPISODE,
        how="left",
        validate="many_to_one",
    )
    return rows[
        (until["reclassified_day"].isna() | (rows["day"].array < until["reclassified_day"]))
        .fillna(True)
        .to_numpy(bool)
    ]
