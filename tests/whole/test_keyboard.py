"""Every page can be gone through by keys alone: in the order of its text,
with the place always to be seen, and nothing left out.

W3C Web Content Accessibility Guidelines 2.2: 2.1.1 keyboard, 2.4.1 bypass blocks, 2.4.3 focus
order, 2.4.7 focus visible, 2.4.11 focus not obscured.
"""

import json
import time

import pytest

from tests.whole.browser_keys import Browser
from tests.whole.test_accessibility import PAGES
from tests.whole.test_page_in_browser import BROWSER

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

WIDTH, HEIGHT = 390, 900
FAR = 25  # stops that are walked at most, since the technical report has some two hundred
FOCUSABLE = "a[href], button, input, select, summary, [tabindex]"
PLACE = """
(() => {
  const at = document.activeElement;
  if (!at || at === document.body) return null;
  const box = at.getBoundingClientRect(), style = getComputedStyle(at);
  const middle = (low, high, end) => (Math.max(low, 0) + Math.min(high, end)) / 2;
  const seen = document.elementFromPoint(middle(box.left, box.right, innerWidth),
    middle(box.top, box.bottom, innerHeight));
  return JSON.stringify({
    number: [...document.querySelectorAll('FOCUSABLE')].indexOf(at),
    text: at.textContent.trim().slice(0, 40), href: at.getAttribute('href'),
    outline: style.outlineStyle === 'none' ? 0 : parseFloat(style.outlineWidth),
    inside: box.bottom > 0 && box.top < innerHeight && box.right > 0,
    covered: !(seen && (at.contains(seen) || seen.contains(at))),
  });
})()
""".replace("FOCUSABLE", FOCUSABLE)
COUNT = f"[...document.querySelectorAll('{FOCUSABLE}')].filter(at => at.checkVisibility()).length"


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    opened = Browser(BROWSER, tmp_path_factory.mktemp("browser"))
    yield opened
    opened.close()


def walk(browser: Browser, most: int) -> list[dict]:
    """Each place that the Tab key reaches, from the top of the page until it leaves it."""
    places = []
    for _ in range(most):
        browser.press("Tab")
        focused = browser.evaluate(PLACE)
        place = None if focused is None else json.loads(focused)
        if place is None or (
            places and place["number"] == places[0]["number"]
        ):  # some browsers go round without a stop outside
            break
        places.append(place)
    return places


@pytest.mark.parametrize("width", [WIDTH, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_keys_reach_everything_in_order_and_the_place_is_seen(pool_run, browser, name, width):
    browser.open((pool_run[0] / "results" / name).as_uri(), width, HEIGHT)
    count = browser.evaluate(COUNT)
    places = walk(browser, min(count + 2, FAR))
    assert [place["number"] for place in places] == sorted(place["number"] for place in places)
    assert len(places) == min(count, FAR) > 1
    assert [
        place for place in places if place["outline"] < 2 or not place["inside"] or place["covered"]
    ] == []


@pytest.mark.parametrize("name", PAGES)
def test_the_first_stop_leads_to_the_answer(pool_run, browser, name):
    browser.open((pool_run[0] / "results" / name).as_uri(), WIDTH, HEIGHT)
    (first,) = walk(browser, 1)
    assert first["href"].startswith("#")
    browser.press("Enter")
    target = f"document.querySelector('{first['href']}').getBoundingClientRect()"
    assert browser.evaluate("location.hash") == first["href"]
    assert -1 <= browser.evaluate(f"{target}.top") < HEIGHT / 2


def test_a_wide_table_is_moved_by_keys(pool_run, browser):
    browser.open((pool_run[0] / "results" / "reports/committee.html").as_uri(), WIDTH, HEIGHT)
    while (place := walk(browser, 1)[0]) and browser.evaluate(
        "document.activeElement.className"
    ) != "scroll":
        assert place
    assert browser.evaluate(
        "document.activeElement.scrollWidth > document.activeElement.clientWidth"
    )
    for _ in range(5):
        browser.press("ArrowRight")
    deadline = time.monotonic() + 5
    while browser.evaluate("document.activeElement.scrollLeft") == 0:
        assert time.monotonic() < deadline


def test_the_walk_can_fail(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        "<!doctype html><p><a href='#a' tabindex=2 style='outline:none'>late</a> <a href='#b' "
        "tabindex=1>first</a>",
        "utf-8",
    )
    browser.open(page.as_uri(), WIDTH, HEIGHT)
    places = walk(browser, 2)
    assert [place["number"] for place in places] == [1, 0]
    assert places[1]["outline"] == 0
