"""The committee's page: what it claims, what it lets in from outside,
and whether it can be read without seeing it."""

import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from pipeline.reports.committee.picture import list_pictures
from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.standing import FILES
from pipeline.reports.figures import sheet
from pipeline.reports.render import TEMPLATES, render_page
from tests.contrast import contrast
from tests.pool_of_sections import build_everything


@pytest.fixture(scope="module")
def estimates(plan):
    return build_everything(plan)


@pytest.fixture(scope="module")
def page(estimates, plan):
    return render_page("committee.html.j2", compose_report(estimates, plan, {"deliveries": "3f1c"}))


CLAIMS = re.compile(
    r"\bsignifican|\bprove|\bsuperior|\beffective|\befficacy|\bthanks to|\bbecause of|\bbetter "
    r"than|\bleads? to\b|\bdue to\b"
    r"|\bcause[sd]\b|\bhelped\b|\bworks\b|\bworked better|\bin favou?r of\b|\bwears off",
    re.I,
)


def test_the_page_claims_no_more_than_it_can(page):
    assert not CLAIMS.search(re.sub(r"<[^>]+>", " ", page.split("<main>")[1]))


@pytest.mark.parametrize("template", ["site.html.j2", "committee.html.j2", "committee.typ"])
def test_what_templates_say_claims_no_more_either(template):
    assert not CLAIMS.search((TEMPLATES / template).read_text("utf-8"))


def test_texts_from_outside_are_escaped(estimates, plan):
    study = plan.study.model_copy(update={"title": "<script>a</script>"})
    report = compose_report(estimates, plan.model_copy(update={"study": study}), {"<i>": "<b>"})
    page = render_page("committee.html.j2", report)
    assert "<script" not in page
    assert "<b>" not in page


class Outline(HTMLParser):
    """What a reader that does not see the page goes by."""

    def __init__(self, page: str):
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def all(self, *names: str) -> list[tuple[str, dict]]:
        return [(tag, attrs) for tag, attrs in self.tags if tag in names]


def test_the_page_can_be_read_without_seeing_it(page):
    outline = Outline(page)
    ids = [attrs["id"] for _, attrs in outline.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    levels = [int(tag[1]) for tag, _ in outline.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert outline.all("html")[0][1]["lang"] == "en"
    assert all(len(outline.all(tag)) == 1 for tag in ("main", "header", "footer"))
    assert all("scope" in attrs for _, attrs in outline.all("th"))
    assert all(
        {"role", "aria-labelledby", "aria-describedby"} <= set(attrs)
        for _, attrs in outline.all("svg")
    )
    assert (
        len(outline.all("figure")) == len(outline.all("svg")) == len(outline.all("figcaption")) > 10
    )
    for _, attrs in outline.tags:
        for name in ("aria-labelledby", "aria-describedby"):
            assert attrs.get(name, ids[0]) in ids
        if attrs.get("href", "") not in FILES:
            assert attrs.get("href", "#" + ids[0]).removeprefix("#") in ids
        assert "src" not in attrs  # the page stands alone


def test_colors_of_the_style_can_be_read():
    """At least 4.5 between text and its ground: W3C Web Content Accessibility Guidelines 2.2,
    1.4.3."""
    style = (TEMPLATES / "style.css").read_text("utf-8")
    light = style.partition(":root {")[2].partition("}")[0]
    colors = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", light))
    for text in ("ink", "muted", "strong"):
        assert all(contrast(colors[text], ground) >= 4.5 for ground in ("#ffffff", colors["tint"]))
    for text in ("ink", "muted", "apart"):
        assert contrast(colors[text], colors["apart-tint"]) >= 4.5


def test_the_dark_scheme_sets_every_color_of_the_light_one():
    """A color that it forgets stays light under light letters, or dark under dark ones."""
    light = re.search(r":root \{(.*?)\}", (TEMPLATES / "style.css").read_text("utf-8"), re.S)[1]
    colors = set(re.findall(r"--[a-z-]+(?=: #)", light))
    for path in TEMPLATES.glob("*"):
        dark = re.search(
            r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}", path.read_text("utf-8"), re.S
        )
        if dark:
            assert set(re.findall(r"--[a-z-]+(?=: #)", dark[1])) >= colors, path.name


def test_figures_take_every_ink_from_the_page(estimates, plan):
    """An ink that the style sheet does not name would stay dark on dark ground."""
    report = compose_report(estimates, plan, {})
    drawn = " ".join(picture["svg"] for picture in list_pictures(report))
    page = render_page("committee.html.j2", report)
    assert re.findall("#[0-9a-f]{6}", drawn)
    assert re.findall(r"#[0-9a-f]{6}\b", page.partition("<body>")[2]) == []
    style = (TEMPLATES / "style.css").read_text("utf-8")
    for ink in (sheet.INK, sheet.MUTED, sheet.STRONG, sheet.BAND, sheet.APART, sheet.GREY):
        assert f": {ink};" in style


def test_contents_lead_to_every_part(page):
    linked = set(re.findall(r'<li><a href="#([^"]+)"', page))
    headed = set(re.findall(r'<h2 id="([^"]+)"', page)) - {"answer-title"}
    assert linked == headed
