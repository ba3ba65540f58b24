"""What only time showed: in how many treated positional episodes a later flag was raised.

A share of all that were treated for positional vertigo, with the verdict of the first attempt. It
is a lower bound: whoever is not tested again raises no flag. A flag asks to examine again; it is no
diagnosis.
"""

import pandas as pd

from pipeline.statistics.tidy import Fields, count_sites, state, withhold
from schemas.columns import Frame
from schemas.derived import Adjudications, Attempts, LaterFlags
from schemas.keys import EPISODE
from schemas.study import Config

NOTE = (
    "a lower bound: whoever is not tested again raises no flag; it asks to examine again and is no "
    "diagnosis"
)


def count_later_flags(
    later_flags: Frame[LaterFlags],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> list[dict]:
    """One row for each later flag of config/criteria.yaml: the share of treated positional episodes
    in which it was raised."""
    positional = pd.MultiIndex.from_frame(
        adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    )
    treated = attempts[EPISODE].drop_duplicates()
    treated = treated[pd.MultiIndex.from_frame(treated).isin(positional)]
    raised = later_flags.merge(treated, on=EPISODE)
    rows = []
    for flag in config.criteria.later_flags:
        flagged = raised[raised["flag"].eq(flag)]
        events = len(flagged)
        fields: Fields = {"population": "positional", "stratum": f"later_flag={flag}"}
        fields |= {
            "n_episodes": len(treated),
            "n_events": events,
            **count_sites(treated, events=flagged),
        }
        if len(treated):
            rows.append(state("share", events / len(treated), note=NOTE, **fields))
        else:
            rows.append(withhold("share", "too_few", "no positional episode was treated", **fields))
    return rows
