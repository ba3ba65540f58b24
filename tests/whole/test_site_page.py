"""The sites' own pages of the demonstration pool: there, in place,
and wide enough for a telephone."""

import html
import re

import duckdb
import pandas as pd
import pytest

from tests.whole.test_page_in_browser import BROWSER, run_browser


def test_every_site_has_its_page_and_its_list(pool_run):
    sites = pool_run[0] / "results" / "sites"
    stored = {path.name for path in (pool_run[0] / "results" / "rows").iterdir()}
    assert {path.name for path in sites.iterdir()} == stored
    for folder in sites.iterdir():
        page = (folder / "report.html").read_text("utf-8")
        assert f"For the eyes of site {folder.name} only" in page
        others = stored - {folder.name}
        assert not any(other in page for other in others)
        differing = pd.read_csv(folder / "disagreements.csv")
        assert differing["site"].isin([folder.name]).all()


COUNTS = """
    select count(*) as stored,
           count(*) filter (a."positional" = 'yes') as positional,
           count(*) filter (a."positional" = 'probable_non_positional') as apart,
           count(*) filter (a."positional" = 'undetermined') as undetermined,
           count(*) filter (a."positional" = 'yes' and s.status <> 'untreated') as treated,
           count(*) filter (a."positional" = 'yes' and s.status in ('resolved', 'unresolved'))
               as followed,
           count(*) filter (
               a."positional" = 'yes' and s.status <> 'untreated' and (
                   exists (
                       from examination e
                       where e.site = a.site and e.episode_id = a.episode_id
                       and e.day between 1 and 30
                   ) or exists (
                       from followup f
                       where f.site = a.site and f.episode_id = a.episode_id
                       and f.day between 1 and 30 and f.positional_symptoms in ('yes', 'no')
                   )
               )
           ) as reassessed
    from adjudication a left join spell s
    on s.site = a.site and s.episode_id = a.episode_id and s.endpoint = 'objective' and s.spell = 1
    where a.site = ?
"""
ROWS = {  # what a row begins with: whom it counts, and out of whom
    "Positional vertigo": ("positional", "stored"),
    "Probably not positional vertigo": ("apart", "stored"),
    "Undetermined": ("undetermined", "stored"),
    "Tested again,": ("followed", "treated"),
    "Tested again or asked about symptoms": ("reassessed", "treated"),
    "First maneuver": (None, "treated"),
}


def test_each_count_is_that_of_the_warehouse_under_its_noun(pool_run):
    results = pool_run[0] / "results"
    warehouse = duckdb.connect(str(results / "warehouse.duckdb"), read_only=True)
    for folder in (results / "sites").iterdir():
        known = warehouse.execute(COUNTS, [folder.name]).df().iloc[0].astype(int).to_dict()
        page = (folder / "report.html").read_text("utf-8").replace("\u00a0", " ")
        assert (f"{known['stored']} stored episodes of delivery" in page) == (known["stored"] > 0)
        rows = re.findall(
            r'<th scope="row">([^<]+)</th><td>[^<]*\(([\d,]+) of ([\d,]+)\)</td>', page
        )
        named = {start for start in ROWS for name, _, _ in rows if name.startswith(start)}
        assert named == (set(ROWS) if known["stored"] else set())
        for name, part, whole in rows:
            counted, base = next(
                (ROWS[start] for start in ROWS if name.startswith(start)), (None, None)
            )
            assert base is None or int(whole.replace(",", "")) == known[base], (folder.name, name)
            assert counted is None or int(part.replace(",", "")) == known[counted], (
                folder.name,
                name,
            )
        differing = pd.read_csv(folder / "disagreements.csv")["episode_id"].nunique()
        assert f"In {differing} episode" in page or not differing


@pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")
@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_never_scrolls_sideways(pool_run, width, tmp_path):
    page = (pool_run[0] / "results" / "sites" / "S03" / "report.html").read_text("utf-8")
    frame = (
        f'<iframe id="page" style="width:{width}px;height:1500px;border:0" '
        f'srcdoc="{html.escape(page)}"></iframe>'
    )
    measure = (
        "document.body.innerHTML = "
        "document.getElementById('page').contentDocument.scrollingElement.scrollWidth"
    )
    holder = tmp_path / "holder.html"
    head = "<!doctype html><meta charset='utf-8'><body style='margin:0'>"
    holder.write_text(f"{head}{frame}<script>onload = () => {{{measure}}}</script>", "utf-8")
    assert f">{width}</body>" in run_browser(
        f"--window-size={max(width, 500)},1500", "--dump-dom", holder.as_uri()
    )
