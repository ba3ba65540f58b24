"""Totals against rows: published figures that do not close are questioned,
those that close are not."""

import pandas as pd
import pytest

from pipeline.intake.receive import receive_delivery
from pipeline.intake.totals import COUNTS, find_differing_totals
from schemas.delivery import Submission
from tests.unit.conftest import build_table
from tests.unit.intake.conftest import places_of, rules_of, to_grids, write_csv


def build(
    episodes: int, patients: int | None = None, treated=0, followed=0, recurrences=0, canals=()
) -> dict[str, pd.DataFrame]:
    """Handed-in rows with these counts; the first episodes are the treated,
    followed and recurring ones."""
    names = [f"EP-{n:04d}" for n in range(episodes)]
    canals = [*canals, *["multiple"] * (episodes - len(canals))]
    people = patients or episodes
    return {
        "episodes": build_table(
            "episodes",
            [
                {"episode_id": name, "patient_id": f"PT-{n % people}", "recorded_canal": canal}
                for n, (name, canal) in enumerate(zip(names, canals, strict=True))
            ],
        ),
        "examinations": build_table(
            "examinations",
            [{"episode_id": name} for name in names]
            + [
                {"episode_id": name, "examination": 2, "after_attempt": 1}
                for name in names[:followed]
            ],
        ),
        "treatments": build_table("treatments", [{"episode_id": name} for name in names[:treated]]),
        "followups": build_table(
            "followups",
            [{"episode_id": name, "recurrence_reported": "yes"} for name in names[:recurrences]],
        ),
    }


NOT_CLOSED = [
    # 820 given as 77 % of 1428 cases is 77 % of the 1067 patients: Acta Otorhinolaryngol Ital 2023,
    # series of 20 years (Pisa)
    ("counted_patients", 1428, {"episodes": 1428, "patients": 1067}, "The rows show 361 fewer."),
    # 51 of 70, 46 of 67 and 38 of 72 given as 76.1, 71.9 and 53.5 %: of 67, 64 and 71. Kim HA et
    # al. J Neurol 2017;264:848-855
    (
        "counted_followed",
        209,
        {"episodes": 209, "treated": 209, "followed": 202},
        "The rows show 7 fewer.",
    ),
    # 15 of 41 and 9 of 31 given as 36.6 and 35.5 %, arms exchanged: 35.5 % of 31 are 11.
    # Amor-Dorado JC et al. Otol Neurotol 2012;33:1401-1407
    ("counted_recurrences", 24, {"episodes": 72, "recurrences": 26}, "The rows show 2 more."),
    # 18 of 42 given as 24 %, which are 10; with 12 further ones 30 recurred. Kim JY et al. Res
    # Vestib Sci 2015;14:83-86
    ("counted_recurrences", 22, {"episodes": 71, "recurrences": 30}, "The rows show 8 more."),
    # 78 of 121 recurrences given as 54.5 %, which are 66: a prospective cohort of 548 patients
    # (author not known here)
    ("counted_recurrences", 66, {"episodes": 121, "recurrences": 78}, "The rows show 12 more."),
]


@pytest.mark.parametrize(("field", "stated", "counts", "also"), NOT_CLOSED)
def test_published_figures_that_do_not_close_are_questioned(field, stated, counts, also):
    rows = build(**counts)
    (problem,) = find_differing_totals({field: stated}, rows)
    assert (problem.rule, problem.table, problem.column, problem.also) == (
        "total_differs",
        "submission",
        field,
        also,
    )
    assert problem.severity == "warn"
    right = stated + int(also.split()[3].replace(",", "")) * (1 if "more" in also else -1)
    assert find_differing_totals({field: right}, rows) == []


def test_a_published_table_that_closes_is_not_questioned():
    # Wu Y et al. Front Neurol 2022;13:1049828: 677 posterior, 327 lateral and 95 anterior canals
    # are 1099
    canals = ["posterior"] * 677 + ["lateral"] * 327 + ["anterior"] * 95
    rows = build(1099, canals=canals)
    fields = {
        "counted_episodes": 1099,
        "counted_posterior": 677,
        "counted_lateral": 327,
        "counted_anterior": 95,
    }
    assert find_differing_totals(fields, rows) == []
    assert [p.column for p in find_differing_totals(fields | {"counted_lateral": 326}, rows)] == [
        "counted_lateral"
    ]


def test_a_contact_on_the_day_of_the_first_attempt_is_no_followup():
    rows = build(3, treated=2)
    rows["followups"] = build_table(
        "followups", [{"episode_id": f"EP-000{n}", "day": day} for n, day in enumerate((0, 1, 1))]
    )
    assert COUNTS["counted_followed"](rows) == 1  # the third episode was never treated


def test_totals_are_fields_of_the_submission_table_that_may_be_left_out():
    assert set(COUNTS) == {field for field in Submission.describe() if field.startswith("counted_")}
    assert not any(Submission.describe()[field].filled for field in COUNTS)
    assert (
        find_differing_totals({}, build(2))
        == find_differing_totals(dict.fromkeys(COUNTS), build(2))
        == []
    )


def test_a_delivery_is_stored_and_asked_which_is_right(folder, plan, tables):
    right = {
        "counted_episodes": 3,
        "counted_patients": 2,
        "counted_treated": 2,
        "counted_followed": 2,
    }
    tables["submission"] |= right | {
        "counted_recurrences": 0,
        "counted_posterior": 3,
        "counted_lateral": 0,
        "counted_anterior": 0,
    }
    clean = receive_delivery(write_csv(folder, to_grids(tables)), plan)
    assert clean.accepted
    assert rules_of(clean) == set()
    tables["submission"] |= {"counted_patients": 3, "counted_treated": 3}
    asked = receive_delivery(write_csv(folder, to_grids(tables)), plan)
    assert asked.accepted
    assert places_of(asked, "total_differs") == [
        ("submission", None, field) for field in ("counted_patients", "counted_treated")
    ]
    problems = asked.tables["problems"]
    assert problems["message"].str.contains("The rows show 1 fewer").all()
    assert problems["how_to_fix"].str.contains("Which of the two is right").all()
    assert problems["value"].isna().all()
