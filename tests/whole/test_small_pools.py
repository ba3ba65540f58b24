"""Pools of which nothing can be shown, from the delivery to the pages: no number leaves,
and no sentence claims what nobody knows."""

import re

import pandas as pd
import pytest

from pipeline.analyses.plan import ANALYSES, run_analysis
from pipeline.disclosure.people import narrow_trials
from pipeline.disclosure.release import make_release
from pipeline.reports.committee.report import compose_report
from pipeline.reports.render import render_page
from pipeline.reports.technical.report import compose_technical
from pipeline.reports.typeset import typeset_report
from pipeline.warehouse import open_warehouse
from tests.pool_of_estimates import build_estimates
from tests.small_warehouse import store_deliveries
from tests.whole import test_published_life_table as life_table


def estimate_all(folder, deliveries: list, plan) -> pd.DataFrame:
    """All analyses of some deliveries, as the workflow makes them."""
    with open_warehouse(store_deliveries(deliveries, folder, plan)) as warehouse:
        # which derives everything anew, several times
        quick = [name for name in ANALYSES if name != "sensitivity"]
        return pd.concat([run_analysis(name, warehouse, plan) for name in quick], ignore_index=True)


@pytest.fixture(scope="module", params=["empty", "five at one site", "all hidden"])
def released(request, plan, tmp_path_factory):
    """The name of a pool, its estimates, and what is released of it."""
    folder, rule = tmp_path_factory.mktemp("small"), plan.study.disclosure
    if request.param == "all hidden":
        estimates, rule = (
            pd.concat(build_estimates(plan).values(), ignore_index=True),
            rule.model_copy(update={"min_cell": 10**6}),
        )
    elif request.param == "empty":
        estimates = estimate_all(folder, [], plan)
    else:
        with pytest.MonkeyPatch.context() as patch:
            few = life_table.list_patients()[:5]
            patch.setattr(life_table, "list_patients", lambda: few)
            life_table.write_patients(folder / "pool")
        estimates = estimate_all(folder, [folder / "pool" / "S01" / "001"], plan)
    return (
        request.param,
        estimates,
        make_release(estimates, rule, narrow_trials(plan.published)).rows,
    )


def by_analysis(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    return {name: rows[rows["analysis"].eq(name)] for name in ANALYSES}


def test_nobody_is_counted(released):
    name, estimates, safe = released
    pool = safe[safe["population"].ne("published")]
    assert not pool[["n_episodes", "n_events"]].gt(0).any(axis=None)
    assert pool["status"].isin(["suppressed", "bounded"]).any()  # nobody is told like a few
    if name == "five at one site":
        assert estimates.loc[estimates["population"].ne("published"), "n_episodes"].max() == 5


def test_the_committees_pages_say_that_there_is_nothing_to_show(released, plan, tmp_path):
    name, _, safe = released
    report = compose_report(by_analysis(safe), plan, {})
    page = render_page("committee.html.j2", report).split("<main>")[1].split("<footer")[0]
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page)).replace("\u00a0", " ")
    assert set(re.findall(r"[\d,.]+(?=\s%)", text)) <= {"95"}
    assert not re.search(r"\b0 (episodes|sites|had)\b|\bNone\b|\bnan\b|<NA>", text)
    assert "cannot tell how soon" in text
    if name == "five at one site":  # there are episodes, only not to be shown
        assert "No share can be given: no episodes" not in text
    assert "had to be kept apart" not in text  # whether anybody had is not told
    typeset_report("committee.typ", report, tmp_path / "committee.pdf")
    assert (tmp_path / "committee.pdf").read_bytes().startswith(b"%PDF")


def test_the_technical_report_has_a_reason_for_every_number(released, plan):
    _, _, safe = released
    content = compose_technical(by_analysis(safe), plan, {}, {})
    assert "hidden" in render_page("technical.html.j2", content)
