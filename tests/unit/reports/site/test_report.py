"""A site's page: only its own rows, the pool only where it tells of no few others,
and a heading only where something stayed open."""

import pandas as pd
import pytest

from pipeline.reports.readings import AboutShare, Reading
from pipeline.reports.render import render_page
from pipeline.reports.site.beside import ASKED, HIDDEN, Measure, say_pool
from pipeline.reports.site.missing import HEADINGS, find_missing
from pipeline.reports.site.records import SiteRecords, select_site
from pipeline.reports.site.report import compose_site_page, say_answer
from pipeline.statistics.tidy import state, tidy_estimates
from schemas.delivery import TABLES
from schemas.derived import DERIVED
from schemas.store import KEPT

SITE = "S01"
VERDICT = {
    "positional": "yes",
    "canal": "posterior",
    "side": "right",
    "arm": "long",
    "mechanism": "canalolithiasis",
}


def table(name: str, *rows: dict) -> pd.DataFrame:
    """Rows of a stored or derived table; what a test does not name is empty."""
    model = {**TABLES, **DERIVED, **KEPT}[name]
    columns = ["site", *(c for c in model.describe() if c != "site")]
    return pd.DataFrame([{"site": SITE, **row} for row in rows], columns=columns).astype(object)


def examined(
    test: str = "dix_hallpike", shows: bool = True, **measured: object
) -> tuple[dict, dict]:
    key = {"episode_id": "EP-1", "day": 0, "examination": 1, "test": test, "side": "right"}
    return key | measured, key | {"nystagmus": shows, "before_treatment": True}


def records_of(
    *tests: tuple[dict, dict],
    verdict: dict | None = None,
    status: str = "resolved",
    episode: dict | None = None,
    treatments: tuple[dict, ...] = (),
    scores: tuple[int, ...] = (0, 7),
    failed: bool = False,
    turns: tuple[tuple[str, str, str], ...] = (),
    site: str = SITE,
) -> SiteRecords:
    known = {"episode_id": "EP-1", "site": site}
    verdict = (
        known
        | VERDICT
        | {"certainty": "definite", "reasons_against": "", "recognised_day": pd.NA}
        | (verdict or {})
    )
    tables = {
        "episodes": table("episodes", known | (episode or {})),
        "examinations": table("examinations", *(known | handed for handed, _ in tests)),
        "findings": table("findings", *(known | rows for _, rows in tests)),
        "treatments": table("treatments", *(known | given for given in treatments)),
        "followups": table("followups", *(known | {"day": day, "dhi_total": 20} for day in scores)),
        "adjudications": table("adjudications", verdict),
        "spells": table("spells", known | {"endpoint": "objective", "spell": 1, "status": status}),
        "attempts": table("attempts"),
        "failure_reasons": table(
            "failure_reasons", *([known | {"reason": "technique"}] if failed else [])
        ),
        "planned_days": table("planned_days"),
        "turning_points": pd.DataFrame(turns, columns=["site", "episode_id", "column"]),
        "deliveries": table("deliveries", {"site": site, "delivery": "001", "is_current": True}),
        "problems": table("problems"),
        "row_counts": table("row_counts"),
    }
    return SiteRecords(site, tables)


UNKNOWN = {"mechanism": "unknown"}
TIMED, UNTIMED = examined(duration_s=20.0), examined()
LATERAL = {"canal": "lateral", "side": "unknown"}
FIRST = {"day": 0, "attempt": 1, "hold_s": 30.0, "head_turn_deg": 45.0}


@pytest.mark.parametrize(
    ("heading", "open_", "closed"),
    [
        ("not timed", records_of(UNTIMED, verdict=UNKNOWN), records_of(TIMED, verdict=UNKNOWN)),
        ("not timed", records_of(UNTIMED, verdict=UNKNOWN), records_of(UNTIMED)),
        (
            "side of a lateral canal",
            records_of(examined("supine_roll", duration_s=20.0), verdict=LATERAL),
            records_of(examined("supine_roll", duration_s=20.0, peak_spv=12.0), verdict=LATERAL),
        ),
        (
            "side of a lateral canal",
            records_of(examined("supine_roll", duration_s=20.0), verdict=LATERAL),
            records_of(examined("supine_roll", duration_s=20.0), examined("bow"), verdict=LATERAL),
        ),
        (
            "no roll test",
            records_of(examined(shows=False), verdict={"canal": "unknown"}),
            records_of(
                examined(shows=False),
                examined("supine_roll", shows=False),
                verdict={"canal": "unknown"},
            ),
        ),
        (
            "No torsion seen",
            records_of(examined(duration_s=20.0, vertical="up", torsion="none")),
            records_of(examined(duration_s=20.0, vertical="up", torsion="right")),
        ),
        (
            "on sitting up",
            records_of(examined(shows=False), verdict={"certainty": "subjective"}),
            records_of(
                examined(shows=False),
                examined("sitting_up", shows=False),
                verdict={"certainty": "subjective"},
            ),
        ),
        ("No positional test", records_of(), records_of(examined(shows=False))),
        ("Not tested again", records_of(TIMED, status="not_tested_again"), records_of(TIMED)),
        ("was set aside", records_of(TIMED, status="incomplete_record"), records_of(TIMED)),
        (
            "holds or angles",
            records_of(TIMED, treatments=(FIRST | {"hold_s": None},), failed=True),
            records_of(TIMED, treatments=(FIRST,), failed=True),
        ),
        (
            "holds or angles",
            records_of(TIMED, treatments=(FIRST | {"hold_s": None},), failed=True),
            records_of(TIMED, treatments=(FIRST | {"hold_s": None},)),
        ),
        ("fewer than two days", records_of(TIMED, scores=(0,)), records_of(TIMED)),
        ("fewer than two days", records_of(TIMED, scores=(7, 7)), records_of(TIMED)),
        (
            "without what it rests on",
            records_of(TIMED, episode={"recorded_arm": "short", "arm_basis": "not_assessed"}),
            records_of(TIMED, episode={"recorded_arm": "short", "arm_basis": "sitting_up"}),
        ),
    ],
)
def test_a_heading_counts_an_episode_only_where_something_stayed_open(heading, open_, closed):
    def named(records: SiteRecords) -> list[int]:
        return [entry["episodes"] for entry in find_missing(records) if heading in entry["open"]]

    assert named(open_) == [1]
    assert named(closed) == []


