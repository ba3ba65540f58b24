"""Clinics are compared whenever they test; what cannot be told has its reason."""

from pathlib import Path

import pandas as pd
import pytest

from pipeline.reports.committee.sites import WARNING, describe_sites
from pipeline.statistics.tidy import withhold
from tests.recovery.habits import SITES
from tests.unit.reports.committee.sections import MANY, number, table, words


def pool(outside: int, extreme: int) -> dict:
    return table(
        "site_monitoring",
        [
            number("sites_large_enough", 9),
            number("sites_outside_95", outside),
            number("sites_outside_998", extreme),
            number("rate_ratio_further_site", 1.01, lower=0.8, upper=1.27),
        ],
    )


@pytest.mark.parametrize(
    ("outside", "extreme", "sentence"),
    [
        (0, 0, "none lies outside"),
        (1, 0, "1 lies outside the limits that one in twenty equal clinics would pass by chance"),
        (3, 2, "3 lie outside"),
    ],
)
def test_clinics_outside_the_limits_are_counted(plan, outside, extreme, sentence):
    section = describe_sites(pool(outside, extreme), plan)
    assert sentence in section["finding"]
    assert ("and 2 outside those" in section["finding"]) == (extreme == 2)
    assert "between 0.80 and 1.27 times as fast" in words(section)
    assert "none is judged by when it tests" in words(section)


def test_where_the_model_predicts_what_was_seen_is_counted(plan):
    fit = [
        number(f"{outcome}_sites_{which}", count)
        for outcome, counts in (("tests", (9, 2)), ("positive_tests", (7, 0)))
        for which, count in zip(("judged", "beyond_chance"), counts, strict=True)
    ]
    section = describe_sites(pool(0, 0) | table("joint_prediction", fit), plan)
    assert "when 7 of 9 clinics test and what tests show at 7 of 7 clinics as" in words(section)
    assert "report" not in words(section)
    assert "predicts" not in words(describe_sites(pool(0, 0), plan))


def test_clinics_that_cannot_be_compared_have_the_reason(plan):
    few = withhold(
        "sites_outside_95", "not_identified", "fewer than 3 sites", stratum="all", **MANY
    )
    section = describe_sites(table("site_monitoring", [few]), plan)
    assert section["finding"] == ""
    assert "not compared" in words(section)


def test_what_is_said_of_simulated_clinics_is_what_the_recovery_table_says():
    table_of_model = Path(__file__).parents[3] / "recovery" / "tests_as_evidence.csv"
    recovered = pd.read_csv(table_of_model, comment="#").set_index(["scenario", "term"])
    equal = recovered.loc["equal_sites"]
    outside = (equal["truth"] + equal["bias"]) / SITES
    assert f"{100 * outside['sites_outside_95']:.0f} in 100" in WARNING
    assert outside["sites_outside_998"] == 0
    assert "none outside the second" in WARNING
