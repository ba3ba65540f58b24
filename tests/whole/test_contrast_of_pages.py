"""Every text of every page can be read in the light and in the dark scheme: contrast of 4.5 to 1 or
more (W3C Web Content Accessibility Guidelines 2.2, success criterion 1.4.3, level AA), in large
texts too. The automatic check of accessibility sees the light scheme only."""

import html
import json
import re
import subprocess
import sys

import pytest

from tests.contrast import contrast
from tests.whole.conftest import ROOT
from tests.whole.test_page_in_browser import BROWSER, let_in, run_browser

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

LEAST = 4.5
SCHEMES = {"light": 1, "dark": 0}  # Chromium's numbers for what the reader prefers
PAGES = (
    "reports/committee.html",
    "reports/technical.html",
    "sites/S03/report.html",
    "intake/S03/001/report.html",
    "intake/S06/001/report.html",
)
MEASURE = """
const read = color => {
  const [r, g, b, a = 1] = color.match(/[\\d.]+/g).map(Number);
  return [r, g, b, a];
};
const lay = (upper, lower) => [0, 1, 2].map(k => upper[3] * upper[k] + (1 - upper[3]) * lower[k]);
const canvas = matchMedia('(prefers-color-scheme: dark)').matches
  && getComputedStyle(document.documentElement).colorScheme.includes('dark')
  ? [18, 18, 18] : [255, 255, 255];
const groundOf = element => {
  const layers = [];
  for (let e = element; e; e = e.parentElement)
    layers.push(read(getComputedStyle(e).backgroundColor));
  return layers.reduceRight((below, layer) => lay(layer, below), canvas);
};
const write = rgb => '#' + rgb.map(v => Math.round(v).toString(16).padStart(2, '0')).join('');
const inkOf = (element, style) => element instanceof SVGElement ? style.fill : style.color;
const haloOf = (element, style) =>
  element instanceof SVGElement && style.paintOrder.startsWith('stroke') && style.stroke !== 'none'
    ? [read(style.stroke)] : [];
const asked = [...document.querySelectorAll('input, select, textarea')].map(e => [e, e.tagName]);
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
for (let node; (node = walk.nextNode());) {
  const own = node.parentElement.closest('script, style, title, desc, option, template') === null;
  if (own && node.data.trim() && node.parentElement.checkVisibility({visibilityProperty: true}))
    asked.push([node.parentElement, node.data]);
}
const pairs = {};
for (const [element, words] of asked) {
  const style = getComputedStyle(element), ground = groundOf(element);
  for (const below of [ground, ...haloOf(element, style).map(halo => lay(halo, ground))]) {
    const pair = [write(lay(read(inkOf(element, style)), below)), write(below)];
    pairs[pair] = [...pair, words.trim().slice(0, 60)];
  }
}
const seen = JSON.stringify({texts: asked.length, pairs: Object.values(pairs)});
document.documentElement.innerHTML = '<body><pre></pre></body>';
document.querySelector('pre').textContent = seen;
"""


def measure(page: str, scheme: str, folder) -> dict:
    """How many texts a page has, and each pair of ink and ground with a text that has it."""
    source = folder / "page.html"
    source.write_text(
        let_in(page).replace("</body>", f"<script>{MEASURE}</script></body>"), "utf-8"
    )
    prefers = f"--blink-settings=preferredColorScheme={SCHEMES[scheme]}"
    seen = run_browser(prefers, "--window-size=1280,2000", "--dump-dom", source.as_uri())
    return json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", seen, re.S)[1]))


def list_pale(page: str, scheme: str, folder) -> list:
    """The texts with too little contrast, with ink, ground and ratio."""
    measured = measure(page, scheme, folder)
    assert measured["texts"] > 10
    return [
        (words, ink, ground, round(contrast(ink, ground), 1))
        for ink, ground, words in measured["pairs"]
        if contrast(ink, ground) < LEAST
    ]


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("name", PAGES)
def test_every_text_stands_out(pool_run, name, scheme, tmp_path):
    page = (pool_run[0] / "results" / name).read_text("utf-8")
    assert list_pale(page, scheme, tmp_path) == []


@pytest.mark.parametrize("scheme", SCHEMES)
def test_every_text_of_the_dictionary_stands_out(scheme, tmp_path):
    subprocess.run(
        [sys.executable, "-m", "pipeline", "dictionary", "--out", str(tmp_path)],
        cwd=ROOT,
        check=True,
    )
    assert list_pale((tmp_path / "dictionary.html").read_text("utf-8"), scheme, tmp_path) == []


def test_the_check_sees_pale_texts_in_each_scheme(tmp_path):
    style = (
        "@media (prefers-color-scheme: dark) {{ :root {{ color-scheme: dark }} body {{ color: "
        "#eee; background: #111 }} {0} }}"
    )
    rows = (
        "<p>plain</p>" * 10
        + '<p class="n">notice</p><svg><text class="s" y="20">drawn</text></svg>'
    )
    page = (
        "<!doctype "
        "html><html><head><title>t</title>"
        f"<style>{style.format('.n { background: #fbf4ec; color: #e8a66b }')}</style></head>"
        f"<body>{rows}</body></html>"
    )
    assert {words for words, *_ in list_pale(page, "dark", tmp_path)} == {"notice", "drawn"}
    assert list_pale(page, "light", tmp_path) == []
