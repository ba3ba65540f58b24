"""Courses after first maneuvers: as they are beside standardised, and why one is missing."""

from pipeline.reports.technical.courses import view_courses
from pipeline.statistics.tidy import state, tidy_estimates, withhold

TERM = "resolved_by_day_7"


def show(plan, *rows: dict) -> list[dict]:
    shared = {"population": "positional", "endpoint": "objective", "method": "m"}
    tables, left = view_courses(
        tidy_estimates(list(rows), analysis="first_courses", **shared), plan
    )
    assert left.empty
    return tables


def tell(term: str, number: float, family: str = "epley") -> dict:
    stratum = f"variant=posterior_long_arm,family={family}"
    return state(term, number, lower=number - 0.1, upper=number + 0.1, stratum=stratum)


def test_both_numbers_of_a_cell_stand_side_by_side(plan):
    rows = [tell(TERM, 0.5), tell(f"standardised_{TERM}", 0.6), tell(TERM, 0.4, "semont")]
    (table,) = show(plan, *rows)
    (group,) = table["groups"]
    both, alone = group["rows"]
    assert [float(cell.partition(" ")[0]) for cell in both["cells"]] == [0.5, 0.6]
    assert alone["cells"][1] == "–"
    assert both["picture"] is not None
    assert (both["label"], alone["label"]) == ("Epley", "Semont")


def test_a_cell_without_a_number_says_why(plan):
    stratum = "variant=posterior_long_arm,family=gans"
    few = withhold(TERM, "too_few", "fewer than 11 episodes", stratum=stratum)
    (table,) = show(plan, few, tell("mean_days_with_vertigo", 5.0))[:1]
    (row,) = table["groups"][0]["rows"]
    assert row["cells"][0] == "too few"
    assert row["picture"] is None
    assert "fewer than 11 episodes" in row["status"]
