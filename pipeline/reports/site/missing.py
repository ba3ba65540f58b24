"""What to record better: for each habit of recording, the episodes whose verdict,
interval or analysis it left open.

An episode is counted where the answer is open and the very thing that decides it is empty, so that
recording it next time could close it. It does not say what the answer would have been, and one
episode may be counted under several headings.
"""

from collections.abc import Callable

import pandas as pd

from pipeline.reports.site.records import SiteRecords
from schemas.keys import EPISODE_ID

PROVOKES = ("dix_hallpike", "side_lying", "half_dix_hallpike", "supine_roll", "straight_head_hang")
SIGNS = ("bow", "lean", "lying_down")


def find_missing(records: SiteRecords) -> list[dict]:
    """Headings with the number of episodes, and of how many where that is asked of some only,
    those that cost the most first: what stayed open, and what to record."""
    entries = [
        {
            "open": says,
            "record": what,
            "episodes": int(find(records).nunique()),
            "of": int(OF[find](records).nunique()) if find in OF else None,
        }
        for says, what, find in HEADINGS
    ]
    return sorted(
        (entry for entry in entries if entry["episodes"]),
        key=lambda entry: (-entry["episodes"], entry["open"]),
    )


def _verdicts(records: SiteRecords, **values: str) -> pd.Series:
    """Episodes whose verdict has these values."""
    rows = records["adjudications"]
    for column, value in values.items():
        rows = rows[rows[column].eq(value)]
    return rows[EPISODE_ID]


def _shown_before(records: SiteRecords) -> pd.DataFrame:
    """Tests before the first attempt that showed nystagmus in a test that provokes it,
    as they were handed in."""
    key = [EPISODE_ID, "day", "examination", "test", "side"]
    findings = records["findings"]
    shown = findings[findings["nystagmus"].astype(bool) & findings["before_treatment"].astype(bool)]
    return records["examinations"].merge(shown.loc[shown["test"].isin(PROVOKES), key], on=key)


def _tested(records: SiteRecords, tests: tuple[str, ...]) -> pd.Series:
    findings = records["findings"]
    return findings.loc[
        findings["test"].isin(tests) & findings["before_treatment"].astype(bool), EPISODE_ID
    ]


def _without_duration(records: SiteRecords) -> pd.Series:
    shown = _shown_before(records)
    untimed = shown.loc[shown["duration_s"].isna(), EPISODE_ID]
    return untimed[untimed.isin(_verdicts(records, positional="yes", mechanism="unknown"))]


def _without_lateral_side(records: SiteRecords) -> pd.Series:
    lateral = _verdicts(records, positional="yes", canal="lateral", side="unknown")
    shown = _shown_before(records)
    unmeasured = shown.loc[shown["test"].eq("supine_roll") & shown["peak_spv"].isna(), EPISODE_ID]
    return lateral[lateral.isin(unmeasured) & ~lateral.isin(_tested(records, SIGNS))]


def _with_up_beat(records: SiteRecords) -> pd.Series:
    return _list_up_beating(records)[EPISODE_ID]


def _without_torsion(records: SiteRecords) -> pd.Series:
    shown = _list_up_beating(records)
    seen = shown.loc[shown["torsion"].isin(["right", "left"]), EPISODE_ID]
    return shown.loc[~shown[EPISODE_ID].isin(seen), EPISODE_ID]


def _list_up_beating(records: SiteRecords) -> pd.DataFrame:
    """Tests of the posterior canal that showed up-beating nystagmus before the first attempt."""
    shown = _shown_before(records)
    return shown[shown["test"].isin(("dix_hallpike", "side_lying")) & shown["vertical"].eq("up")]


def _without_roll(records: SiteRecords) -> pd.Series:
    open_ = _verdicts(records, canal="unknown")
    open_ = open_[open_.isin(_tested(records, PROVOKES))]
    return open_[~open_.isin(_tested(records, ("supine_roll",)))]


def _without_sitting_up(records: SiteRecords) -> pd.Series:
    open_ = _verdicts(records, certainty="subjective")
    return open_[~open_.isin(_tested(records, ("sitting_up",)))]


