"""How many further records would make an interval as narrow as an answer needs.

The width of an interval falls with the root of the number of records where further ones are like
those there are: from further sites that differ as these do, with as many records each. More records
of the same sites leave what differs between these sites, so that more are needed, or no number is
enough.
"""

from math import ceil

STEP = 0.05  # of a width: nothing finer is told of a hidden one
TENS = 10


def count_further(known: int, width: float, wanted: float) -> int:
    """Count the further records until an interval is as narrow as wanted.

    Parameters
    ----------
    known
        Number of records that made the interval.
    width
        Its width, on the scale of the answer.
    wanted
        The width that an answer needs, above 0.

    Returns
    -------
    int
        known ((width / wanted)^2 - 1), rounded up to tens, with the width rounded up to steps of
        STEP; 0 where it is narrow enough.
    """
    told = ceil(width / STEP) * STEP
    return max(0, TENS * ceil(known * ((told / wanted) ** 2 - 1) / TENS))
