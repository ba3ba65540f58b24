"""What speaks for another cause: flags with their weights, and other causes by their published
criteria."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from pipeline.adjudication.ears import OTHER_EAR, are_silent, name_ear
from pipeline.adjudication.patterns import find_pattern
from schemas.columns import Frame
from schemas.criteria import Criteria, Flag, OtherCause, ResolvedHistory
from schemas.delivery import LONG_ATTACK_S, SIDED_TESTS, Episodes
from schemas.keys import EPISODE


def raise_flags(
    episodes: Frame[Episodes], before: pd.DataFrame, pairs: pd.DataFrame, criteria: Criteria
) -> pd.DataFrame:
    """List the flags that speak for another cause.

    Tests after a maneuver raise none: down-beating nystagmus is common and transient after a
    successful one (22 of 57, Oh EH et al. J Clin Neurol 2019;15:143-148). Flags that rest on
    nystagmus can ask for velocities above those of healthy people, since slow positional nystagmus
    is common in these (70 % of 101, J Vestib Res 2021).

    Parameters
    ----------
    episodes
        The episodes.
    before
        Their tests before treatment, joined with their findings.
    pairs
        Supine roll tests among these, by rolls.pair_rolls.
    criteria
        Flags and their weights.

    Returns
    -------
    pd.DataFrame
        One row for each episode and flag that is raised: site, episode_id, flag, weight.
    """
    raised = [
        _find_episodes(episodes, before, pairs, flag)[EPISODE]
        .drop_duplicates()
        .assign(flag=name, weight=flag.weight)
        for name, flag in criteria.flags.items()
    ]
    return pd.concat(raised, ignore_index=True).astype({"flag": "string", "weight": "string"})


def find_other_causes(
    episodes: Frame[Episodes], before: pd.DataFrame, pairs: pd.DataFrame, criteria: Criteria
) -> pd.DataFrame:
    """One row for each episode and other cause whose criteria are met as far as the fields allow:
    site, episode_id, cause."""
    episodes_by_cause = [
        _find_cause(episodes, before, pairs, cause)[EPISODE].assign(cause=name)
        for name, cause in criteria.other_causes.items()
    ]
    return pd.concat(episodes_by_cause, ignore_index=True).astype({"cause": "string"})


def _find_episodes(
    episodes: pd.DataFrame, before: pd.DataFrame, pairs: pd.DataFrame, flag: Flag
) -> pd.DataFrame:
    if flag.pattern is None:
        return episodes[episodes[flag.field].eq(flag.value).fillna(False)]
    candidates = pairs if flag.pattern.both_sides else before
    shown = candidates[find_pattern(candidates, flag.pattern, unmeasured=False)]
    if flag.silent_tests:
        shown = shown[are_silent(shown, name_ear(shown, "unknown"), before, flag.silent_tests)]
    shown = shown.drop_duplicates([*EPISODE, "test", "side"])
    return shown[shown.groupby(EPISODE)["test"].transform("size").ge(flag.positions_least)]


def _find_cause(
    episodes: pd.DataFrame, before: pd.DataFrame, pairs: pd.DataFrame, cause: OtherCause
) -> pd.DataFrame:
    holds = _answer(episodes, cause.answers, cause.unless)
    members = pd.MultiIndex.from_frame(episodes[EPISODE])
    for pattern in filter(None, (cause.pattern, cause.also_seen)):
        candidates = pairs if pattern.both_sides else before
        shown = find_pattern(candidates, pattern, unmeasured=cause.undecided)
        holds &= members.isin(pd.MultiIndex.from_frame(candidates.loc[shown, EPISODE]))
    if cause.nothing_in:
        holds &= _found_nothing(members, before, cause.nothing_in)
    return episodes[holds]


def have_resolved_history(
    episodes: Frame[Episodes], before: pd.DataFrame, history: ResolvedHistory
) -> pd.Series:
    """Whether each episode has the history of positional vertigo, and tests before treatment that
    were all done and all silent: the probable form of the criteria, which has resolved by itself.

    What was not asked is not such a history.

    Parameters
    ----------
    episodes
        The episodes.
    before
        Their tests before treatment, joined with their findings.
    history
        What is asked for.

    Returns
    -------
    pd.Series
        bool by the index of `episodes`.
    """
    brief = (episodes["attack_s"] < history.attack_below_s).fillna(False).astype(bool)
    told = _answer(episodes, history.answers, history.unless) & brief
    members = pd.MultiIndex.from_frame(episodes[EPISODE])
    return told & _found_nothing(members, before, history.nothing_in)


def complete_answers(episodes: Frame[Episodes]) -> pd.DataFrame:
    """The episodes with attacks_over_2min as their length tells, where it was left empty."""
    told = (episodes["attack_s"] > LONG_ATTACK_S).map({True: "yes", False: "no"}).astype("string")
    return episodes.assign(attacks_over_2min=episodes["attacks_over_2min"].fillna(told))


def _answer(
    episodes: pd.DataFrame, answers: Mapping[str, str], unless: Mapping[str, str]
) -> pd.Series:
    """Whether all of some answers were given, and none of others."""
    holds = pd.Series(True, index=episodes.index)
    for field, answer in answers.items():
        holds &= episodes[field].eq(answer).fillna(False).astype(bool)
    for field, answer in unless.items():
        holds &= ~episodes[field].eq(answer).fillna(False).astype(bool)
    return holds


def _found_nothing(
    members: pd.MultiIndex, before: pd.DataFrame, groups: tuple[tuple[str, ...], ...]
) -> np.ndarray:
    """Whether a test of each group was done, on both ears if it has a side, and no test at all
    showed nystagmus or vertigo."""
    positive = before["positive"].astype(bool)
    holds = ~members.isin(pd.MultiIndex.from_frame(before.loc[positive, EPISODE]))
    for tests in groups:
        done = before[before["test"].isin(tests)]
        ears = done.groupby(EPISODE)["side"].agg(set)
        whole = ears.map(lambda sides: not set(OTHER_EAR) - sides).astype(bool)
        if not set(tests) & set(SIDED_TESTS):
            whole[:] = True
        holds &= members.isin(whole.index[whole])
    return holds
