"""The days on which episodes were examined, and why, as far as the site says."""

import pandas as pd

from schemas.columns import Frame
from schemas.delivery import Examinations
from schemas.derived import ExaminedDays
from schemas.keys import EPISODE

DAY_KEY = [*EPISODE, "day"]


def list_examined_days(examinations: Frame[Examinations]) -> pd.DataFrame:
    """One row for each episode and day with a stored test.

    A reason that any row of the day gives is that of the day; `unknown` contradicts none, and where
    two contradict each other the day has none.
    """
    days = examinations[DAY_KEY].drop_duplicates().sort_values(DAY_KEY, ignore_index=True)
    reasons_given = examinations[[*DAY_KEY, "reason"]].dropna().drop_duplicates()
    known = reasons_given["reason"].ne("unknown")
    given = reasons_given[known].drop_duplicates(DAY_KEY, keep=False)
    of_known = pd.MultiIndex.from_frame(reasons_given.loc[known, DAY_KEY])
    asked = reasons_given[~known & ~pd.MultiIndex.from_frame(reasons_given[DAY_KEY]).isin(of_known)]
    reasons = pd.concat([given, asked])
    return ExaminedDays.cast(days.merge(reasons, on=DAY_KEY, how="left", validate="one_to_one"))
