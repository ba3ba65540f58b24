"""The committee's page in a real browser: on a telephone, on a desk, and on paper."""

import html
import json
import re
import shutil
import subprocess

import pytest

from pipeline.reports.committee.report import compose_report
from pipeline.reports.render import render_page
from tests.pool_of_sections import build_everything

BROWSER = (
    shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
)
pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

HEIGHT = 2000
MEASURE = """
const page = document.getElementById('page').contentDocument;
for (const part of page.querySelectorAll('details')) {
  part.removeAttribute('name');  // or else opening one closes the others
  part.open = true;
}
const figures = [...page.querySelectorAll('svg')].map(svg => {
  const box = svg.getBoundingClientRect();
  const texts = [...svg.querySelectorAll('text')].filter(text => text.textContent).map(text => {
    const place = text.getBoundingClientRect();
    return {
      words: text.textContent, left: place.left - box.left, right: box.right - place.right,
      height: place.height,
      size: parseFloat(getComputedStyle(text).fontSize) * box.width / svg.viewBox.baseVal.width,
    };
  });
  return {name: svg.getAttribute('aria-labelledby'), left: box.left, right: box.right, texts};
});
const seen = JSON.stringify({needed: page.scrollingElement.scrollWidth, figures});
document.body.innerHTML = '<pre></pre>';
document.querySelector('pre').textContent = seen;
"""


@pytest.fixture(scope="module")
def page(plan):
    return render_page(
        "committee.html.j2",
        compose_report(build_everything(plan), plan, {"deliveries": "3f1c" * 16}),
    )


def run_browser(*arguments: str) -> str:
    # no sandbox: the page is our own and stands alone, and a container often forbids the sandbox
    command = [
        BROWSER,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--hide-scrollbars",
        *arguments,
    ]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True).stdout


def let_in(page: str) -> str:
    """The page without its policy, so that a program of ours can look at it from within."""
    return re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)


def lay_out(page: str, width: int, folder) -> dict:
    """What the browser made of the page at some width; in a frame,
    as windows do not get as narrow as telephones."""
    frame = (
        f'<iframe id="page" style="width:{width}px;height:{HEIGHT}px;border:0" '
        f'srcdoc="{html.escape(page)}"></iframe>'
    )
    holder = folder / "holder.html"
    head = "<!doctype html><meta charset='utf-8'><body style='margin:0'>"
    holder.write_text(f"{head}{frame}<script>onload = () => {{{MEASURE}}}</script>", "utf-8")
    seen = run_browser(f"--window-size={max(width, 500)},{HEIGHT}", "--dump-dom", holder.as_uri())
    return json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", seen, re.S)[1]))


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_the_page_never_scrolls_sideways(page, width, tmp_path):
    seen = lay_out(page, width, tmp_path)
    assert seen["needed"] == width
    assert all(0 <= figure["left"] < figure["right"] <= width for figure in seen["figures"])


@pytest.mark.parametrize("width", [390, 1280])
def test_texts_in_figures_are_whole_and_large_enough(page, width, tmp_path):
    for figure in lay_out(page, width, tmp_path)["figures"]:
        assert figure["texts"]
        for text in figure["texts"]:
            assert text["left"] >= -1, text
            assert text["right"] >= -1, text
            assert text["size"] >= 9.5, text


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_report_is_a_few_pages_on_paper(page, paper, tmp_path):
    source, printed = tmp_path / "page.html", tmp_path / "page.pdf"
    source.write_text(let_in(page).replace("@page {", f"@page {{ size: {paper};"), "utf-8")
    run_browser("--no-pdf-header-footer", f"--print-to-pdf={printed}", source.as_uri())
    leaves = re.findall(rb"/Type\s*/Page\b", printed.read_bytes())
    # wider typefaces than those of common systems may need one more
    assert 4 <= len(leaves) <= 12
