"""Numbers, terms and parts as the technical report writes them."""

import pytest

from pipeline.reports.technical.terms import (
    name_part,
    name_term,
    write_limits,
    write_number,
    write_p,
)
from schemas.quantities import Undeclared


@pytest.mark.parametrize(
    ("number", "written"),
    [
        (0.0123, "0.012"),
        (0.00012, "0.000120"),
        (1.254, "1.25"),
        (12.54, "12.5"),
        (1204, "1,204"),
        (-0.5, "−0.500"),
        (0, "0"),
        (float("inf"), "∞"),
        (None, ""),
    ],
)
def test_numbers_are_written(number, written):
    assert write_number(number) == written


def test_limits_and_p_values_are_written():
    assert write_limits(0.12, None, "ok") == "0.120 to not reached"
    assert write_limits(None, None, "too_few") == ""
    assert write_limits(None, 14, "bounded") == "at most 14"
    assert write_limits(0.94, None, "bounded") == "at least 0.940"
    assert (write_p(0.0004), write_p(0.0312), write_p(None)) == ("< 0.001", "0.031", "")


def test_terms_and_parts_are_named(plan):
    assert (
        name_term("site_pooling", "all", "smoothed_by_day_7_tau2", plan)
        == "variance between sites (transformed scale): share resolved by day 7, smoothed course"
    )
    assert (
        name_term("second_line", "all", "smd_before:sex=male", plan)
        == "standardised difference before weighting: sex: male"
    )
    assert name_term("second_line", "all", "choice_over_before", plan).startswith("next: resolved")
    with pytest.raises(Undeclared):
        name_term("second_line", "all", "never_seen_before", plan)
    assert name_part("canal=posterior,site=S04", plan) == "canal: posterior canal, any one site"
