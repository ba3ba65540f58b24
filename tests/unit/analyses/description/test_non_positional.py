"""The cases kept apart: who recognised them when, and what was given until then."""

import pandas as pd
import pytest

from pipeline.analyses.description.non_positional import describe_non_positional
from schemas.derived import Adjudications, LaterFlags, ReasonsAgainst

APART = "probable_non_positional"
TEXTS = dict.fromkeys(("variants", "side_signs", "criteria", "reasons_against"), "")
UNKNOWN = dict.fromkeys(("canal", "side", "arm", "mechanism"), "unknown")
# number: day of recognition, days of sessions, its reasons with their days
EPISODES: dict[int, tuple] = {
    1: (None, (0, 7), {"cannot_stand": 0}),
    2: (None, (), {"cannot_stand": -3, "velocity_kept": 5}),
    3: (0, (), {"no_canal_recorded": 0}),
    4: (0, (0,), {"other_diagnosis=central": 0}),  # of the same day: taken as known by then
    5: (1, (0,), {"cannot_stand": 0}),
    6: (30, (0, 7, 30, 41), {"velocity_kept": 0}),
    7: (31, (40,), {"velocity_kept": 2}),
    8: (-2, (), {"no_canal_recorded": -2}),
}


@pytest.fixture
def describe(plan):
    """A function from episodes as above, and further verdicts, to their estimates by term."""

    def describe_cases(episodes: dict[int, tuple], reclassified: dict[int, tuple] | None = None):
        verdicts, reasons, sessions = [], [], []
        for part, positional in ((episodes, APART), (reclassified or {}, "yes")):
            for n, (day, given, against) in part.items():
                key = {"site": f"S0{n % 3 + 1}", "episode_id": f"EP-{n}"}
                found = {"recognised_day": day, "reclassified_day": None}
                if positional == "yes":
                    found["reclassified_day"] = day
                verdicts.append(
                    key | TEXTS | UNKNOWN | found | {"positional": positional, "certainty": "none"}
                )
                reasons += [key | {"reason": r, "known_day": d} for r, d in against.items()]
                sessions += [key | {"session": k, "day": d} for k, d in enumerate(given, start=1)]
        frame = pd.DataFrame(verdicts).reindex(columns=list(Adjudications.describe()))
        estimates = describe_non_positional(
            Adjudications.validate(Adjudications.cast(frame)),
            ReasonsAgainst.validate(ReasonsAgainst.cast(pd.DataFrame(reasons))),
            pd.DataFrame(sessions).astype({"site": "string", "episode_id": "string"}),
            LaterFlags.empty(),
            plan,
        )
        return estimates.set_index(["stratum", "term"])

    return describe_cases


def test_shares_count_the_never_recognised_on_every_day(describe):
    estimates = describe(EPISODES).loc["all"]
    expected = {
        "recognised_by_site": 6,
        "recognised_by_day_0": 3,
        "recognised_by_day_1": 4,
        "recognised_by_day_7": 4,
        "recognised_by_day_30": 5,
        "recognised_after_day_0": 3,
        "recognised_before_treatment": 4,
        "recognised_after_treatment": 2,
        "never_recognised_treated": 1,
        "never_recognised_untreated": 1,
        "treated_before_recognition": 3,
    }
    for term, count in expected.items():
        row = estimates.loc[term]
        assert (row["n_events"], row["n_episodes"], row["estimate"]) == (count, 8, count / 8), term


def test_sessions_count_up_to_the_day_before_recognition(describe):
    estimates = describe(EPISODES).loc["all"]
    assert estimates.loc["recognised_day_median", "estimate"] == 0.5  # of -2 0 0 1 30 31
    mean, median = (
        estimates.loc[f"sessions_before_recognition_{average}"] for average in ("mean", "median")
    )
    assert (mean["estimate"], median["estimate"]) == (pytest.approx(5 / 3), 2)  # of 2 1 2
    assert (mean["n_episodes"], median["n_episodes"]) == (3, 3)


def test_reasons_are_counted_by_their_first_day(describe):
    estimates = describe(EPISODES)
    on_record = estimates.xs("on_record_by_day_0", level="term")
    assert on_record.loc["all", ["n_events", "n_episodes"]].tolist() == [7, 8]
    assert on_record.loc["reason=velocity_kept", ["n_events", "n_episodes"]].tolist() == [1, 3]
    assert on_record.loc["reason=cannot_stand", ["n_events", "n_episodes"]].tolist() == [3, 3]
    assert estimates.loc[("reason=central", "share"), "estimate"] == 1 / 8


def test_what_was_found_late_is_told_beside_and_not_among_them(describe):
    late = {21: (40, (0, 7, 40), {}), 22: (60, (0, 50, 55), {}), 23: (None, (0,), {})}
    both, alone = describe(EPISODES, late), describe(EPISODES)
    found = both.loc["all"]
    assert found.loc["reclassified_day_median", ["estimate", "n_episodes"]].tolist() == [50, 2]
    assert found.loc["reclassified_sessions_mean", "estimate"] == 2.5
    beside = both.index.get_level_values("term").str.startswith("reclassified")
    shown = ~beside & ~both.index.get_level_values("stratum").str.startswith("later_flag")
    assert both[shown].equals(alone[shown])


def test_where_nothing_is_kept_apart_there_are_statuses(describe):
    estimates = describe({}, {21: (40, (0,), {"cannot_stand": 0})})
    apart = estimates.loc["all"].drop(index=["reclassified_day_median"])
    apart = apart[~apart.index.str.startswith("reclassified")]
    assert apart["status"].eq("too_few").all()
    assert apart["estimate"].isna().all()
