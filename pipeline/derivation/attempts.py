"""Attempts: what was given in each treatment session, and what the next deciding test showed."""

import numpy as np
import pandas as pd

from pipeline.adjudication.findings import find_incomplete
from pipeline.adjudication.maneuvers import judge_fit
from pipeline.adjudication.rolls import VERTIGO_GRADE
from pipeline.derivation.states import DAY_KEY, TEST_KEY
from schemas.columns import Frame
from schemas.delivery import Episodes, Treatments
from schemas.derived import Adjudications, Attempts, Spells
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver


def list_attempts(
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    tests: pd.DataFrame,
    states: pd.DataFrame,
    spells: Frame[Spells],
    adjudications: Frame[Adjudications],
    maneuvers: dict[str, Maneuver],
) -> Frame[Attempts]:
    """List treatment sessions with what the next deciding test showed.

    The deciding test is the first one after the session's day and not after the day of the next
    session: whoever is treated again without a test in between tells nothing about the earlier
    session. How strong the response still was is told by the tests of that day that came before the
    next session. Of an episode with a set-aside test or treatment no test decides, since the next
    one may be missing.

    Parameters
    ----------
    episodes, treatments, adjudications
        Tables of the warehouse.
    tests
        Tests that decide on resolution, by `select_deciding_tests`.
    states
        What these make of each day, by `find_states`.
    spells
        The spells of the objective endpoint.
    maneuvers
        What each code of a maneuver is.

    Returns
    -------
    Frame[Attempts]
        One row for each episode and day with a treatment.
    """
    sessions = _gather_sessions(
        treatments.assign(fit=judge_fit(treatments, adjudications, maneuvers)["fit"])
    )
    sessions["family"] = [
        " ".join(dict.fromkeys(maneuvers[code].family for code in codes.split()))
        for codes in sessions["maneuver"]
    ]
    by_episode = sessions.groupby(EPISODE)
    sessions["session"] = by_episode.cumcount() + 1
    sessions["previous_maneuver"] = by_episode["maneuver"].shift()
    sessions["spell"] = _find_spell(sessions, spells)
    next_day = by_episode["day"].shift(-1)
    ahead = _find_state(sessions, states, "forward", exact=False)
    behind = _find_state(sessions, states, "backward", exact=True)
    decided = ahead["state_day"].notna() & (
        next_day.isna() | (ahead["state_day"] <= next_day)
    ).fillna(False)
    decided &= ~pd.MultiIndex.from_frame(sessions[EPISODE]).isin(find_incomplete(spells))
    sessions["next_test_days"] = (ahead["state_day"] - sessions["day"]).where(decided)
    sessions["outcome"] = ahead["state"].where(decided, "not_tested_again")
    sessions["at_risk"] = behind["state"].ne("negative").fillna(True)
    sessions["same_visit"] = _read_same_visit(sessions, tests)
    sessions = sessions.join(_read_strength(sessions, tests))
    sessions = sessions.merge(
        episodes[[*EPISODE, "patient_id"]], on=EPISODE, validate="many_to_one"
    )
    return Attempts.cast(sessions)


def _read_strength(sessions: pd.DataFrame, tests: pd.DataFrame) -> pd.DataFrame:
    """How strong the response was at the tests that decided on each session, as far as they came
    before the next one: the worst vertigo, and the longest and the fastest nystagmus, on the index
    of the sessions.

    Of a test that was done again on the day the first counts, so that one after a maneuver does not
    where `after_attempt` is empty.
    """
    by_episode = sessions.groupby(EPISODE)
    asked = sessions[EPISODE].assign(
        order=sessions.index,
        day=sessions["day"] + sessions["next_test_days"].astype("Int64"),
        next_day=by_episode["day"].shift(-1),
        next_attempt=by_episode["attempt"].shift(-1),
    )
    seen = asked.dropna(subset="day").merge(tests, on=DAY_KEY)
    after = seen["day"].eq(seen["next_day"]) & (seen["after_attempt"] >= seen["next_attempt"])
    seen = seen[~after.fillna(False).astype(bool)].sort_values("examination", kind="stable")
    seen = seen.drop_duplicates([*TEST_KEY, "order"])
    worst = pd.DataFrame(
        {
            "order": seen["order"],
            "next_vertigo": seen["vertigo"].map(VERTIGO_GRADE).astype("Int64"),
            "next_duration_s": seen["duration_s"].where(seen["nystagmus"]),
            "next_peak_spv": seen["peak_spv"].where(seen["nystagmus"]),
            "nystagmus": seen["nystagmus"],
        }
    )
    found = worst.groupby("order").max()
    nystagmus = found.pop("nystagmus").astype(bool)
    measured = ["next_duration_s", "next_peak_spv"]
    found[measured] = found[measured].where(nystagmus, 0.0)
    found = found.reindex(sessions.index)
    return found.assign(
        next_vertigo=found["next_vertigo"].map(
            {grade: name for name, grade in VERTIGO_GRADE.items()}
        )
    )


