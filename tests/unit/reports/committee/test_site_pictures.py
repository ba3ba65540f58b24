"""Pictures of sites: numbers in words, no names, and none where they would tell too little."""

import pytest

from pipeline.reports.committee.site_pictures import picture_forest, picture_funnel, read_ratios
from pipeline.reports.readings import Readings, read_estimates
from pipeline.statistics.tidy import withhold
from tests.unit.reports.committee.sections import MANY, number, table

RATIOS = {"A": (1.2, 0.9, 1.6), "B": (0.8, 0.6, 1.07), "C": (1.0, 0.5, 2.0)}


def read(ratios: dict, *more: dict) -> Readings:
    rows = [
        number("rate_ratio", ratio, f"site={letter}", lower=low, upper=high)
        for letter, (ratio, low, high) in ratios.items()
    ]
    return read_estimates(table("site_monitoring", [*rows, *more]), "site_monitoring", "positional")


def test_ratios_are_read_from_the_least_and_need_as_many_sites_as_the_plan_says(plan):
    assert [site.ratio for site in read_ratios(read(RATIOS), plan)] == [0.8, 1.0, 1.2]
    few = read({"A": RATIOS["A"], "B": RATIOS["B"]})
    assert read_ratios(few, plan) == []
    assert picture_funnel(few, plan, title="t", noun="site") is None
    assert picture_forest(few, plan, title="t") is None


def test_a_site_without_a_number_is_no_dot(plan):
    hidden = withhold("rate_ratio", "suppressed", "hidden", stratum="site=D", **MANY)
    assert len(read_ratios(read(RATIOS, hidden), plan)) == 3
    rounded_away = read(RATIOS | {"D": (0.01, 0.0, 0.4)})  # a lower limit that is rounded to 0
    assert len(read_ratios(rounded_away, plan)) == 3


def test_pictures_say_their_numbers_and_name_no_site(plan):
    further = number("rate_ratio_further_site", 1.01, lower=0.82, upper=1.27)
    forest = picture_forest(read(RATIOS, further), plan, title="t")
    funnel = picture_funnel(read(RATIOS, further), plan, title="t", noun="clinic")
    for picture in (forest, funnel):
        assert "0.80 (0.60 to 1.07); 1.00 (0.50 to 2.00); 1.20 (0.90 to 1.60)" in picture["alt"]
        assert not any(f">{letter}<" in picture["svg"] for letter in RATIOS)
        assert "none of them named" in picture["caption"]
    assert "from 0.82 to 1.27" in forest["alt"]
    assert "prediction interval" in forest["caption"]
    assert "site" not in funnel["caption"]
    without = picture_forest(read(RATIOS), plan, title="t")
    assert "further" not in without["alt"] + without["caption"]


@pytest.mark.parametrize("order", [["A", "B", "C"], ["C", "A", "B"]])
def test_letters_do_not_show_in_the_picture(plan, order):
    shuffled = {letter: RATIOS[letter] for letter in order}
    same = dict(zip(order, RATIOS.values(), strict=True))
    first, second = (
        picture_funnel(read(ratios), plan, title="t", noun="site") for ratios in (shuffled, same)
    )
    assert first == second
