"""Which variants of positional vertigo the tests allow, by the criteria of the configuration."""

import numpy as np
import pandas as pd

from pipeline.adjudication.ears import are_faint, are_silent, have_test, name_ear, show_nystagmus
from pipeline.adjudication.lateral_side import tell_side
from pipeline.adjudication.patterns import check_signs, find_pattern
from pipeline.adjudication.readings import ON_SYMPTOMS
from schemas.criteria import Criteria, Criterion
from schemas.keys import EPISODE

LOWER = {"definite": "probable", "probable": "emerging"}


def match_variants(examined: pd.DataFrame, pairs: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """Match each test with the criteria that it meets.

    Nystagmus of the kind that healthy people have (ears.are_faint) meets none. Criteria that rest
    on vertigo alone, or on nystagmus of which a part was not seen, are met only in episodes in
    which no test with nystagmus meets any other.

    Parameters
    ----------
    examined
        Examinations joined with their findings.
    pairs
        Their supine roll tests, by rolls.pair_rolls.
    criteria
        Criteria of variants.

    Returns
    -------
    pd.DataFrame
        One row for each test (or pair of tests) and criterion: site, episode_id, day, test_key
        (what was tested), test_id (a number for each test or pair), criterion, canal, side, arm,
        arm_basis, mechanism, certainty, side_by and side_signs.
    """
    pairs = pairs.join(tell_side(pairs))
    examined = examined.assign(test_id=np.arange(len(examined)))
    pairs = pairs.assign(test_id=np.arange(len(examined), len(examined) + len(pairs)))
    telling = examined[~are_faint(examined)]
    met = {
        name: _find_met(pairs if criterion.both_sides else telling, examined, criterion)
        for name, criterion in criteria.criteria.items()
    }
    some = [name for name, rows in met.items() if len(rows)] or list(met)[:1]
    matches = [_describe_matches(met[name], name, criteria.criteria[name]) for name in some]
    return _keep_nystagmus(_keep_refined(pd.concat(matches, ignore_index=True), criteria), criteria)


def find_backed(met: pd.DataFrame, examined: pd.DataFrame, criterion: Criterion) -> np.ndarray:
    """For each test that shows the pattern of a criterion, whether the other tests of its episode,
    on the same ear, are as it asks."""
    ears = name_ear(met, criterion.side)
    backed = np.ones(len(met), bool)
    if criterion.silent_tests:
        backed &= are_silent(met, ears, examined, criterion.silent_tests)
    if criterion.unseen_in:
        backed &= ~have_test(
            met,
            ears,
            examined[examined["test"].isin(criterion.unseen_in) & show_nystagmus(examined)],
        )
    if criterion.unless_silent:
        backed &= ~are_silent(met, ears, examined, criterion.unless_silent)
    if criterion.also_seen is not None:
        backed &= have_test(
            met, ears, examined[find_pattern(examined, criterion.also_seen, unmeasured=False)]
        )
    return backed


def _find_met(
    candidates: pd.DataFrame, examined: pd.DataFrame, criterion: Criterion
) -> pd.DataFrame:
    met = candidates[find_pattern(candidates, criterion, unmeasured=True)]
    return met[find_backed(met, examined, criterion)] if len(met) else met


def _describe_matches(met: pd.DataFrame, name: str, criterion: Criterion) -> pd.DataFrame:
    lower = LOWER.get(criterion.certainty, criterion.certainty)
    texts = {
        "test_key": met["test"] + "/" + met["side"],
        "criterion": name,
        "canal": criterion.canal,
        "side": name_ear(met, criterion.side),
        "arm": criterion.arm,
        "arm_basis": criterion.arm_basis,
        "mechanism": criterion.mechanism,
        "certainty": np.where(are_less_certain(met, criterion), lower, criterion.certainty),
        "side_by": met["side_by"] if criterion.both_sides else "plane",
        "side_signs": met["side_signs"] if criterion.both_sides else "",
    }
    typed = {name: pd.Series(text, index=met.index, dtype="string") for name, text in texts.items()}
    return met[[*EPISODE, "day", "test_id"]].assign(**typed)


def are_less_certain(met: pd.DataFrame, criterion: Criterion) -> pd.Series:
    """For each test that meets the criterion, whether something expected is otherwise, or, for a
    definite one, a bounded duration was not measured or lies in the band around the limit."""
    timing = criterion.duration is not None and criterion.certainty == "definite"
    less = met["duration_class"].isin(["unknown", "borderline"]) & timing
    for expected in criterion.expects:
        less |= ~check_signs(met, expected, unmeasured=True).all(axis=1)
    return less


def _keep_refined(matches: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """The matches without those that a more particular criterion replaces on the same test."""
    dropped = pd.Series(False, index=matches.index)
    for name, criterion in criteria.criteria.items():
        if criterion.refines:
            finer = matches.loc[matches["criterion"].eq(name), "test_id"]
            dropped |= matches["criterion"].eq(criterion.refines) & matches["test_id"].isin(finer)
    return matches[~dropped].reset_index(drop=True)


def _keep_nystagmus(matches: pd.DataFrame, criteria: Criteria) -> pd.DataFrame:
    """The matches without those that rest on vertigo alone, or on nystagmus of which a part was
    not seen, where nystagmus of the same episode meets another criterion.

    Vertigo without nystagmus is the weaker form of a positive test (Balatsouras DG, Korres SG.
    Otolaryngol Head Neck Surg 2012;146:98-103), and what a tired test shows: it never speaks
    against nystagmus that another examination showed.
    """
    weak = [
        name for name, criterion in criteria.criteria.items() if criterion.certainty in ON_SYMPTOMS
    ]
    weaker = matches["criterion"].isin(weak)
    seen = pd.MultiIndex.from_frame(matches.loc[~weaker, EPISODE])
    return matches[~(weaker & pd.MultiIndex.from_frame(matches[EPISODE]).isin(seen))].reset_index(
        drop=True
    )