def _gather_sessions(treatments: pd.DataFrame) -> pd.DataFrame:
    """One row for each treatment day; `treatments` have the column fit."""
    given = treatments.sort_values([*EPISODE, "attempt"], ignore_index=True)
    fits = {
        f"fit_{answer}": given["fit"].eq(answer).astype(bool) for answer in ("yes", "unknown", "no")
    }
    given = given.assign(stopped=given["completed"].eq("no").astype(bool), **fits)
    by_day = given.groupby(DAY_KEY, sort=True)
    sessions = by_day[["attempt"]].min().assign(attempts=by_day.size())
    for column, mixed in (("side", "both"), ("setting", "several"), ("performed_by", "several")):
        same = by_day[column].nunique().eq(1)
        sessions[column] = by_day[column].first().where(same, mixed)
    sessions["maneuver"] = _join_in_order(given)
    any_attempt = by_day[["stopped", *fits]].any()
    sessions["completed"] = np.where(any_attempt["stopped"], "no", "yes")
    answers = [any_attempt[name].to_numpy(bool) for name in fits]
    sessions["fit"] = np.select(answers, ["yes", "unknown", "no"], "not_applicable")
    return sessions.reset_index()


def _join_in_order(given: pd.DataFrame) -> pd.Series:
    """Distinct codes of the maneuvers of each day, in the order in which they were given,
    separated by blanks."""
    distinct = given.drop_duplicates([*DAY_KEY, "maneuver"])
    several = distinct.duplicated(DAY_KEY, keep=False)
    joined = distinct[several].groupby(DAY_KEY)["maneuver"].agg(" ".join)
    return pd.concat([distinct[~several].set_index(DAY_KEY)["maneuver"], joined])


def _find_state(
    sessions: pd.DataFrame, states: pd.DataFrame, direction: str, *, exact: bool
) -> pd.DataFrame:
    """The nearest state of the same episode before or after each session,
    in the order of the sessions."""
    ordered = (
        sessions[DAY_KEY].assign(order=np.arange(len(sessions))).sort_values("day", kind="stable")
    )
    known = states.assign(state_day=states["day"]).sort_values("day", kind="stable")
    matched = pd.merge_asof(
        ordered, known, on="day", by=EPISODE, direction=direction, allow_exact_matches=exact
    )
    return matched.sort_values("order").set_index(sessions.index)


def _find_spell(sessions: pd.DataFrame, spells: pd.DataFrame) -> np.ndarray:
    """The number of the last spell that began by the day of each session."""
    ordered = (
        sessions[DAY_KEY].assign(order=np.arange(len(sessions))).sort_values("day", kind="stable")
    )
    later = spells.loc[spells["spell"].gt(1), [*EPISODE, "spell", "start_day"]]
    begun = later.rename(columns={"start_day": "day"}).sort_values("day", kind="stable")
    matched = pd.merge_asof(ordered, begun, on="day", by=EPISODE)
    return matched.sort_values("order")["spell"].fillna(1).to_numpy()


def _read_same_visit(sessions: pd.DataFrame, tests: pd.DataFrame) -> pd.Series:
    """What the tests after the last attempt of the same day show: no confirmation,
    kept as a secondary outcome."""
    after = tests[tests["after_attempt"].ge(1).fillna(False)]
    last = after["after_attempt"].eq(after.groupby(DAY_KEY)["after_attempt"].transform("max"))
    shown = (
        after[last]
        .groupby(DAY_KEY)["positive"]
        .any()
        .map({True: "positive", False: "negative"})
        .rename("same_visit")
    )
    return sessions.join(shown, on=DAY_KEY)["same_visit"].fillna("not_tested_again")
