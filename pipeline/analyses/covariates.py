"""What models adjust for: covariates in a few classes each,
so that equal episodes can be counted together.

Every class is known at the first attempt. What was not recorded is a class of its own. Bands of
days since onset, of earlier episodes and of age are this project's proposal.
"""

import numpy as np
import pandas as pd

from schemas.codes import SHORT_ARMS
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE

# terms that enter as numbers, with the value that counts as zero
NUMERIC = {
    "age_decade": 6.0,
    "failure_grade": 0.0,
    "failure_log_duration": 0.0,
    "failure_log_velocity": 0.0,
}
ONSET_EDGES, ONSET = (
    [-1, 7, 30, 90, np.inf],
    ["0-7 days", "8-30 days", "31-90 days", "over 90 days"],
)
PRIOR_EDGES, PRIOR = [-1, 0, 1, np.inf], ["none", "one", "two or more"]
NOT_RECORDED = "not recorded"


def name_first_maneuvers(attempts: Frame[Attempts]) -> pd.DataFrame:
    """Name the family of the very first maneuver of each treated episode.

    Whatever followed on the same day does not count.

    Parameters
    ----------
    attempts
        Sessions and what came of them.

    Returns
    -------
    pd.DataFrame
        One row for each treated episode: site, episode_id, first_maneuver.
    """
    first = attempts[attempts["session"].eq(1)]
    return first[EPISODE].assign(first_maneuver=first["family"].str.split().str[0])


def describe_covariates(
    episodes: Frame[Episodes], adjudications: Frame[Adjudications], attempts: Frame[Attempts]
) -> pd.DataFrame:
    """Describe each episode by the covariates of schemas.study.Variable that do not change.

    Parameters
    ----------
    episodes, adjudications, attempts
        The derived tables.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id, patient_id, age_decade (whole decades), sex,
        onset (band of days from onset to day 0), prior (band of earlier episodes), cause, canal_arm
        (a short arm with its working definition), mechanism, first_family (of the very first
        maneuver) and first_fit (of the first session), both empty if untreated.
    """
    first = name_first_maneuvers(attempts).assign(
        first_fit=attempts.loc[attempts["session"].eq(1), "fit"]
    )
    read = adjudications[[*EPISODE, "canal", "arm", "arm_basis", "mechanism"]]
    people = episodes[
        [*EPISODE, "patient_id", "age_years", "sex", "onset_day", "prior_episodes", "cause"]
    ]
    recorded = people.merge(read, on=EPISODE, validate="one_to_one").merge(
        first, on=EPISODE, how="left", validate="one_to_one"
    )
    basis = (
        (" by " + recorded["arm_basis"].astype("string"))
        .where(recorded["arm"].isin(SHORT_ARMS), "")
        .fillna("")
    )
    return pd.DataFrame(
        {
            **{key: recorded[key] for key in (*EPISODE, "patient_id")},
            "age_decade": (recorded["age_years"] // 10).astype("Int64"),
            "sex": recorded["sex"],
            "onset": band(-recorded["onset_day"], ONSET_EDGES, ONSET),
            "prior": band(recorded["prior_episodes"], PRIOR_EDGES, PRIOR),
            "cause": recorded["cause"],
            "canal_arm": recorded["canal"] + " " + recorded["arm"] + basis,
            "mechanism": recorded["mechanism"],
            "first_family": recorded["first_maneuver"],
            "first_fit": recorded["first_fit"],
        }
    )


def band(numbers: pd.Series, edges: list[float], names: list[str]) -> pd.Series:
    """Name the band of each number: those between two edges, the upper one among them."""
    return (
        pd.cut(numbers.astype("float"), edges, labels=names).astype("string").fillna(NOT_RECORDED)
    )
