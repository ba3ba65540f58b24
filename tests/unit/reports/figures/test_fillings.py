"""One filling and one mark has one meaning over the whole report,
and none need colour to be told from another."""

import re
from itertools import combinations

import pytest

from pipeline.reports.committee.picture import list_pictures
from pipeline.reports.committee.report import compose_report
from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.ranges import KINDS
from tests.contrast import luminance
from tests.pool_of_sections import build_everything

SAID = FILLINGS | KINDS
LOOKS = "|".join(sorted((each.look for each in SAID.values()), key=len, reverse=True))


@pytest.fixture(scope="module")
def pictures(plan):
    pictures_of_page = list(list_pictures(compose_report(build_everything(plan), plan, {})))
    assert {picture["name"].split("-")[1] for picture in pictures_of_page} >= {
        "flow",
        "curve",
        "paths",
        "reasons",
        "second",
        "published",
    }
    return pictures_of_page


def list_used(picture: dict) -> set[str]:
    """The fillings of bars and the kinds of marks that a figure draws."""
    return {name for _, name in re.findall(r'class="(bar|swatch|range|dot) (\w+)"', picture["svg"])}


def test_every_filling_is_explained_where_it_is_used(pictures):
    for picture in pictures:
        explained = f"{picture['caption']} {re.sub('<[^>]+>', ' ', picture['svg'])}".lower()
        # marks of one kind need no key
        marked = "range" in picture["svg"] and list_used(picture) == {"own"}
        for name in list_used(picture):
            assert marked or SAID[name].meaning.lower() in explained, (picture["name"], name)


def test_no_caption_gives_a_filling_another_meaning(pictures):
    meanings = {each.look.lower(): each.meaning.lower() for each in SAID.values()}
    captions = {picture["caption"] for picture in pictures}
    stated = [
        explained
        for caption in captions
        for explained in re.findall(rf"\b({LOOKS}): ([^.]+)\.", caption)
    ]
    assert len(stated) > 8
    for look, meaning in stated:
        assert meanings[look.lower()] in meaning.lower(), (look, meaning)


def test_every_bar_has_the_look_of_its_filling_only(pictures):
    """Two fillings never look alike, and one always looks the same: fill,
    outline and hatching as they are drawn."""
    looks: dict[str, set] = {}
    for picture in pictures:
        patterns = {
            re.search(r'id="([^"]+)"', pattern)[1]: re.search(r'\bd="([^"]*)"', pattern)[1]
            for pattern in re.findall(r"<pattern.*?</pattern>", picture["svg"], re.S)
        }
        for _, name, style in re.findall(
            r'class="(bar|swatch) (\w+)">.*?style="([^"]*)"', picture["svg"], re.S
        ):
            filled = re.search(r"fill: (url\(#([^)]+)\)|#\w+)", style)
            outline = re.search(r"stroke: (#\w+)", style)
            hatched = patterns.get(filled[2]) if filled and filled[2] else None
            looks.setdefault(name, set()).add(
                (hatched or (filled and filled[1]), outline and outline[1])
            )
    assert set(looks) == set(FILLINGS)
    assert all(len(look) == 1 for look in looks.values()), looks
    assert all(a.isdisjoint(b) for a, b in combinations(looks.values(), 2))


def test_fillings_are_told_apart_without_colour():
    """By hatching, or by how light they are: 1.5 to 1 between plain ones (this project's proposal;
    they also touch along an outline)."""
    for one, other in combinations(FILLINGS.values(), 2):
        if one.drawn.get("hatch") == other.drawn.get("hatch"):
            light, dark = sorted(
                (luminance(_widen(each.drawn["facecolor"])) for each in (one, other)), reverse=True
            )
            assert (light + 0.05) / (dark + 0.05) >= 1.5, (one.look, other.look)
    assert len({(kind.marker, kind.hollow) for kind in KINDS.values()}) == len(KINDS)


def _widen(color: str) -> str:
    return color if len(color) == 7 else "#" + "".join(2 * digit for digit in color[1:])
