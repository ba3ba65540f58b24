"""Which ear a test speaks of, and whether a test was done, or showed something, on that ear."""

import numpy as np
import pandas as pd

from schemas.keys import EPISODE

OTHER_EAR = {"right": "left", "left": "right"}
UNKNOWN_SIDE = "unknown"


def name_ear(examined: pd.DataFrame, which: str) -> pd.Series:
    """The ear to which each test points, as right, left or unknown;
    `which` is the `side` of a schemas.criteria.Criterion."""
    if which == "unknown":
        return pd.Series(UNKNOWN_SIDE, index=examined.index, dtype="string")
    column = {
        "lower_ear": "side",
        "torsion_ear": "torsion",
        "opposite_of_torsion_ear": "torsion",
    }.get(which, "ear")
    ear = (
        examined[column].map(OTHER_EAR) if which == "opposite_of_torsion_ear" else examined[column]
    )
    return ear.where(ear.isin(list(OTHER_EAR)), UNKNOWN_SIDE).astype("string")


def have_test(of: pd.DataFrame, ears: pd.Series, examined: pd.DataFrame) -> np.ndarray:
    """Whether an episode has a test on an ear.

    A test without a side tells of both ears; where the ear is not known, a test on either counts.

    Parameters
    ----------
    of
        Rows with site and episode_id that ask.
    ears
        The ear that each asks of.
    examined
        The tests that count.

    Returns
    -------
    np.ndarray
        bool, one for each row of `of`.
    """
    if of.empty or examined.empty:
        return np.zeros(len(of), bool)
    done = examined[[*EPISODE, "side"]].drop_duplicates()
    midline = done[done["side"].eq("none")]
    by_ear = [
        done,
        *(midline.assign(side=ear) for ear in OTHER_EAR),
        done.assign(side=UNKNOWN_SIDE),
    ]
    wanted = pd.MultiIndex.from_arrays([of["site"], of["episode_id"], ears])
    return wanted.isin(pd.MultiIndex.from_frame(pd.concat(by_ear)))


def are_silent(
    of: pd.DataFrame, ears: pd.Series, examined: pd.DataFrame, tests: tuple[str, ...]
) -> np.ndarray:
    """Whether one of some tests was done on an ear and none of them ever showed nystagmus there.

    Slow nystagmus without vertigo is silence too (show_nystagmus). Where such a test was repeated,
    the examination that showed nystagmus decides, whenever it came: a test that shows nothing is
    often wrong (manual Dix-Hallpike tests missed 27 and 34 %, manual roll tests 63 %: Hentze M et
    al. Front Neurol 2025;16:1654404; testing again in one visit found 28 of 68 that had been
    negative: Evren C et al. Braz J Otorhinolaryngol 2017;83:243-248). What the other ear's test
    shows tells nothing (this project's proposal: of healthy people 55 % have some nystagmus in a
    Dix-Hallpike test, Martens C et al. Otolaryngol Head Neck Surg 2016;154:861-867).

    Parameters
    ----------
    of
        Rows with site and episode_id that ask.
    ears
        The ear that each asks of.
    examined
        Tests joined with their findings.
    tests
        Codes of the tests that count.

    Returns
    -------
    np.ndarray
        bool, one for each row of `of`.
    """
    done = examined[examined["test"].isin(tests)]
    return have_test(of, ears, done) & ~have_test(of, ears, done[show_nystagmus(done)])


def show_nystagmus(examined: pd.DataFrame) -> pd.Series:
    """Whether each test shows nystagmus that tells of something: felt, or not measured to be as
    slow as that of healthy people."""
    return examined["nystagmus"].astype(bool) & ~are_faint(examined)


def are_faint(examined: pd.DataFrame) -> pd.Series:
    """Whether each test shows nystagmus of the kind that healthy people have: not felt, and
    measured to be as slow as theirs (Martens C et al. Otolaryngol Head Neck Surg 2016;154:861-867).
    """
    slow = examined["velocity_class"].eq("slow").fillna(False).astype(bool)
    return slow & examined["vertigo"].eq("none") & examined["nystagmus"].astype(bool)
