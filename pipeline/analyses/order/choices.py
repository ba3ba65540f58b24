"""Who stands at the choice after a failed first session, what was chosen,
and what was known at that moment.

Nothing after the second session enters, but for the interval of resolution: that is the outcome.
"""

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd

from pipeline.adjudication.failure import list_first_sessions
from pipeline.adjudication.maneuvers import MOVES_NOTHING
from pipeline.analyses.attempts.rows import name_place
from pipeline.analyses.covariates import NOT_RECORDED, band, describe_covariates
from schemas import codes
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts, Spells
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver
from schemas.study import Config

CIRCULAR = "treatment_response"
WHERE = ["setting", "performed_by"]
# bands of this project's proposal, but for the minute: von Brevern M et al. J Vestib Res
# 2015;25:105-117
WAIT_EDGES, WAIT = [0, 3, 7, 14, np.inf], ["1-3 days", "4-7 days", "8-14 days", "over 14 days"]
DURATION_EDGES, DURATION = (
    [-1, 0, 10, 20, 60, np.inf],
    ["no nystagmus", "up to 10 s", "11-20 s", "21-60 s", "over 60 s"],
)
VELOCITY_EDGES, VELOCITY = (
    [-1, 0, 20, 40, np.inf],
    ["no nystagmus", "up to 20 deg/s", "21-40 deg/s", "over 40 deg/s"],
)


def list_choices(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    endpoint: str,
    config: Config,
) -> pd.DataFrame:
    """List the positional episodes whose first session failed, and what was chosen then.

    A maneuver was given, and a positive deciding test followed before a second session
    (pipeline.adjudication.failure.list_first_sessions; the reasons of failure are asked of the same
    sessions). A short arm named by the response to a maneuver was not known at the choice: in the
    covariates it is unknown, and so is whether the first session suited it. Attempts know the
    objective endpoint; by another one, a spell that only later tests show to have ended before the
    second session counts as over.

    Parameters
    ----------
    episodes, adjudications, attempts, spells
        Tables of the warehouse.
    endpoint
        The endpoint whose resolution of the first spell is the outcome.
    config
        What each code of a maneuver is, and who did it alone.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id, patient_id, canal, arm, arm_basis, certainty,
        mechanism; the covariates of describe_covariates; place (name_place of
        pipeline/analyses/attempts/rows.py) and same_visit of the first session; failure_vertigo,
        failure_duration and failure_velocity (how strong the response still was at the failed
        examination: the worst vertigo, bands of the longest and of the fastest nystagmus; `not
        recorded` is a class), and the same as numbers (describe_failure); wait (band of days to the
        second); choice (a code of schemas.codes.CHOICE); families and to_families (of the first and
        second session, sorted, separated by blanks); left_days, right_days and treated_days.

    Notes
    -----
    Resolution lies in (left_days, right_days], in whole days from that of the second session. Of a
    choice that is not compared the two tell nothing: (0, inf]. treated_days is the day of the first
    session inside that interval that moved something, counted alike, the second session being one;
    missing where there is none or nobody saw the resolution.
    """
    maneuvers = config.maneuvers
    first = list_first_sessions(attempts, adjudications, maneuvers)
    strength = ["next_vertigo", "next_duration_s", "next_peak_spv"]
    session_columns = ["family", "side", "day", *WHERE, "same_visit", *strength]
    failed = first.loc[first["outcome"].eq("positive"), [*EPISODE, *session_columns]]
    positional = adjudications.loc[
        adjudications["positional"].eq("yes"),
        [*EPISODE, "canal", "arm", "arm_basis", "certainty", "known_day", "reclassified_day"],
    ]
    second = attempts.loc[attempts["session"].eq(2), [*EPISODE, "family", "side", "day", "at_risk"]]
    first_spells = spells.loc[spells["endpoint"].eq(endpoint) & spells["spell"].eq(1)]
    rows = (
        failed.merge(positional, on=EPISODE, validate="one_to_one")
        .merge(second, on=EPISODE, how="left", suffixes=("", "_second"), validate="one_to_one")
        .merge(
            first_spells[[*EPISODE, "left_days", "right_days"]],
            on=EPISODE,
            how="left",
            validate="one_to_one",
        )
        .merge(
            describe_covariates(episodes, adjudications, attempts),
            on=EPISODE,
            validate="one_to_one",
        )
        .sort_values(EPISODE, ignore_index=True)
    )
    rows["families"], rows["to_families"] = (
        _sort_families(rows[name]) for name in ("family", "family_second")
    )
    rows["choice"] = _name_choices(rows, maneuvers)
    rows["wait"] = band(rows["day_second"] - rows["day"], WAIT_EDGES, WAIT)
    rows["place"] = name_place(rows, config.failure.alone)
    rows = rows.assign(**describe_failure(rows))
    circular = rows["arm_basis"].eq(CIRCULAR).fillna(False).astype(bool)
    rows["canal_arm"] = rows["canal_arm"].mask(circular, rows["canal"] + " unknown")
    rows["first_fit"] = rows["first_fit"].mask(circular, "unknown")
    rows = _count_from_choice(rows).drop(
        columns=["family", "family_second", "side", "side_second", "at_risk", *strength, *WHERE]
    )
    return rows.assign(treated_days=_find_treated(rows, attempts, maneuvers))


