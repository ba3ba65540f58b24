"""The technical report: every number or its status is there, no site can be read from it,
and texts from outside stay texts."""

import re
from html.parser import HTMLParser
from itertools import pairwise

import pandas as pd
import pytest

from pipeline.reports.render import TEMPLATES, render_page
from pipeline.reports.technical.checklist import NO, RECORD, STROBE, TARGET
from pipeline.reports.technical.report import SECTIONS, compose_technical
from pipeline.reports.technical.terms import (
    write_number,
)
from schemas import codes
from schemas.declared import PLAN
from schemas.quantities import Undeclared
from tests.contrast import contrast
from tests.pool_of_estimates import build_estimates, make_table

PLAN_FILES = {"study.yaml": "seed: 1 # <b>bold</b>"}
SITES = ["S01", "S02", "S03", "S104"]


def build_special() -> dict[str, pd.DataFrame]:
    """Rows for each special view, and an analysis that nobody described."""
    pairs = [
        row | {"stratum": stratum, "n_episodes": 120, "n_events": 60, "n_sites": 9}
        for stratum in ("all", "variant=posterior_long_arm")
        for row in (
            {"term": "risk_repeat_day_30", "estimate": 0.611, "lower": 0.5, "upper": 0.7},
            {"term": "naive_risk_repeat_day_30", "estimate": 0.522, "lower": 0.4, "upper": 0.6},
            {
                "term": "risk_ratio_day_30",
                "estimate": 1.17,
                "lower": 0.8,
                "upper": 1.6,
                "comparison": "repeat",
            },
            {
                "term": "risk_ratio_day_7",
                "status": "not_converged",
                "note": "the gradient is not zero",
            },
            {"term": "smd_before:sex=male", "estimate": 0.313},
            {"term": "smd_after:sex=male", "estimate": -0.021},
            {"term": "smd_after:site=S104", "estimate": 0.04},
            {"term": "weight_max", "estimate": 4.56},
        )
    ]
    cells = [
        {"term": f"canal:recorded={a},adjudicated={b}", "estimate": n, "n_episodes": n}
        for a, b, n in (
            ("posterior", "posterior", 310),
            ("posterior", "lateral", 14),
            ("lateral", "posterior", 21),
        )
    ]
    cells.append(
        {
            "term": "canal:recorded=lateral,adjudicated=lateral",
            "status": "suppressed",
            "note": "hidden",
        }
    )
    cells.append({"term": "canal_kappa", "estimate": 0.717, "lower": 0.61, "upper": 0.82})
    cells += [
        {
            "stratum": f"site={site}",
            "term": "canal_agreement",
            "estimate": 0.8123 + k / 100,
            "n_episodes": 30 + k,
        }
        for k, site in enumerate(SITES)
    ]
    reasons = [
        {
            "stratum": f"view={view},reason=technique",
            "estimate": share,
            "n_episodes": 300,
            "n_events": events,
        }
        for view, share, events in (("at_the_time", 0.222, 67), ("in_hindsight", 0.244, 73))
    ]
    planted = [
        {"stratum": "planted=posterior_long", "term": f"canal:read={canal}", "estimate": n}
        for canal, n in (("posterior", 441), ("unknown", 33))
    ]
    planted.append(
        {
            "stratum": "planted=posterior_long",
            "term": "canal_recovered",
            "estimate": 0.991,
            "lower": 0.97,
            "upper": 1,
        }
    )
    varied = [
        {
            "stratum": f"variation={name}",
            "term": "resolved_by_day_7",
            "estimate": share,
            "lower": 0.5,
            "upper": 0.7,
        }
        for name, share in (
            ("primary", 0.578),
            ("endpoint_strict", 0.542),
            ("without_one_site,least", 0.533),
        )
    ]
    spread = [
        {"term": "resolved_by_day_7_tau2", "estimate": 0.0432, "note": "without S02 and S104"}
    ]
    tables = {
        "second_line": pairs,
        "diagnosis_agreement": cells,
        "failure_reasons": reasons,
        "planted_variants": planted,
        "sensitivity": varied,
        "site_pooling": spread,
        "site_monitoring": [
            {
                "term": "sites_large_enough",
                "estimate": 0.4567,
                "note": "<script>alert(1)</script> & co",
            }
        ],
    }
    return {
        name: make_table(rows, analysis=name, population="positional")
        for name, rows in tables.items()
    }


@pytest.fixture(scope="module")
def estimates(plan):
    return build_estimates(plan) | build_special()


@pytest.fixture(scope="module")
def page(estimates, plan):
    return render(estimates, plan)


def render(estimates, plan, used=None) -> str:
    return render_page(
        "technical.html.j2",
        compose_technical(estimates, plan, PLAN_FILES, used or {"code": "3f1c"}),
    )