def test_torsion_that_was_not_seen_is_told_of_those_with_up_beating_nystagmus():
    up = [examined(vertical="up", torsion=torsion) for torsion in ("none", "right")]
    other = [rows | {"episode_id": "EP-2"} for rows in up[1]]
    entry = next(e for e in find_missing(records_of(up[0], other)) if "torsion" in e["open"])
    assert (entry["episodes"], entry["of"]) == (1, 2)


def test_every_heading_is_tripped_by_a_case_above():
    marks = test_a_heading_counts_an_episode_only_where_something_stayed_open.pytestmark
    tried = {case[0] for case in marks[0].args[1]}
    assert all(any(text in says for text in tried) for says, _, _ in HEADINGS)


@pytest.mark.parametrize(
    ("pool", "shown"),
    [
        (Reading(0.4, n_sites=4, status="ok"), "40 %"),
        (Reading(AboutShare(0.4), n_sites=4, status="ok"), "≈40 %"),
        (Reading(0.4, n_sites=3, status="ok"), HIDDEN),  # two others
        (Reading(n_sites=5, status="suppressed"), HIDDEN),
        (Reading(0.4, status="ok"), HIDDEN),
    ],
)
def test_the_pool_is_shown_only_where_enough_others_are_in_it(pool, shown):
    assert say_pool(Measure("share", 40, 100, pool)).replace("\u00a0", " ") == shown


def page_of(records: SiteRecords, plan) -> str:
    return render_page("site.html.j2", compose_site_page(records, {}, plan))


def test_nothing_of_another_site_is_on_the_page(plan):
    own_codes = records_of(UNTIMED, verdict=UNKNOWN)
    other = records_of(
        UNTIMED,
        verdict={"positional": "probable_non_positional", "reasons_against": "cannot_stand"},
        site="S02",
    )
    both = {
        name: pd.concat([own_codes[name], other[name].replace("EP-1", "EP-2")])
        for name in own_codes.tables
    }
    assert page_of(select_site(both, SITE), plan) == page_of(own_codes, plan)
    assert "EP-2" in page_of(select_site(both, "S02"), plan)


def test_a_site_without_an_accepted_delivery_gets_a_sentence(plan):
    records = records_of()
    records["deliveries"]["is_current"] = False
    assert "No delivery of this site has been accepted" in page_of(records, plan)


def test_differences_and_cases_apart_are_listed_by_pseudonym(plan):
    differs = records_of(TIMED, episode={"recorded_canal": "lateral", "recorded_side": "right"})
    content = compose_site_page(differs, {}, plan)
    assert [(line["episode"], line["parts"]) for line in content["differing"]] == [
        ("EP-1", "canal")
    ]
    apart = records_of(
        verdict={
            "positional": "probable_non_positional",
            "reasons_against": "cannot_stand",
            "known_day": 0,
        },
        turns=(("S01", "EP-1", "cannot_stand"), ("S01", "EP-2", "other_diagnosis")),
    )
    content = compose_site_page(apart, {}, plan)
    assert [line["turns"] for line in content["apart"]] == [["cannot_stand"]]
    assert "<code>cannot_stand</code>" in page_of(apart, plan)
    assert [
        (line["episode"], line["recognised"], line["sessions"]) for line in content["apart"]
    ] == [("EP-1", "no", 0)]
    assert content["differing"] == []


def test_what_the_guideline_asks_stands_beside_the_share_of_all(plan):
    left = examined()[0] | {"side": "left"}, examined()[1] | {"side": "left"}
    records = records_of(TIMED, left, treatments=(FIRST | {"maneuver": "epley"},))
    pool = tidy_estimates(
        [
            state("dix_hallpike_both_sides", 0.4, n_episodes=90, n_events=36, n_sites=9),
            state("treated_on_first_day", 0.9, n_episodes=90, n_events=81, n_sites=3),
        ],
        analysis="quality_measures",
        population="positional",
        stratum="all",
        method="m",
    )
    measures = compose_site_page(records, {"quality_measures": pool}, plan)["measures"]
    lines = {line["name"]: (line["own"].replace("\u00a0", " "), line["pool"]) for line in measures}
    both = lines[ASKED["dix_hallpike_both_sides"]]
    assert both[0] == "100 % (1 of 1)"
    assert both[1].replace("\u00a0", " ") == "40 %"
    assert lines[ASKED["treated_on_first_day"]][1] == HIDDEN
    assert lines[ASKED["reassessed_by_day_30"]][0] == "0 % (0 of 1)"


def test_verbs_agree_with_their_subjects():
    records = records_of(TIMED)
    one, more = (say_answer(records, n, n, []).replace("\u00a0", " ") for n in (1, 8))
    assert one.startswith(
        "1 stored episode of delivery 001 is in the pool. 1 episode is probably not"
    )
    assert "In 1 episode your diagnosis differs from" in one
    assert "8 episodes are probably not" in more
    assert "In 8 episodes your diagnosis differs from" in more
