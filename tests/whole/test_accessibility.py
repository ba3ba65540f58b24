"""Every page of the demonstration pool passes an automatic check of the Web Content Accessibility
Guidelines, without a serious finding."""

import html
import json
import re
from importlib.resources import files

import pytest

from tests.whole.test_page_in_browser import BROWSER, let_in, run_browser

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

PAGES = (
    "reports/committee.html",
    "reports/technical.html",
    "sites/S03/report.html",
    "intake/S06/001/report.html",
)
GRAVE = ("serious", "critical")
ASK = """
axe.run(document, {resultTypes: ['violations']}).then(found => {
  const told = found.violations.map(v =>
    [v.impact, v.id, v.nodes.slice(0, 3).map(node => node.html.slice(0, 120))]);
  document.body.innerHTML = '<pre></pre>';
  document.querySelector('pre').textContent = JSON.stringify({told, passed: found.passes.length});
});
"""


def check(page: str, folder) -> dict:
    """What the checks find on a page: violations as impact, rule and places,
    and how many rules it passed."""
    script = files("axe_core_python").joinpath("axe.min.js").read_text("utf-8")
    asked = let_in(page).replace(
        "</body>", f"<script>{script}</script><script>{ASK}</script></body>"
    )
    source = folder / "page.html"
    source.write_text(asked, "utf-8")
    seen = run_browser(
        "--window-size=1280,2000", "--virtual-time-budget=60000", "--dump-dom", source.as_uri()
    )
    return json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", seen, re.S)[1]))


@pytest.mark.parametrize("name", PAGES)
def test_no_serious_finding(pool_run, name, tmp_path):
    result = check((pool_run[0] / "results" / name).read_text("utf-8"), tmp_path)
    assert result["passed"] > 10
    assert [violation for violation in result["told"] if violation[0] in GRAVE] == []


def test_the_check_can_fail(tmp_path):
    page = (
        "<!doctype html><html><head><title>t</title></head><body><img src='a.png'><p "
        "style='color:#ccc'>pale</p></body></html>"
    )
    rules = {rule for _, rule, _ in check(page, tmp_path)["told"]}
    assert {"image-alt", "color-contrast", "html-has-lang"} <= rules
