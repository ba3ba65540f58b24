"""The technical report in a real browser: no sideways scroll,
and a filter that finds rows by words and by status."""

import html
import json
import re

import pytest

from pipeline.reports.render import render_page
from pipeline.reports.technical.report import compose_technical
from tests.pool_of_estimates import build_estimates
from tests.unit.reports.technical.test_report import PLAN_FILES, build_special
from tests.whole.test_page_in_browser import BROWSER, run_browser

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

MEASURE = """
const page = document.getElementById('page').contentDocument;
const rows = () => [...page.querySelectorAll('tr.row')].filter(row => !row.hidden);
const count = rows().length;
const ask = (name, value) => {
  page.getElementById(name).value = value;
  page.getElementById('filter').dispatchEvent(new Event('input'));
  return rows().map(row => row.dataset.status);
};
const seen = {
  needed: page.scrollingElement.scrollWidth, shown: !page.getElementById('filter').hidden, count,
  words: ask('words', 'kappa').length, found: page.getElementById('found').value,
  cleared: ask('words', '').length, hidden: ask('status', 'suppressed'),
};
document.body.innerHTML = '<pre></pre>';
document.querySelector('pre').textContent = JSON.stringify(seen);
"""


@pytest.fixture(scope="module")
def page(plan):
    content = compose_technical(
        build_estimates(plan) | build_special(), plan, PLAN_FILES, {"deliveries": "3f1c" * 16}
    )
    return render_page("technical.html.j2", content)


@pytest.mark.parametrize("width", [320, 390, 1280])
def test_the_page_fits_and_its_filter_finds(page, width, tmp_path):
    frame = (
        f'<iframe id="page" style="width:{width}px;height:1500px;border:0" '
        f'srcdoc="{html.escape(page)}"></iframe>'
    )
    holder = tmp_path / "holder.html"
    head = "<!doctype html><meta charset='utf-8'><body style='margin:0'>"
    holder.write_text(f"{head}{frame}<script>onload = () => {{{MEASURE}}}</script>", "utf-8")
    dumped = run_browser(f"--window-size={max(width, 500)},1500", "--dump-dom", holder.as_uri())
    seen = json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", dumped, re.S)[1]))
    assert seen["needed"] == width
    assert seen["shown"]
    assert 0 < seen["words"] < seen["count"] == seen["cleared"]
    assert seen["found"] == f"{seen['words']} of {seen['count']} rows"
    assert seen["hidden"]
    assert all("suppressed" in statuses.split() for statuses in seen["hidden"])


def test_it_prints(page, tmp_path):
    source, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    source.write_text(page, "utf-8")
    run_browser("--no-pdf-header-footer", f"--print-to-pdf={printed}", source.as_uri())
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) > 5
