"""Every page has a policy that lets in nothing from elsewhere, and works under it: the browser
blocks nothing of it.

Content Security Policy Level 3, W3C: a blocked style, program or request is an event
`securitypolicyviolation`.
"""

import re

import pytest

from tests.whole.browser_keys import Browser
from tests.whole.test_accessibility import PAGES
from tests.whole.test_page_in_browser import BROWSER

pytestmark = pytest.mark.skipif(BROWSER is None, reason="needs chromium to lay out the page")

LISTEN = """
window.blocked = [];
document.addEventListener('securitypolicyviolation', event =>
  window.blocked.push(event.effectiveDirective));
"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    opened = Browser(BROWSER, tmp_path_factory.mktemp("browser"))
    opened.ask("Page.addScriptToEvaluateOnNewDocument", source=LISTEN)
    yield opened
    opened.close()


def list_blocked(browser: Browser, page: str, folder) -> list[str]:
    """Which parts of the policy a page broke when it was opened."""
    source = folder / "page.html"
    source.write_text(page, "utf-8")
    browser.open(source.as_uri(), 1280, 900)
    return browser.evaluate("window.blocked.join(' ')").split()


@pytest.mark.parametrize("name", PAGES)
def test_nothing_of_a_page_is_blocked(pool_run, browser, name, tmp_path):
    page = (pool_run[0] / "results" / name).read_text("utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)[1]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy
    assert list_blocked(browser, page, tmp_path) == []
    styled = browser.evaluate("getComputedStyle(document.querySelector('h1')).color")
    assert styled not in (None, "rgb(0, 0, 0)")
    if name.endswith("technical.html"):  # its program shows the form
        assert browser.evaluate("document.getElementById('filter').hidden") is False


@pytest.mark.parametrize(
    ("added", "part"),
    [
        ("<script>1</script>", "script-src-elem"),
        ("<style>p { color: red }</style>", "style-src-elem"),
        ("<p style='color: red'>x</p>", "style-src-attr"),
        ("<img src='https://elsewhere.example/a.png' alt=''>", "img-src"),
    ],
)
def test_what_is_not_ours_is_blocked(pool_run, browser, added, part, tmp_path):
    page = (pool_run[0] / "results" / PAGES[0]).read_text("utf-8")
    assert part in list_blocked(browser, page.replace("</main>", f"{added}</main>"), tmp_path)
