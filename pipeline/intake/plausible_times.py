"""Slips in days and times of a whole delivery: contacts before anything began, repeated tests
without their order, minutes for seconds, columns exchanged, 0 for an empty cell.

Bounds are far from what positional vertigo shows: nystagmus begins within seconds and lasts less
than a minute, or longer where debris adheres (von Brevern et al., J Vestib Res 2015;25:105-117);
each position is held 20 to 60 seconds or more (common practice).
"""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipeline.intake.problem import Problem
from pipeline.intake.suspicion import ANY, MOST, NEARLY_ALL, Enough, suspect

Rows = Mapping[str, pd.DataFrame]
# days before the first test or maneuver of an episode: until then it could be the call for an
# appointment
EARLIEST_CONTACT = -30
SHORTEST, LONGEST = {"duration_s": 3, "hold_s": 5}, {"latency_s": 60, "duration_s": 600}
# of what is there and was timed, none lasts 0 s: some rows are enough
NONE_LASTS_0 = Enough(3, 0.02)
SYMPTOMS_WITHOUT_POINTS = Enough(5, 0.5)
INFANTS = Enough(2, 0.0)
ORDERS_UNTOLD = Enough(5, 0.05)


def find_unlikely_times(rows: Rows) -> list[Problem]:
    """All of these slips; `rows` are the handed-in ones by table, typed, wrong cells missing."""
    shown = rows["examinations"][show_nystagmus(rows["examinations"])]
    return [
        *find_early_contacts(rows),
        *find_untold_order(rows),
        *find_units(shown, rows["treatments"]),
        *find_exchanged(rows),
        *find_zeros(shown, rows),
    ]


def find_early_contacts(rows: Rows) -> list[Problem]:
    """Contacts long before the first test or maneuver of their episode,
    or most contacts before day 0."""
    contacts = rows["followups"]
    begun = pd.concat(
        [rows[name][["episode_id", "day"]] for name in ("examinations", "treatments")]
    )
    first = contacts["episode_id"].map(begun.groupby("episode_id")["day"].min())
    early = contacts["day"].lt(first + EARLIEST_CONTACT)
    problems = suspect("contact_before_record", "followups", "day", early, "contacts", ANY)
    return problems or suspect(
        "contact_before_record", "followups", "day", contacts["day"].lt(0), "contacts", MOST
    )


def find_untold_order(rows: Rows) -> list[Problem]:
    """Tests repeated on the day of the first maneuver that do not say whether they came after it:
    a test before it and one after it mean different things."""
    tests = rows["examinations"]
    first = rows["treatments"].groupby("episode_id")["day"].min()
    treated = tests["day"].eq(tests["episode_id"].map(first)).fillna(False).astype(bool)
    tests = tests[treated].sort_values(["episode_id", "examination"], kind="stable")
    untold = tests["after_attempt"].isna() & tests.duplicated(["episode_id", "test", "side"])
    return suspect(
        "order_untold",
        "examinations",
        "after_attempt",
        untold,
        "tests on the day of the first maneuver",
        ORDERS_UNTOLD,
    )


def find_units(shown: pd.DataFrame, treatments: pd.DataFrame) -> Iterator[Problem]:
    """Columns of seconds whose numbers fit minutes or milliseconds better;
    `shown` are the tests that show nystagmus."""
    for table, column, times in (
        ("examinations", "duration_s", shown["duration_s"]),
        ("examinations", "latency_s", shown["latency_s"]),
        ("treatments", "hold_s", treatments["hold_s"]),
    ):
        times = times[times > 0]
        if column in SHORTEST:
            yield from suspect(
                "unit_unlikely",
                table,
                column,
                times < SHORTEST[column],
                "rows with a time",
                NEARLY_ALL,
            )
        if column in LONGEST:
            yield from suspect(
                "unit_unlikely", table, column, times > LONGEST[column], "rows with a time", MOST
            )


def find_exchanged(rows: Rows) -> list[Problem]:
    """Nystagmus that begins later than it lasts, in most rows; where it lasts 0 s,
    that alone is the slip."""
    timed = rows["examinations"][["latency_s", "duration_s"]].dropna()
    timed = timed[timed["duration_s"] > 0]
    later = timed["latency_s"] > timed["duration_s"]
    return suspect(
        "latency_above_duration", "examinations", "latency_s", later, "rows with both times", MOST
    )


def find_zeros(shown: pd.DataFrame, rows: Rows) -> Iterator[Problem]:
    """Columns in which 0 stands where nothing can be 0, or is so often that it means an empty cell;
    `shown` as above."""
    contacts = rows["followups"]
    unwell = contacts[contacts["positional_symptoms"].eq("yes").fillna(False)]
    for table, column, cells, enough in (
        ("episodes", "age_years", rows["episodes"]["age_years"], INFANTS),
        ("episodes", "onset_day", rows["episodes"]["onset_day"], NEARLY_ALL),
        ("examinations", "latency_s", shown["latency_s"], NEARLY_ALL),
        ("examinations", "duration_s", shown["duration_s"], NONE_LASTS_0),
        ("examinations", "peak_spv", shown["peak_spv"], NONE_LASTS_0),
        ("treatments", "hold_s", rows["treatments"]["hold_s"], NONE_LASTS_0),
        ("followups", "dhi_total", unwell["dhi_total"], SYMPTOMS_WITHOUT_POINTS),
        ("followups", "vas_0_10", unwell["vas_0_10"], SYMPTOMS_WITHOUT_POINTS),
    ):
        yield from suspect(
            "zero_for_empty",
            table,
            column,
            cells.dropna() == 0,
            "rows where it is filled in",
            enough,
        )


def show_nystagmus(tests: pd.DataFrame) -> pd.Series:
    """The tests that show nystagmus."""
    return tests[["vertical", "torsion", "horizontal"]].ne("none").fillna(False).any(axis=1)
