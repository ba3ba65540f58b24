"""The technical report's pictures of sites, with their numbers in a table, none of them named."""

from pipeline.reports.technical.sites import show_sites
from tests.unit.reports.committee.sections import number, table

OTHER = {"caption": "another table"}


def test_pictures_come_with_their_numbers_in_a_table(plan):
    rows = [
        number("rate_ratio", ratio, f"site={letter}", lower=0.8 * ratio, upper=1.25 * ratio)
        for letter, ratio in (("A", 1.2), ("B", 0.8), ("C", 1.0))
    ]
    shown = show_sites(table("site_monitoring", rows), [OTHER], plan)
    assert [picture["name"] for picture in shown["pictures"]] == [
        "figure-sites-forest",
        "figure-sites-funnel",
    ]
    own, other = shown["tables"]
    assert other is OTHER
    cells = [row["cells"] for group in own["groups"] for row in group["rows"]]
    assert [float(ratio) for ratio, _ in cells] == [0.8, 1.0, 1.2]
    assert {row["label"] for group in own["groups"] for row in group["rows"]} == {"A site"}


def test_without_numbers_of_sites_there_is_neither(plan):
    few = table("site_monitoring", [number("sites_outside_95", 0)])
    assert show_sites(few, [OTHER], plan) == {"pictures": [], "tables": [OTHER]}
