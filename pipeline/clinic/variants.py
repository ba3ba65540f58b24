"""Which variants of positional vertigo the looks allow, by the criteria of the configuration."""

import numpy as np
import pandas as pd

from pipeline.clinic.findings import EPISODE
from pipeline.clinic.patterns import are_silent, check_signs, find_pattern
from pipeline.clinic.rolls import OTHER_EAR, UNKNOWN_SIDE, pair_rolls, tell_side
from schemas.criteria import Criteria, Criterion

LOOK = [*EPISODE, "day", "look_key"]


def match_variants(looks: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """One row for each look (or pair of looks) and criterion that it meets.

    `looks` are examinations joined with their findings. The result has site, episode_id, day, look_key (what was looked at),
    criterion, canal, side, arm, arm_basis, mechanism, certainty, side_by and side_signs.
    """
    pairs = pair_rolls(looks, criteria.duration)
    pairs = pairs.join(tell_side(pairs))
    matches = [_match_criterion(looks, pairs, name, criterion) for name, criterion in criteria.criteria.items()]
    return _keep_refined(pd.concat(matches, ignore_index=True), criteria)


def _match_criterion(looks: pd.DataFrame, pairs: pd.DataFrame, name: str, criterion: Criterion) -> pd.DataFrame:
    candidates = pairs if criterion.both_sides else looks
    fits = find_pattern(candidates, criterion, unmeasured=True)
    if criterion.silent_tests:
        fits &= are_silent(looks, criterion.silent_tests, candidates)
    if criterion.also_seen is not None:
        seen = looks.loc[find_pattern(looks, criterion.also_seen, unmeasured=False), EPISODE]
        fits &= pd.MultiIndex.from_frame(candidates[EPISODE]).isin(pd.MultiIndex.from_frame(seen))
    met = candidates[fits]
    only_probable = (criterion.certainty == "definite") & are_less_certain(met, criterion)
    texts = {
        "look_key": met["test"] + "/" + met["side"],
        "criterion": name,
        "canal": criterion.canal,
        "side": _name_ear(met, criterion.side),
        "arm": criterion.arm,
        "arm_basis": criterion.arm_basis,
        "mechanism": criterion.mechanism,
        "certainty": np.where(only_probable, "probable", criterion.certainty),
        "side_by": met["side_by"] if criterion.both_sides else "plane",
        "side_signs": met["side_signs"] if criterion.both_sides else "",
    }
    typed = {name: pd.Series(text, index=met.index, dtype="string") for name, text in texts.items()}
    return met[[*EPISODE, "day"]].assign(**typed)


def are_less_certain(met: pd.DataFrame, criterion: Criterion) -> pd.Series:
    """For each look that meets the criterion, whether a bounded duration was not measured, or something expected is otherwise."""
    less = met["duration_class"].eq("unknown") & (criterion.duration is not None)
    for expected in criterion.expects:
        less |= ~check_signs(met, expected, unmeasured=True).all(axis=1)
    return less


def _keep_refined(matches: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """The matches without those that a more particular criterion replaces on the same look."""
    dropped = pd.Series(False, index=matches.index)
    for name, criterion in criteria.criteria.items():
        if criterion.refines:
            met = pd.MultiIndex.from_frame(matches.loc[matches["criterion"].eq(name), LOOK])
            dropped |= matches["criterion"].eq(criterion.refines) & pd.MultiIndex.from_frame(matches[LOOK]).isin(met)
    return matches[~dropped].reset_index(drop=True)


def _name_ear(met: pd.DataFrame, which: str) -> pd.Series:
    """The ear that a criterion points to, as right, left or unknown."""
    if which == "unknown":
        return pd.Series(UNKNOWN_SIDE, index=met.index, dtype="string")
    column = {"lower_ear": "side", "torsion_ear": "torsion", "opposite_of_torsion_ear": "torsion"}.get(which, "ear")
    ear = met[column].map(OTHER_EAR) if which == "opposite_of_torsion_ear" else met[column]
    return ear.where(ear.isin(list(OTHER_EAR)), UNKNOWN_SIDE).astype("string")