def say(page: str) -> str:
    """The words of the page as they are read, without the script."""
    return re.sub(
        r"\s+",
        " ",
        re.sub(r"<[^>]+>", " ", re.sub(r"<(script|style)>.*?</\1>", " ", page, flags=re.S)),
    )


def section(page: str, name: str) -> str:
    return say(page.split(f'<section id="{name}"')[1].split("</section>")[0])


class Outline(HTMLParser):
    """What a reader that does not see the page goes by."""

    def __init__(self, page: str):
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))


def test_every_analysis_has_its_section_in_the_order_of_the_plan(page, estimates):
    named = re.findall(r'<section id="(\w+)" class="analysis"', page)
    assert named == [name for name in PLAN if name in estimates]


def test_what_is_not_declared_is_not_left_out_in_silence(estimates, plan):
    new = make_table(
        [{"term": "a_new_number", "estimate": 0.5}],
        analysis="something_new",
        population="positional",
    )
    with pytest.raises(Undeclared, match="something_new"):
        compose_technical(estimates | {"something_new": new}, plan, {}, {})
    slip = estimates["pool_description"].assign(term="shares")
    with pytest.raises(Undeclared, match="shares"):
        compose_technical(estimates | {"pool_description": slip}, plan, {}, {})


def test_numbers_of_plain_rows_are_all_there(page, estimates):
    for name in ("pool_description", "non_positional", "site_monitoring"):
        text = section(page, name)
        rows = estimates[name]
        for number in rows.loc[rows["status"].eq("ok"), "estimate"]:
            assert f" {write_number(number)} " in text


def test_special_views_show_numbers_beside_each_other(page):
    second = section(page, "second_line")
    assert re.search(r"0\.611 \(0\.500 to 0\.700\) 0\.522 \(0\.400 to 0\.600\)", second)
    assert re.search(r"Sex: male −0\.021 0\.313", second)
    assert "4.56" in second
    assert re.search(
        r"Posterior 310 14 .*Lateral 21 suppressed", section(page, "diagnosis_agreement")
    )
    assert "Cohen's kappa: 0.717 (0.610 to 0.820)" in section(page, "diagnosis_agreement").replace(
        "&#39;", "'"
    )
    assert re.search(r"0\.222 0\.244 300 67 / 73", section(page, "failure_reasons"))
    assert re.search(r"Posterior long 441 33", section(page, "planted_variants"))
    assert "0.991" in section(page, "planted_variants")
    assert "Without one site, least 0.533" in section(page, "sensitivity")
    assert "0.043" in section(page, "variance")
    assert "4.56" in section(page, "diagnostics")


def test_no_status_is_silent(page, estimates):
    contents = section(page, "contents")
    for name, rows in estimates.items():
        counts = rows["status"].value_counts()
        line = " ".join(f"{counts.get(status, 0):,}" for status in codes.ESTIMATE_STATUS)
        assert f"{line} {len(rows):,}" in contents, name
    assert "not_converged: the gradient is not zero" in section(page, "second_line")
    withheld = section(page, "withheld")
    for rows in estimates.values():
        for status, note in (
            rows.loc[rows["status"].ne("ok"), ["status", "note"]]
            .drop_duplicates()
            .itertuples(index=False)
        ):
            assert f"{status}: {note}" in withheld


def test_withheld_numbers_are_all_counted(estimates, plan):
    table = compose_technical(estimates, plan, PLAN_FILES, {})["withheld"]
    counted = sum(int(row["cells"][0]) for group in table["groups"] for row in group["rows"])
    assert counted == sum(int(rows["status"].ne("ok").sum()) for rows in estimates.values())


def test_no_site_can_be_read(page, estimates):
    words = say(page)
    for site in SITES:
        assert site not in page
    for number in estimates["diagnosis_agreement"].loc[
        estimates["diagnosis_agreement"]["stratum"].str.startswith("site="), "n_episodes"
    ]:
        assert f" {number} " not in section(page, "diagnosis_agreement")
    assert re.search(r"Share in agreement, canal 4 0 0\.812 0\.827 0\.842", words)


def test_few_sites_have_no_range(estimates, plan):
    too_few = estimates["diagnosis_agreement"]
    too_few = too_few[too_few["stratum"].isin(["all", "site=S01", "site=S02"])]
    text = section(render({"diagnosis_agreement": too_few}, plan), "diagnosis_agreement")
    assert "0.812" not in text
    assert "Share in agreement, canal 2 0" in text


def test_curves_are_condensed_and_say_so(page, estimates):
    curves = estimates["resolution_curves"]
    dense = curves["term"].str.startswith("unresolved_").sum()
    assert f"{dense:,} rows are only there" in section(page, "resolution_curves")
    assert (
        page.count("at risk on day") + page.count("At risk on day")
        >= curves["term"].str.startswith("at_risk").sum()
    )


