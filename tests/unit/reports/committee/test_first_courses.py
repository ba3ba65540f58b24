"""The course after each first maneuver of a variant: maneuvers with a number, in the order of the
plan, and a second line had all begun so."""

from pipeline.reports.committee.first_courses import ALL_BEGUN, tabulate_courses
from tests.unit.reports.committee.sections import number, table

VARIANT = "posterior_long_arm"


def tell(term: str, family: str, value: float, reach: float) -> dict:
    stratum = f"variant={VARIANT},family={family}"
    return number(term, value, lower=value - reach, upper=value + reach, stratum=stratum)


def test_each_maneuver_has_its_days_and_what_they_would_be_had_all_begun_so(plan):
    rows = [
        tell("resolved_by_day_30", "semont", 0.8, 0.05),
        tell("mean_days_with_vertigo", "epley", 7.5, 2),
        tell("standardised_mean_days_with_vertigo", "epley", 8.5, 2),
    ]
    found = tabulate_courses(table("first_courses", rows), VARIANT, plan)
    (group,) = found["groups"]
    assert [row["name"] for row in group["rows"]] == ["Epley", ALL_BEGUN, "Semont"]
    plain = {
        row["name"]: [cell.replace("\u00a0", " ") for cell in row["cells"]] for row in group["rows"]
    }
    assert plain["Epley"][-1] == "7.5 (5.5 to 9.5)"
    assert plain[ALL_BEGUN][-1].startswith("8.5")
    assert "80" in plain["Semont"][-2]
    assert plain["Semont"][-1] == "–"
    assert len(found["columns"]) == len(plan.study.first_choice.days) + 1


def test_without_numbers_there_is_no_table(plan):
    assert tabulate_courses({}, VARIANT, plan) is None
    rows = [tell("resolved_by_day_30", "epley", 0.8, 0.05)]
    assert tabulate_courses(table("first_courses", rows), "lateral_geotropic", plan) is None
