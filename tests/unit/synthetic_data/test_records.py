"""Records before faults keep every rule of the contract."""

import numpy as np
import pandas as pd
import pytest

from schemas.delivery import TABLES
from synthetic_data.pool import read_plan
from synthetic_data.write import describe, to_cells
from tests.unit.synthetic_data.reading import type_cells

CHILDREN = ("examinations", "treatments", "followups")


@pytest.mark.parametrize("table", TABLES)
def test_every_cell_and_row_is_as_the_schema_says(simulated, table):
    for records in simulated.records:
        TABLES[table].validate(records.tables[table], lazy=True)


@pytest.mark.parametrize("table", TABLES)
def test_keys_name_one_row(simulated, table):
    assert not simulated.tables[table].duplicated(["site", *TABLES[table].key()]).any()


@pytest.mark.parametrize("table", CHILDREN)
def test_every_row_has_its_episode(simulated, table):
    known = pd.MultiIndex.from_frame(simulated.tables["episodes"][["site", "episode_id"]])
    assert (
        pd.MultiIndex.from_frame(simulated.tables[table][["site", "episode_id"]]).isin(known).all()
    )


def test_attempts_count_up_without_gaps_and_in_time(simulated):
    rows = simulated.tables["treatments"]
    within = rows.groupby(["site", "episode_id"])
    assert (rows["attempt"] == within.cumcount() + 1).all()
    assert (within["day"].diff().dropna() >= 0).all()
    assert rows["attempt"].max() == 5


def test_sides_fit_the_maneuvers(simulated):
    rows, maneuvers = simulated.tables["treatments"], read_plan().maneuvers
    sided = rows["maneuver"].map({code: maneuver.sided for code, maneuver in maneuvers.items()})
    assert sided.notna().all()
    assert (rows["side"].isin(["right", "left"]) == sided).all()
    assert rows.loc[~sided.astype(bool), "side"].eq("none").all()


def test_a_test_after_an_attempt_names_the_last_attempt_of_that_day(simulated):
    tests = simulated.tables["examinations"]
    given = simulated.tables["treatments"][["site", "episode_id", "day", "attempt"]]
    after = tests[tests["after_attempt"] > 0].merge(
        given,
        left_on=["site", "episode_id", "day", "after_attempt"],
        right_on=list(given.columns),
        how="left",
    )
    assert after["attempt"].notna().all()


def test_a_patient_is_the_same_in_all_episodes(simulated):
    episodes = simulated.tables["episodes"]
    patients = episodes.groupby(["site", "patient_id"])
    assert (patients["sex"].nunique() == 1).all()
    assert patients.size().max() > 1
    assert (episodes.groupby(["site", "patient_id"])["age_years"].diff().dropna() >= 0).all()


def test_follow_up_ends_once_and_as_the_last_contact(simulated):
    rows = simulated.tables["followups"]
    last = ~rows.duplicated(["site", "episode_id"], keep="last")
    assert rows.loc[~last, "end_of_followup"].eq("no").all()
    counts = rows.loc[last, "end_of_followup"].value_counts(normalize=True)
    assert set(counts.index) == {"no", "completed", "lost", "reclassified", "withdrew"}


def test_reclassified_cases_carry_their_diagnosis_and_nothing_after_it(simulated):
    ended = simulated.tables["followups"].query("end_of_followup == 'reclassified'")
    episodes = simulated.tables["episodes"].merge(
        ended[["site", "episode_id", "day"]], on=["site", "episode_id"]
    )
    assert len(episodes) > 100
    assert (episodes["other_diagnosis_day"] == episodes["day"]).all()
    assert not episodes["other_diagnosis"].isin(["none", "unknown"]).any()
    given = simulated.tables["treatments"].merge(
        episodes[["site", "episode_id", "other_diagnosis_day"]]
    )
    assert (given["day"] < given["other_diagnosis_day"]).all()


def test_what_is_written_reads_back(simulated):
    for table in TABLES:
        rows = simulated.records[4].tables[table].reset_index(drop=True)
        cells = to_cells(rows)
        texts = cells.map(lambda cell: "" if cell is None else str(cell)).to_dict("records")
        pd.testing.assert_frame_equal(type_cells(table, texts)[list(rows)], rows)


def test_ages_from_90_are_written_as_a_group(simulated):
    ages = np.concatenate(
        [to_cells(r.tables["episodes"])["age_years"].to_numpy() for r in simulated.records]
    )
    assert "90+" in ages
    assert max(age for age in ages if age != "90+") < 90


def test_submission_describes_the_site(simulated):
    fields = describe(simulated.records[7].site, "002").set_index("field")["value"]
    assert (fields["site_code"], fields["delivery"], fields["short_arm_basis"]) == (
        "S08",
        "002",
        "half_dix_hallpike",
    )