def describe_failure(sessions: pd.DataFrame) -> dict[str, pd.Series]:
    """How strong the response still was at the examination after each session, in classes and as
    numbers: small classes are counted together, and lose it; numbers keep it whatever the size.

    Parameters
    ----------
    sessions
        With next_vertigo, next_duration_s and next_peak_spv of the attempts.

    Returns
    -------
    dict
        failure_vertigo, failure_duration and failure_velocity; failure_grade (from 0, none, to 3,
        severe), failure_log_duration and failure_log_velocity (log of 1 and seconds, or degrees a
        second), which are the mean of the others where nothing was recorded; on the same index.
    """
    grade = sessions["next_vertigo"].map({name: k for k, name in enumerate(codes.VERTIGO)})
    numbers = {
        "failure_grade": grade.astype(float),
        "failure_log_duration": np.log1p(sessions["next_duration_s"].astype(float)),
        "failure_log_velocity": np.log1p(sessions["next_peak_spv"].astype(float)),
    }
    return {
        **{name: known.fillna(known.mean()).fillna(0.0) for name, known in numbers.items()},
        "failure_vertigo": sessions["next_vertigo"].fillna(NOT_RECORDED),
        "failure_duration": band(sessions["next_duration_s"], DURATION_EDGES, DURATION),
        "failure_velocity": band(sessions["next_peak_spv"], VELOCITY_EDGES, VELOCITY),
    }


def list_chosen_families(rows: pd.DataFrame) -> list[str]:
    """The families to which someone changed in a session of one family, sorted."""
    chosen = rows.loc[rows["choice"].eq("change"), "to_families"]
    return sorted(chosen[~chosen.str.contains(" ")].unique())


def _list_still(maneuvers: Mapping[str, Maneuver]) -> set[str]:
    return {each.family for each in maneuvers.values() if each.kind in MOVES_NOTHING}


def _name_choices(rows: pd.DataFrame, maneuvers: Mapping[str, Maneuver]) -> np.ndarray:
    """A code of schemas.codes.CHOICE for each row; of several that hold,
    the first of those below."""
    still = _list_still(maneuvers)
    unlisted = {each.family for each in maneuvers.values() if each.kind == "unlisted"}
    columns = ["families", "to_families", "side", "side_second"]
    questions = rows[columns].fillna("").drop_duplicates()
    name = partial(_name_choice, still=still, unlisted=unlisted)
    answers = [name(*question) for question in questions.to_numpy(str)]
    chosen = (
        rows[columns]
        .fillna("")
        .merge(questions.assign(choice=answers), on=columns, how="left")["choice"]
    )
    day = rows["day_second"]
    before = (
        ~rows["at_risk"].fillna(True)
        | (rows["right_days"] <= day)
        | (rows["reclassified_day"] <= day)
    )
    cases = {
        "no_second_session": day.isna(),
        "over_before": before,
        "verdict_later": rows["known_day"] > day,
    }
    return np.select(
        [case.fillna(False).astype(bool) for case in cases.values()], list(cases), chosen
    )


def _name_choice(
    first: str, second: str, side: str, to_side: str, still: set[str], unlisted: set[str]
) -> str:
    before, after = (set(families.split()) - still for families in (first, second))
    if not before or not after:
        return "no_maneuver"
    if (before | after) & unlisted:
        return "unlisted"
    if before == after:
        return "repeat" if side == to_side else "other_side"
    return "mixed" if before & after else "change"


def _sort_families(families: pd.Series) -> pd.Series:
    return families.map(lambda names: " ".join(sorted(names.split())), na_action="ignore").astype(
        "string"
    )


def _count_from_choice(rows: pd.DataFrame) -> pd.DataFrame:
    """Resolution counted from the day of the second session;
    the failed test has already shown that it was not before."""
    compared = rows["choice"].isin(["repeat", "change"])
    day = rows["day_second"].astype("float")
    left, right = rows["left_days"].astype("float") - day, rows["right_days"].astype("float") - day
    known = compared & right.notna()
    return rows.assign(
        left_days=left.clip(lower=0).where(known, 0.0), right_days=right.where(known, np.inf)
    )


def _find_treated(
    rows: pd.DataFrame, attempts: pd.DataFrame, maneuvers: Mapping[str, Maneuver]
) -> np.ndarray:
    """The day of the first session in [left_days, right_days) that moved something, counted from
    the second session."""
    still = _list_still(maneuvers)
    treats = (
        attempts["family"]
        .fillna("")
        .map(lambda names: bool(set(names.split()) - still))
        .astype(bool)
    )
    sessions = attempts.loc[attempts["session"].ge(2) & treats, [*EPISODE, "day"]]
    at = ["day_second", "left_days", "right_days"]
    inside = rows[[*EPISODE, *at]].merge(sessions, on=EPISODE)
    day = (inside["day"] - inside["day_second"]).astype("float")
    chosen = (
        (day >= inside["left_days"])
        & (day < inside["right_days"])
        & np.isfinite(inside["right_days"])
    )
    first = inside[chosen].assign(treated_days=day[chosen]).groupby(EPISODE)["treated_days"].min()
    return (
        rows[EPISODE]
        .merge(first, left_on=EPISODE, right_index=True, how="left")["treated_days"]
        .to_numpy(float)
    )
