"""Variant by variant: what belongs together stands together, and nothing of another variant."""

import pytest

from pipeline.reports.committee.matrix import read_first_choice
from pipeline.reports.committee.order_readings import read_orders
from pipeline.reports.committee.resolved import read_course
from pipeline.reports.committee.variants import describe_variants
from tests.pool_of_sections import build_everything


@pytest.fixture(scope="module")
def variants(plan):
    estimates = build_everything(plan)
    rows, orders = read_first_choice(estimates, plan), read_orders(estimates, plan)
    described = describe_variants(rows, orders, read_course(estimates, plan), estimates, plan)
    return {variant["key"].removeprefix("variant-"): variant for variant in described}


def test_a_variant_has_its_maneuvers_its_curve_and_its_orders(variants):
    posterior = variants["posterior-long-arm"]
    assert [row["name"] for row in posterior["maneuvers"]] == ["Epley", "Semont"]
    assert posterior["rest"] == "No number: Gans."
    assert posterior["figure"]["name"] == "figure-curve-canal-posterior-arm-long"
    names = [row["name"] for row in posterior["orders"]["groups"][0]["rows"]]
    assert names[0] == "Epley again until negative (usual)"
    assert len(names) == 7  # the usual order, and three with their differences


def test_what_is_not_known_is_said_in_its_place(variants):
    lateral = variants["lateral-geotropic"]
    assert lateral["orders"] is None
    assert "cannot tell yet" in lateral["no_orders"]


def test_a_variant_named_by_the_response_has_neither_shares_nor_a_curve(variants):
    circular = variants["short-arm-by-treatment-response"]
    assert circular["maneuvers"] == []
    assert circular["figure"] is None
    assert circular["rest"].startswith("Circular")


def test_a_variant_that_is_defined_more_narrowly_than_any_curve_has_none(plan):
    estimates = build_everything(plan)
    narrow = "short_arm_by_nystagmus_on_sitting_up"
    rows = estimates["first_choice"].copy()
    rows["stratum"] = rows["stratum"].str.replace("several_canals", narrow)
    estimates["first_choice"] = rows
    read = read_first_choice(estimates, plan)
    described = describe_variants(read, [], read_course(estimates, plan), estimates, plan)
    variant = next(v for v in described if v["key"].endswith("nystagmus-on-sitting-up"))
    assert variant["figure"] is None
    assert "no curve of this variant" in variant["no_curve"]
