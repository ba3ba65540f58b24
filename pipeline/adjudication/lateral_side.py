"""The affected ear of a lateral canal: by intensity, else by tie-breaking signs."""

import numpy as np
import pandas as pd

from pipeline.adjudication.ears import OTHER_EAR, UNKNOWN_SIDE
from pipeline.adjudication.findings import join_texts
from pipeline.adjudication.rolls import DIRECTIONS, SIGNS
from schemas.keys import EPISODE

# Lateral-canal table of the AAO guideline (Bhattacharyya N et al. Otolaryngol Head Neck Surg
# 2017;156(3 Suppl):S1-S47): with geotropic nystagmus, does the sign beat toward the affected ear?
# With apogeotropic nystagmus it is
# the other way round.
BEATS_TOWARD_AFFECTED = dict(zip(SIGNS, (False, True, False), strict=True))
PATTERN = [*EPISODE, "horizontal"]
# ranks of the evidence: direction or velocity 0, or 1 across days; vertigo 2 and 3; signs 4 and 5
BY_SIGNS, NOTHING = 4, 9


def tell_side(pairs: pd.DataFrame) -> pd.DataFrame:
    """Find the affected ear of each pair of supine roll tests.

    Intensity decides, measured velocity before vertigo; on a tie, or where both sides are about as
    fast, the signs do, if they agree. Nystagmus that beats to the same ear on both sides is of the
    other ear: it beats away from the ground with the affected ear down (five cases, Califano L et
    al. Acta Otorhinolaryngol Ital 2013;33:254-260). All
    pairs of an episode that show the same direction have the same ear: that of the best kind of
    evidence that any of them has, and of one visit before that of several, since responses vary
    from day to day (this project's proposal); unknown where pairs with the same kind of evidence
    disagree.

    Parameters
    ----------
    pairs
        Pairs by rolls.pair_rolls.

    Returns
    -------
    pd.DataFrame
        By the index of `pairs`: `ear`, `side_by` and `side_signs` (what each sign says, also where
        it is not needed).
    """
    ears_by_sign = _read_ears(pairs)
    signs = ears_by_sign[list(SIGNS)]
    rights, lefts = (
        signs.eq("right").fillna(False).sum(axis=1),
        signs.eq("left").fillna(False).sum(axis=1),
    )
    by_signs = np.select(
        [(rights > 0) & (lefts == 0), (lefts > 0) & (rights == 0)], ["right", "left"], UNKNOWN_SIDE
    )
    across = pairs["across"].astype(int)
    by_intensity = np.where(
        ears_by_sign["intensity"].notna(), 2 * pairs["stronger_by"].eq("vertigo") + across, NOTHING
    )
    by_direction = pairs["beats_to"].map(OTHER_EAR)
    ranked = [
        pairs[PATTERN].assign(
            ear=by_direction, rank=np.where(by_direction.notna(), across, NOTHING)
        ),
        pairs[PATTERN].assign(ear=ears_by_sign["intensity"], rank=by_intensity),
        pairs[PATTERN].assign(
            ear=by_signs, rank=np.where(by_signs != UNKNOWN_SIDE, BY_SIGNS + across, NOTHING)
        ),
    ]
    ears = pd.concat(ranked)
    ears = ears[
        ears["rank"].lt(NOTHING) & ears["rank"].eq(ears.groupby(PATTERN)["rank"].transform("min"))
    ]
    best = ears.groupby(PATTERN).agg(
        ear=("ear", "first"), ears=("ear", "nunique"), rank=("rank", "first")
    )
    best_by_pair = pairs[PATTERN].join(best, on=PATTERN).fillna({"rank": NOTHING})
    ear = best_by_pair["ear"].where(best_by_pair["ears"].eq(1), UNKNOWN_SIDE).astype("string")
    return pd.DataFrame(
        {
            "ear": ear,
            "side_by": np.select(
                [ear.eq(UNKNOWN_SIDE), by_direction.notna(), best_by_pair["rank"].lt(BY_SIGNS)],
                ["none", "direction", "intensity"],
                "signs",
            ),
            "side_signs": join_texts([f"{name}=" + ears_by_sign[name] for name in ears_by_sign]),
        },
        index=pairs.index,
    )


def _read_ears(pairs: pd.DataFrame) -> pd.DataFrame:
    """The affected ear by intensity and by each sign, empty where it tells none."""
    geotropic = pairs["horizontal"].eq("geotropic")
    known = pairs["horizontal"].isin(DIRECTIONS)
    stronger = pairs["stronger_ear"]
    ears = {
        "intensity": stronger.where(geotropic, stronger.map(OTHER_EAR)).where(
            known & stronger.isin(list(OTHER_EAR))
        )
    }
    for sign, toward in BEATS_TOWARD_AFFECTED.items():
        beats = pairs[f"{sign}_beats"]
        ears[sign] = beats.where(geotropic == toward, beats.map(OTHER_EAR)).where(
            known & beats.isin(list(OTHER_EAR))
        )
    return pd.DataFrame(ears, index=pairs.index).astype("string")
