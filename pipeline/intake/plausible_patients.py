"""What cannot be of one patient, and rows that were copied: ages that do not go with the years,
spells that overlap, episodes alike to the second."""

from collections.abc import Mapping

import pandas as pd

from pipeline.intake.problem import Problem
from pipeline.intake.suspicion import ANY, Enough, suspect
from schemas.delivery import OLDEST

Rows = Mapping[str, pd.DataFrame]
YEAR = 366  # days: what lies as far apart is in another calendar year for sure
LEAST_TIMED = 3  # tests with a time: so many do not agree by chance in two patients
COPIES = Enough(2, 0.0)
TIMED = ["day", "examination", "latency_s", "duration_s", "peak_spv"]


def find_unlikely_patients(rows: Rows) -> list[Problem]:
    """All of these; `rows` are the handed-in ones by table, typed, wrong cells missing."""
    return [*find_ages(rows["episodes"]), *find_overlaps(rows), *find_copies(rows["examinations"])]


def find_ages(episodes: pd.DataFrame) -> list[Problem]:
    """Patients whose ages differ by more than a year from what lies between their episodes."""
    known = episodes.dropna(subset=["patient_id", "age_years", "index_year"])
    known = known[known["age_years"] < OLDEST]
    born = (known["index_year"] - known["age_years"]).groupby(known["patient_id"])
    several = born.agg(["count", "min", "max"]).query("count > 1")
    differ = several["max"] - several["min"] > 1
    return suspect(
        "ages_differ", "episodes", "age_years", differ, "patients with several episodes", ANY
    )


def find_overlaps(rows: Rows) -> list[Problem]:
    """Patients of whom an episode is still treated when a later one has begun for sure,
    or had begun before an earlier one's day 0."""
    episodes = rows["episodes"].dropna(subset=["patient_id", "episode_id", "index_year"])
    episodes = episodes[["patient_id", "episode_id", "index_year", "onset_day"]].drop_duplicates(
        "episode_id"
    )
    episodes = episodes[episodes["patient_id"].duplicated(keep=False)]
    last = rows["treatments"].groupby("episode_id")["day"].max()
    spells = episodes.assign(last=episodes["episode_id"].map(last))
    pairs = spells.merge(spells, on="patient_id", suffixes=("", "_later"))
    pairs = pairs[
        pairs["episode_id"].ne(pairs["episode_id_later"])
        & pairs["index_year"].le(pairs["index_year_later"])
    ]
    apart = YEAR * (pairs["index_year_later"] - pairs["index_year"] + 1)
    overlap = pairs["last"].ge(apart).fillna(False) | pairs["onset_day_later"].le(-apart).fillna(
        False
    )
    by_patient = overlap.groupby(pairs["patient_id"]).any()
    return suspect(
        "episodes_overlap",
        "episodes",
        "patient_id",
        by_patient,
        "patients with several episodes",
        ANY,
    )


def find_copies(tests: pd.DataFrame) -> list[Problem]:
    """Episodes whose tests agree with those of another one in every day and time."""
    rows = tests[["episode_id", *TIMED]].dropna(subset="episode_id")
    timed = rows["latency_s"].notna() | rows["duration_s"].notna()
    prints = (
        pd.util.hash_pandas_object(rows[TIMED].astype("float64"), index=False)
        .groupby(rows["episode_id"])
        .sum()
    )
    prints = prints[timed.groupby(rows["episode_id"]).sum() >= LEAST_TIMED]
    alike = prints.duplicated(keep=False)
    return suspect(
        "episodes_alike", "examinations", "episode_id", alike, "episodes with times", COPIES
    )