def test_texts_from_outside_are_escaped(estimates, plan):
    study = plan.study.model_copy(update={"title": "<script>a</script>"})
    page = render(estimates, plan.model_copy(update={"study": study}), {"<i>": "<u>"})
    assert page.count("<script") == 1  # our own filter
    assert "&lt;script&gt;alert(1)" in page
    assert "<u>" not in page
    assert "<b>" not in page


def test_without_any_estimate_there_is_still_a_page(plan):
    page = render({"recurrence": make_table([], analysis="recurrence")}, plan)
    assert "Not in this run" in page
    assert "No number is withheld" in page


def test_all_hidden(estimates, plan):
    gone = {
        name: rows.assign(
            estimate=pd.NA,
            std_error=pd.NA,
            lower=pd.NA,
            upper=pd.NA,
            n_episodes=pd.NA,
            n_events=pd.NA,
            n_sites=pd.NA,
            status="suppressed",
            note="hidden",
        )
        for name, rows in estimates.items()
    }
    assert render(gone, plan).count("suppressed: hidden") > 100


def test_the_page_is_complete_without_its_script(page):
    tags = Outline(page).tags
    assert [attrs.get("id") for _, attrs in tags if "hidden" in attrs] == ["filter"]
    assert "display: none" not in re.sub(
        r"@media print.*", "", (TEMPLATES / "technical.css").read_text("utf-8"), flags=re.S
    ).replace(".filter[hidden] { display: none; }", "")


def test_the_page_can_be_read_without_seeing_it(page, estimates):
    tags = Outline(page).tags
    ids = [attrs["id"] for _, attrs in tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    levels = [int(tag[1]) for tag, _ in tags if tag in ("h1", "h2", "h3")]
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert all("scope" in attrs for tag, attrs in tags if tag == "th")
    nearby = {"committee.html"} | {f"../estimates/{name}.csv" for name in estimates}
    for tag, attrs in tags:
        for name in ("aria-labelledby", "for"):
            assert attrs.get(name, ids[0]) in ids
        if "href" in attrs:
            assert attrs["href"] in nearby or attrs["href"].removeprefix("#") in ids
        assert "src" not in attrs
        assert tag not in ("link", "img", "iframe")
        assert tag != "svg" or attrs["aria-hidden"] == "true"


def test_each_row_has_a_cell_in_each_column(page):
    for table in re.findall(r"<table class=\"numbers\">.*?</table>", page, re.S):
        columns = len(re.findall(r"<th scope=\"col\"", table))
        for row in re.findall(r"<tr class=\"row\".*?</tr>", table, re.S):
            assert len(re.findall(r"<t[dh][ >]", row)) == columns


def test_the_page_claims_no_more_than_it_can(page):
    words = say(page.split("<main>")[1]).lower()
    assert not re.search(r"\bsignifican|\bprove|\bsuperior|\bthanks to|\bbetter than", words)
    assert "no advice for one patient" in words


def test_colors_can_be_read_by_day_and_by_night():
    """At least 4.5 between text and its ground: W3C Web Content Accessibility Guidelines 2.2,
    1.4.3."""
    night = dict(
        re.findall(
            r"--([a-z-]+): (#[0-9a-f]{6});",
            (TEMPLATES / "style.css").read_text("utf-8").partition("color-scheme: dark)")[2],
        )
    )
    for text in ("ink", "muted", "strong", "apart"):
        assert all(contrast(night[text], night[ground]) >= 4.5 for ground in ("ground", "tint"))


def test_checklists_answer_only_from_what_is_there(estimates, plan):
    for items in (STROBE, RECORD, TARGET):
        assert len({item.number for item in items}) == len(items)
    for items, last in ((STROBE, 22), (TARGET, 21)):
        whole = {int(re.match(r"\d+", item.number)[0]) for item in items}
        assert whole == set(range(1, last + 1))
    places = {place for item in (*STROBE, *RECORD, *TARGET) for place in item.places}
    assert places <= SECTIONS | set(PLAN) | {"committee"}
    full = compose_technical(estimates, plan, PLAN_FILES, {})["checklists"][0]["items"]
    without = compose_technical({}, plan, PLAN_FILES, {})["checklists"][0]["items"]
    answer = {
        name: {item["number"]: item["answer"] for item in items}
        for name, items in (("full", full), ("empty", without))
    }
    assert answer["full"]["12e"] == "answered"
    assert answer["empty"]["12e"] == NO
    assert answer["full"]["22"] == NO


def test_the_order_of_rows_changes_no_count(estimates, plan):
    turned = {name: rows.iloc[::-1].reset_index(drop=True) for name, rows in estimates.items()}
    assert (
        compose_technical(turned, plan, PLAN_FILES, {})["contents"]
        == compose_technical(estimates, plan, PLAN_FILES, {})["contents"]
    )


def test_same_estimates_same_bytes(estimates, page, plan):
    assert render(dict(reversed(list(estimates.items()))), plan) == page
