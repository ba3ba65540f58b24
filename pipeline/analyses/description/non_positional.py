"""The cases kept apart as probably not positional vertigo: why, whether and when the site saw it,
and what was given until then.

A case is kept apart by what was on record before the first attempt alone, so that of those treated
some reason is on record by day 0 by the rule itself; what the site made of it came then or later,
or never. A session counts as given before recognition if it was given on an earlier day: what is
of the same day is taken as known at the session, as in the verdict.
"""

from collections.abc import Iterator, Sequence

import pandas as pd

from pipeline.analyses.description.later_flags import count_later_flags
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.derived import Adjudications, Attempts, LaterFlags, ReasonsAgainst
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config


def describe_non_positional(
    adjudications: Frame[Adjudications],
    reasons_against: Frame[ReasonsAgainst],
    attempts: Frame[Attempts],
    later_flags: Frame[LaterFlags],
    config: Config,
) -> Frame[Estimates]:
    """Describe the cases kept apart.

    Returns
    -------
    Frame[Estimates]
        Of those kept apart: share of each reason (stratum reason=..., several at once are
        possible); on_record_by_day_0, with any reason by then, and of those with a reason (its
        stratum) with that one; recognised_by_site, and recognised_by_day_<day>, where those never
        recognised count as such, and after the first of these days; recognised_day_median of the
        recognised; the parts recognised_before_treatment, recognised_after_treatment,
        never_recognised_treated and never_recognised_untreated; treated_before_recognition, and of
        those mean and median of sessions before it (of the never recognised, all). Beside them, of
        those treated as positional, the median day of reclassification, mean and median of sessions
        before it, and the share of each later flag (stratum later_flag=...).
    """
    verdicts = adjudications.assign(
        found_day=adjudications["recognised_day"].where(
            adjudications["positional"].ne("yes"), adjudications["reclassified_day"]
        )
    )
    verdicts = verdicts.join(_count_sessions(verdicts, attempts), on=EPISODE).fillna(
        {"sessions": 0}
    )
    apart = verdicts[verdicts["positional"].eq("probable_non_positional")]
    reclassified = verdicts[verdicts["positional"].eq("yes") & verdicts["found_day"].notna()]
    rows = [
        *_describe_reasons(apart, reasons_against),
        *_describe_recognition(apart, config.study.non_positional.days),
        *_describe_found_late(reclassified),
        *count_later_flags(later_flags, adjudications, attempts, config),
    ]
    return tidy_estimates(
        rows,
        analysis="non_positional",
        population="probable_non_positional",
        method="share of episodes",
    )


def _count_sessions(verdicts: pd.DataFrame, attempts: pd.DataFrame) -> pd.Series:
    """Sessions on days before found_day, all of them where there is none, by episode."""
    given = attempts[[*EPISODE, "day"]].merge(verdicts[[*EPISODE, "found_day"]], on=EPISODE)
    unseen = (given["found_day"].isna() | (given["day"] < given["found_day"])).fillna(True)
    return given[unseen.astype(bool)].groupby(EPISODE).size().rename("sessions")


def _describe_reasons(apart: pd.DataFrame, reasons: pd.DataFrame) -> Iterator[Fields]:
    """How many have each reason, and how many had it by day 0."""
    against = reasons.merge(apart[EPISODE], on=EPISODE)
    by_day_0 = against[against["known_day"].le(0)]
    yield _share("on_record_by_day_0", by_day_0[EPISODE].drop_duplicates(), apart)
    for reason, members in against.groupby("reason", sort=True):
        stratum = f"reason={reason.removeprefix('other_diagnosis=')}"
        yield _share("share", members, apart, stratum)
        yield _share(
            "on_record_by_day_0", by_day_0[by_day_0["reason"].eq(reason)], members, stratum
        )


def _describe_recognition(apart: pd.DataFrame, days: Sequence[int]) -> Iterator[Fields]:
    """How many the site recognised, by which day, and after how many sessions."""
    recognised, treated = apart["found_day"].notna(), apart["sessions"].gt(0)
    yield _share("recognised_by_site", apart[recognised], apart)
    for day in days:
        seen = apart["found_day"].le(day).fillna(False)
        yield _share(f"recognised_by_day_{day}", apart[seen], apart)
    later = apart["found_day"].gt(days[0]).fillna(False)
    yield _share(f"recognised_after_day_{days[0]}", apart[later], apart)
    parts = {
        "recognised_before_treatment": recognised & ~treated,
        "recognised_after_treatment": recognised & treated,
        "never_recognised_treated": ~recognised & treated,
        "never_recognised_untreated": ~recognised & ~treated,
        "treated_before_recognition": treated,
    }
    for term, which in parts.items():
        yield _share(term, apart[which], apart)
    yield _average("recognised_day_median", "median", apart[recognised], "found_day")
    for average in ("mean", "median"):
        yield _average(
            f"sessions_before_recognition_{average}", average, apart[treated], "sessions"
        )


def _describe_found_late(reclassified: pd.DataFrame) -> Iterator[Fields]:
    """How late cases were found to be something else that had been treated as positional
    vertigo."""
    yield _average("reclassified_day_median", "median", reclassified, "found_day")
    for average in ("mean", "median"):
        yield _average(f"reclassified_sessions_{average}", average, reclassified, "sessions")


def _share(term: str, members: pd.DataFrame, base: pd.DataFrame, stratum: str = "all") -> Fields:
    fields = {"stratum": stratum, "n_episodes": len(base), "n_events": len(members)}
    fields |= count_sites(members, among=base)
    if base.empty:
        return withhold(term, "too_few", "no episodes", **fields)
    return state(term, len(members) / len(base), **fields)


def _average(term: str, average: str, rows: pd.DataFrame, column: str) -> Fields:
    """The mean or median of a column; none where there are no rows."""
    fields = {
        "stratum": "all",
        "n_episodes": len(rows),
        **count_sites(rows),
        "method": f"{average} of {'days' if column == 'found_day' else 'sessions'}",
    }
    if rows.empty:
        return withhold(term, "too_few", "no episodes", **fields)
    return state(term, rows[column].astype(float).agg(average), **fields)
