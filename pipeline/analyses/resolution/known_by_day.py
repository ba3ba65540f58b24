"""What is known on a day of whether an episode has been resolved: four parts that add up.

An interval (left, right] says that the last positive test was on `left` (0 where none was, after
the first attempt) and the first negative one on `right`, infinite where none was. On a day from 1
on an episode belongs to exactly one part:
- negative: it had tested negative by then (right <= day);
- between: it turned negative between two tests, one before the day and one after it (left < day <
  right, right finite);
- positive: it was still positive when tested on the day or later (left >= day);
- untested: it had last been positive before the day, and was not tested again (left < day, right
infinite). The curve itself puts those of `between` and `untested` where the others let expect them.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.tidy import Fields, count_sites, state
from schemas.codes import KNOWN_ON_DAY
from schemas.columns import Frame
from schemas.derived import Spells


def divide_by_knowledge(left: ArrayLike, right: ArrayLike, day: float) -> dict[str, np.ndarray]:
    """Divide episodes by what is known of them on a day.

    Parameters
    ----------
    left, right
        Ends of each episode's interval in days, left < right, (episodes,).
    day
        Days from the first attempt, 1 or later.

    Returns
    -------
    dict of str to np.ndarray
        By each part of schemas.codes.KNOWN_ON_DAY who belongs to it, (episodes,) of bool.

    Raises
    ------
    ValueError
        Where an interval does not end after it begins.
    """
    left, right = np.asarray(left, float), np.asarray(right, float)
    if not (left < right).all():
        raise ValueError("an interval must end after it begins")
    negative, positive, seen = right <= day, left >= day, np.isfinite(right)
    open_ = ~negative & ~positive
    parts = {
        "negative": negative,
        "between": open_ & seen,
        "positive": positive,
        "untested": open_ & ~seen,
    }
    return {name: parts[name] for name in KNOWN_ON_DAY}


def count_known(spells: Frame[Spells], days: Sequence[int], **fields: Any) -> Iterator[dict]:
    """Count how many spells belong to each part on each day.

    Parameters
    ----------
    spells
        The spells of a curve.
    days
        Days from the first attempt.
    **fields
        Other columns of the rows.

    Yields
    ------
    dict
        A row for each day and part: n_events is the count itself, n_episodes how many they are in
        all, n_sites and by_site those of the part.
    """
    for day in days:
        for name, members in divide_by_knowledge(
            spells["left_days"], spells["right_days"], day
        ).items():
            counts: Fields = {"n_episodes": len(spells), "n_events": int(members.sum())}
            counts |= count_sites(spells[members], among=spells)
            yield state(
                f"known_{name}_day_{day}", counts["n_events"], method="count", **fields | counts
            )
