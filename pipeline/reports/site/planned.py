"""A site's own plan of tests and calls beside what came of it.

For each planned day: of how many first maneuvers a test, or of how many treated episodes a contact,
came within WITHIN days of it (the allowance is this project's proposal). A maneuver that was
followed by another one before that day is not asked for its test, since the plan begins anew then.
"""

import pandas as pd

from pipeline.reports.site.records import SiteRecords
from pipeline.reports.wording import count_words
from schemas.keys import EPISODE_ID

WITHIN = 2  # days before or after
REMOTE = ("telephone", "telehealth")


def list_planned(records: SiteRecords) -> list[dict]:
    """One row a planned day, tests first: what was planned, how many were asked, of how many it
    came. Nothing without a plan or a treated episode."""
    attempts = records["attempts"]
    first = attempts[attempts["session"].eq(1)].set_index(EPISODE_ID)["day"].astype(float)
    again = attempts[attempts["session"].eq(2)].set_index(EPISODE_ID)["day"].astype(float)
    until = again.reindex(first.index).fillna(float("inf"))
    plan = records["planned_days"].sort_values(["kind", "day"], ascending=[False, True])
    rows = []
    for kind, day in zip(plan["kind"], plan["day"].astype(int), strict=True):
        if kind == "test":
            planned = first[until >= first + day] + day
            later = records["examinations"]["day"].gt(0)
            came = _find_near(records["examinations"][later], planned)
            says = f"A test {count_words(day, 'day')} after a maneuver"
        else:
            planned = pd.Series(float(day), first.index)
            remote = records["followups"]["contact"].isin(REMOTE)
            came = _find_near(records["followups"][remote], planned)
            says = f"A call to everybody on day {day}"
        if len(planned):
            rows.append({"planned": says, "asked": len(planned), "came": len(came)})
    return rows


def _find_near(seen: pd.DataFrame, planned: pd.Series) -> set[str]:
    """Episodes of which something was seen within WITHIN days of the planned day."""
    wanted = seen[EPISODE_ID].map(planned)
    near = (seen["day"].astype(float) - wanted).abs().le(WITHIN)
    return set(seen.loc[near, EPISODE_ID])
