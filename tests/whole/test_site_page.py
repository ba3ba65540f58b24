"""The sites' own pages of the demonstration pool: there, in place, and wide enough for a telephone."""

import html

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


@pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")
@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_never_scrolls_sideways(pool_run, width, tmp_path):
    page = (pool_run[0] / "results" / "sites" / "S03" / "report.html").read_text("utf-8")
    frame = f'<iframe id="page" style="width:{width}px;height:1500px;border:0" srcdoc="{html.escape(page)}"></iframe>'
    measure = "document.body.innerHTML = document.getElementById('page').contentDocument.scrollingElement.scrollWidth"
    holder = tmp_path / "holder.html"
    holder.write_text(f"<body style='margin:0'>{frame}<script>onload = () => {{{measure}}}</script>", "utf-8")
    assert f">{width}</body>" in run_browser(f"--window-size={max(width, 500)},1500", "--dump-dom", holder.as_uri())