def _never_examined(records: SiteRecords) -> pd.Series:
    everyone = records["adjudications"][EPISODE_ID]
    return everyone[
        ~everyone.isin(
            records["findings"].loc[
                records["findings"]["before_treatment"].astype(bool), EPISODE_ID
            ]
        )
    ]


def _not_tested_again(records: SiteRecords) -> pd.Series:
    verdicts = records.first_spells
    return verdicts.loc[
        verdicts["positional"].eq("yes") & verdicts["status"].eq("not_tested_again"), EPISODE_ID
    ]


def _incomplete(records: SiteRecords) -> pd.Series:
    verdicts = records.first_spells
    return verdicts.loc[verdicts["status"].eq("incomplete_record"), EPISODE_ID]


def _without_technique(records: SiteRecords) -> pd.Series:
    """Failed first sessions whose hold or angles nobody wrote down."""
    failed = records["failure_reasons"][EPISODE_ID].drop_duplicates()
    treatments = records["treatments"]
    first = treatments[treatments["day"].eq(treatments.groupby(EPISODE_ID)["day"].transform("min"))]
    bare = first[first["hold_s"].isna() | first["head_turn_deg"].isna()]
    return bare.loc[bare[EPISODE_ID].isin(failed), EPISODE_ID]


def _without_handicap(records: SiteRecords) -> pd.Series:
    """Treated positional episodes that came back without a score of handicap on two days."""
    verdicts = records.first_spells
    treated = verdicts.loc[
        verdicts["positional"].eq("yes") & verdicts["status"].isin(["resolved", "unresolved"]),
        EPISODE_ID,
    ]
    scored = records["followups"].dropna(subset=["dhi_total"])
    days = scored.groupby(EPISODE_ID)["day"].nunique()
    return treated[~treated.isin(days.index[days >= 2])]


def _short_arm_without_basis(records: SiteRecords) -> pd.Series:
    rows = records["episodes"]
    bare = rows["arm_basis"].fillna("not_assessed").eq("not_assessed")
    return rows.loc[rows["recorded_arm"].eq("short") & bare, EPISODE_ID]


# of whom it is asked, where not of every episode
OF: dict[Callable[[SiteRecords], pd.Series], Callable[[SiteRecords], pd.Series]] = {
    _without_torsion: _with_up_beat
}
HEADINGS: tuple[tuple[str, str, Callable[[SiteRecords], pd.Series]], ...] = (
    (
        "Free or adherent debris stayed open, because nystagmus was seen and not timed",
        "Time it, and enter the seconds in duration_s; one minute is the limit.",
        _without_duration,
    ),
    (
        "The side of a lateral canal stayed open",
        "Enter the peak velocity on both sides of the roll test (peak_spv), or do the bow, lean or "
        "lying-down test.",
        _without_lateral_side,
    ),
    (
        "No torsion seen with up-beating nystagmus, so that the canal is at most suspected",
        "Look for torsion at the edge of the iris or with goggles, and enter it in torsion.",
        _without_torsion,
    ),
    (
        "The canal stayed open and no roll test is recorded",
        "Record the supine roll test too, also when it shows nothing.",
        _without_roll,
    ),
    (
        "Vertigo without nystagmus, and no test on sitting up",
        "Record what is seen on sitting up from lying, also when it is nothing.",
        _without_sitting_up,
    ),
    (
        "No positional test before the first maneuver is recorded",
        "Enter the examination of the first day, with every test that was done.",
        _never_examined,
    ),
    (
        "Not tested again after the maneuver, so that nothing is known of resolution",
        "Test again on a later day, and enter the test, also when it is negative.",
        _not_tested_again,
    ),
    (
        "A test or treatment of the episode was set aside, so that its interval could be wrong",
        "Mend the rows that are named on the page of your delivery.",
        _incomplete,
    ),
    (
        "The first maneuver did not help, and its holds or angles are not recorded",
        "Enter hold_s and head_turn_deg, measured or estimated, and say which in angle_source.",
        _without_technique,
    ),
    (
        "Handicap could not be followed: fewer than two days with a score",
        "Enter dhi_total on the first day and at a later contact.",
        _without_handicap,
    ),
    (
        "A short arm was recorded without what it rests on",
        "Enter the working definition in arm_basis; arms by different definitions are never put "
        "together.",
        _short_arm_without_basis,
    ),
)
