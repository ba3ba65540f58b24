"""First maneuvers by variant: each cell says what was disclosed of it, and nothing else."""

import re

import pytest

from pipeline.reports.committee.matrix import (
    POPULATION,
    read_first_choice,
    say_first_choice,
    tabulate_first_choice,
)
from pipeline.reports.wording import HIDDEN
from pipeline.statistics.tidy import state, withhold
from tests.unit.reports.committee.sections import table

POSTERIOR, LATERAL = "posterior_long_arm", "lateral_geotropic"
SITTING, RESPONSE = "short_arm_by_sitting_up", "short_arm_by_treatment_response"
OWN, POOLED = "first_test_negative", "pooled_first_test_negative"
NEEDED, DAYS = "further_episodes_needed", "days_to_next_test"
SIZE = {"n_episodes": 170, "n_events": 110, "n_sites": 9}


def cell(variant: str, family: str) -> dict:
    return {"stratum": f"variant={variant},family={family}"}


def share(variant: str, family: str, number: float, term: str = OWN, **more) -> dict:
    limits = {"lower": number - 0.1, "upper": number + 0.1} | more
    return state(term, number, **cell(variant, family), **limits, **SIZE)


def missing(variant: str, family: str, status: str, term: str = OWN, **size) -> dict:
    return withhold(term, status, "why", **cell(variant, family), **size)


ROWS = [
    share(POSTERIOR, "epley", 0.65),
    share(POSTERIOR, "epley", 0.61, POOLED),
    state(DAYS, 8, **cell(POSTERIOR, "epley"), **SIZE),
    missing(POSTERIOR, "semont", "too_wide", n_episodes=21, n_sites=6),
    share(POSTERIOR, "semont", 0.58, POOLED),
    state(DAYS, 2, **cell(POSTERIOR, "semont"), **SIZE),
    missing(POSTERIOR, "gans", "too_few"),
    missing(POSTERIOR, "gans", "suppressed", NEEDED),
    missing(LATERAL, "epley", "suppressed"),
    missing(LATERAL, "gufoni", "too_wide"),
    state(NEEDED, 270, **cell(LATERAL, "gufoni"), n_sites=8),
    missing(SITTING, "epley", "too_few"),
    withhold(OWN, "not_identified", "circular: why", stratum=f"variant={RESPONSE}"),
]


@pytest.fixture
def rows(plan):
    return read_first_choice(table("first_choice", ROWS, POPULATION), plan)


def lay_out(rows, plan) -> dict[str, dict[str, str]]:
    matrix = tabulate_first_choice(rows, plan)
    return {
        row["name"]: {
            name: f"{cell['number']} {cell['of']}".replace("\u00a0", " ").strip()
            for name, cell in zip(matrix["columns"], row["cells"], strict=bool(row["cells"]))
        }
        for row in matrix["rows"]
    }


def test_a_cell_has_its_own_share_or_the_pooled_one_or_what_is_needed(rows, plan):
    cells = lay_out(rows, plan)
    posterior, lateral = cells["Posterior canal, long arm"], cells["Lateral canal, geotropic"]
    assert posterior["Epley"] == "65 % (55 to 75) 170 episodes"
    assert posterior["Semont"] == "58 %† (48 to 68) 21 episodes"
    assert lateral["Gufoni"] == "≈270 more"
    assert lateral["Epley"] == HIDDEN
    assert posterior["Gufoni"] == lateral["Semont"] == "–"


def test_families_without_any_number_share_a_column(rows, plan):
    matrix = tabulate_first_choice(rows, plan)
    assert matrix["columns"] == ["Epley", "Semont", "Gufoni", "Others"]
    assert lay_out(rows, plan)["Posterior canal, long arm"]["Others"] == "few"


def test_an_arm_named_by_the_response_has_a_reason_and_no_cell(rows, plan):
    row = next(
        row
        for row in tabulate_first_choice(rows, plan)["rows"]
        if row["name"] == "Short arm by response to a maneuver"
    )
    assert row["without"].startswith("circular")
    proven = [*ROWS, share(RESPONSE, "epley", 0.987)]
    read = read_first_choice(table("first_choice", proven, POPULATION), plan)
    assert "99" not in str(tabulate_first_choice(read, plan))
    assert tabulate_first_choice(read, plan) == tabulate_first_choice(rows, plan)


def test_every_definition_of_the_short_arm_has_its_own_row(rows, plan):
    matrix = tabulate_first_choice(rows, plan)
    assert sum(row["name"].startswith("Short arm") for row in matrix["rows"]) == 2
    assert "something else in each of its rows" in matrix["key"]


def test_the_key_has_each_mark_of_the_table_and_no_other(rows, plan):
    matrix = tabulate_first_choice(rows, plan)
    assert all(mark in matrix["key"] for mark in ("†", "more", "few", HIDDEN, "–"))
    own = read_first_choice(table("first_choice", ROWS[:1], POPULATION), plan)
    assert not any(
        mark in tabulate_first_choice(own, plan)["key"] for mark in ("†", "few:", HIDDEN, "–")
    )


def test_nothing_is_printed_that_is_not_in_the_rows(rows, plan):
    cells = [text for row in lay_out(rows, plan).values() for text in row.values()]
    printed = {int(n) for text in cells for n in re.findall(r"\d+", text)}
    assert printed == {65, 55, 75, 170, 58, 48, 68, 21, 270}


def test_days_to_the_next_test_are_said_to_differ(rows, plan):
    caution = tabulate_first_choice(rows, plan)["caution"]
    assert "not as a contest" in caution
    assert "day 2 to 8" in caution


@pytest.mark.parametrize(("other", "apart"), [(0.6, False), (0.3, True)])
def test_shares_of_a_row_are_called_apart_only_where_their_intervals_are(other, apart, plan):
    given = [ROWS[0], share(POSTERIOR, "semont", other), ROWS[11]]
    text = say_first_choice(read_first_choice(table("first_choice", given, POPULATION), plan))
    assert text.startswith("For 1 of 2 variants")
    assert "for the others it cannot tell yet" in text
    assert ("do not overlap" in text) is apart
    assert ("does not show why" in text) is apart


@pytest.mark.parametrize("given", [[], ROWS[6:8], ROWS[11:]])
def test_without_a_number_there_is_no_matrix_and_a_sentence(given, plan):
    read = read_first_choice(table("first_choice", given, POPULATION) if given else {}, plan)
    assert tabulate_first_choice(read, plan) is None
    assert "cannot tell yet" in say_first_choice(read)
