"""The attack finds every planted leak, claims nothing of what is kept, and is never wrong."""

import itertools
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.analyses.plan import ANALYSES
from tests.attack import leaks_by_counts, leaks_by_numbers, own_site
from tests.attack.figures import list_marks, read_bars, read_curve
from tests.attack.groups import count, describe
from tests.attack.letters import find_limit
from tests.attack.pages import Page, compare_tables, find_small_groups, search_pages
from tests.attack.part import Part
from tests.attack.plants import HIDDEN, KEPT, curve, reason, share, write_release
from tests.attack.program import Contradiction
from tests.attack.released import read_count, read_number, read_release
from tests.attack.releases import find_changes
from tests.attack.report import attack, describe_findings
from tests.attack.solve import find_groups
from tests.attack.system import READERS

ROOT = Path(__file__).parent.parent.parent
LEAKS = leaks_by_counts.LEAKS | leaks_by_numbers.LEAKS


def find(folder: Path) -> dict[str, bool]:
    """The groups that come out, and whether exactly."""
    return {
        describe(answer.question.total): answer.exact
        for answer in find_groups(read_release(folder))
    }


@pytest.mark.parametrize("kind", LEAKS)
def test_planted_leak_is_found(tmp_path, kind):
    rows, group, exact = LEAKS[kind]
    exact_by_group = find(write_release(tmp_path, rows))
    assert any(group == name or (group in name and " - " not in name) for name in exact_by_group), (
        exact_by_group
    )
    assert any(is_exact == exact for name, is_exact in exact_by_group.items() if group in name)


@pytest.mark.parametrize("kind", KEPT)
def test_what_is_kept_is_not_claimed(tmp_path, kind):
    assert find(write_release(tmp_path, KEPT[kind])) == {}


CELLS = [
    (row, column) for row in ("lateral", "posterior") for column in ("free", "adherent", "unknown")
]


def list_tables(
    truth: dict[tuple[str, str], int], hidden: dict[tuple[str, str], bool]
) -> list[dict[tuple[str, str], int]]:
    """Every table with the printed cells and the printed margins."""
    margins = [
        [cell for cell in CELLS if cell[k] == value]
        for k in (0, 1)
        for value in sorted({cell[k] for cell in CELLS})
    ]
    values = itertools.product(
        *(range(sum(truth.values()) + 1) if hidden[cell] else [truth[cell]] for cell in CELLS)
    )
    tables = (dict(zip(CELLS, numbers, strict=True)) for numbers in values)
    return [
        t
        for t in tables
        if all(sum(t[c] for c in part) == sum(truth[c] for c in part) for part in margins)
    ]


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(0, 12), min_size=6, max_size=6),
    st.lists(st.booleans(), min_size=6, max_size=6),
)
def test_claims_are_those_of_trying_all_tables(tmp_path_factory, numbers, hidden):
    """Against an enumeration of every table of two canals and three mechanisms with the printed
    cells and margins."""
    truth = dict(zip(CELLS, numbers, strict=True))
    rows = [curve("all", "at_risk_day_0", sum(numbers), sites="")]
    rows += [
        curve(
            f"canal={c}", "at_risk_day_0", sum(v for (a, _), v in truth.items() if a == c), sites=""
        )
        for c in ("lateral", "posterior")
    ]
    rows += [
        curve(
            f"mechanism={m}",
            "at_risk_day_0",
            sum(v for (_, b), v in truth.items() if b == m),
            sites="",
        )
        for m in ("free", "adherent", "unknown")
    ]
    rows += [
        curve(
            f"canal={c},mechanism={m}",
            "at_risk_day_0",
            **(HIDDEN if hide else {"n": truth[c, m]}),
            sites="",
        )
        for (c, m), hide in zip(CELLS, hidden, strict=True)
    ]
    fits = list_tables(truth, dict(zip(CELLS, hidden, strict=True))) if sum(hidden) <= 2 else None
    bounds_by_group = {
        describe(answer.question.total): (answer.low, answer.high)
        for answer in find_groups(
            read_release(write_release(tmp_path_factory.mktemp("table"), rows))
        )
    }
    for (canal, mechanism), number in truth.items():
        name = describe(count("followed", canal=canal, mechanism=mechanism, at_risk=0))
        reach = bounds_by_group.get(name)
        assert reach is None or reach[0] <= number <= reach[1]
        if fits is not None and hidden[CELLS.index((canal, mechanism))]:
            sizes = [table[canal, mechanism] for table in fits]
            small = min(sizes) >= 1 and max(sizes) <= 10
            assert reach == ((min(sizes), max(sizes)) if small else None)


def test_a_release_that_no_pool_fits_is_said_to_be_one(tmp_path):
    rows = [share("sex=female", 100, 61), share("sex=male", 100, 35), share("sex=unknown", 100, 11)]
    with pytest.raises(Contradiction):
        find(write_release(tmp_path, rows))


def test_columns_may_be_missing(tmp_path):
    rows = [share("sex=female", 100, 61), share("sex=male", 100, 35), share("sex=unknown", 100, "")]
    columns = ["analysis", "population", "stratum", "term", "n_episodes", "n_events"]
    assert "stored[sex=unknown]" in find(write_release(tmp_path, rows, columns))


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [("12", 12, 12), ("12.0", 12, 12), ("<11", 0, 10), ("11-20", 11, 20), ("40+", 40, 10**6)],
)
def test_counts_as_they_may_be_printed(text, low, high):
    printed = read_count(text)
    assert (printed.low, printed.high) == (low, high)


def test_a_rounded_count_and_a_rounded_number_stand_for_what_would_be_printed_so():
    assert (read_count("15", step=5).low, read_count("15", step=5).high) == (13, 17)
    assert read_number("0.92", 2).low == pytest.approx(0.915)
    assert read_number("1.0", 2).low == pytest.approx(0.995)


PAGE = """<section id="resolution_curves"><p title="5 patients were lost">\
Of 40 episodes from 4 sites, 20 were seen.</p>
<table><tr><th>Quantity</th><th>Episodes</th></tr>\
<tr><td>By day 7</td><td>{}</td></tr></table></section>"""


def test_pages_are_read(tmp_path):
    release = read_release(write_release(tmp_path, [curve("all", "resolved_by_day_7", **HIDDEN)]))
    (tmp_path / "reports").mkdir()
    (tmp_path / "reports" / "technical.html").write_text(PAGE.format(9), "utf-8")
    sentences = list(search_pages(release))
    assert len(sentences) == 2
    assert "5 patients" in sentences[0]
    assert list(compare_tables(Page(PAGE.format("")), release)) == []


@pytest.mark.parametrize(
    ("sentence", "number"),
    [
        ("Of 120 episodes 7 cases switched", 1),
        ("92 of 98 episodes agree", 1),
        ("a group of 1 to 10 people is hidden", 0),
        ("fewer than 5 episodes", 0),
        ("9 sites and 3 sessions of 120 episodes", 0),
        ("79 % (71 to 83) of 269 episodes", 0),
    ],
)
def test_sentences_that_count_small_groups(sentence, number):
    assert len(list(find_small_groups(sentence))) == number


BAR = '<g class="bar"><path d="M {} 0 L {} 0 L {} 9 z"/></g>'
DRAWN = '<svg xmlns="http://www.w3.org/2000/svg"><desc>all 100; seen 60; lost hidden</desc>{}</svg>'


def read_drawn(*ends: tuple[float, float]) -> list[str]:
    bars = "".join(BAR.format(low, high, high) for low, high in ends)
    return list(
        read_bars(list(list_marks(ElementTree.fromstring(DRAWN.format(bars)))), "all 100; seen 60")
    )


def test_bars_and_gaps_are_turned_into_people():
    assert read_drawn((0, 200), (0, 120)) == []
    assert read_drawn((0, 200), (0, 120), (120, 134)) == ["a bar of 7 people that the words hide"]
    assert read_drawn((0, 200), (0, 120), (128, 200)) == ["a gap of 4 people between two bars"]


def test_a_curve_beyond_its_numbers_is_seen(tmp_path):
    hidden = [curve("all", f"unresolved_upper_day_{day}", **HIDDEN) for day in range(8, 14)]
    rows = [
        *(
            curve("all", f"unresolved_upper_day_{day}", 90, 40)
            for day in [*range(8), *range(14, 30)]
        ),
        *hidden,
    ]
    release = read_release(write_release(tmp_path, rows))
    whole, gap = (
        "".join(
            f" {'M' if day in begins else 'L'} {20 + 7 * day} 9"
            for day in range(31)
            if day not in left_out
        )
        for begins, left_out in (((0,), ()), ((0, 14), range(9, 14)))
    )
    drawn = '<svg xmlns="http://www.w3.org/2000/svg"><g class="curve"><path d="{}"/></g></svg>'
    marks = [list(list_marks(ElementTree.fromstring(drawn.format(path)))) for path in (gap, whole)]
    assert list(read_curve(marks[0], list(release.rows))) == []
    assert len(list(read_curve(marks[1], list(release.rows)))) == len(hidden)


def test_control_limits_are_the_published_ones():
    """Counts of 20 with share 1/2: P(X <= 5) = .0207 and P(X <= 6)
    = .0577 (binomial, worked out by hand), so that .025 lies between."""
    at = 20 - 5
    assert 5 / 20 < find_limit(0.5, 0.025)[at] < 6 / 20


def test_who_came_between_two_releases_is_found(tmp_path):
    folders = [
        write_release(tmp_path / str(k), [reason("x", 200, n), reason("y", 200, 80)])
        for k, n in enumerate((100, 104, 130))
    ]
    releases = [read_release(folder) for folder in folders]
    group = "probable_non_positional[reason=x]"
    assert [describe(a.question.total) for a in find_changes(*releases[:2])] == [
        f"later: {group} - earlier: {group}"
    ]
    assert [describe(a.question.total) for a in find_changes(*releases[1::-1])] == [
        f"earlier: {group} - later: {group}"
    ]
    assert find_changes(*releases[1:]) == []


def test_a_site_takes_its_own_people_off(tmp_path, monkeypatch):
    rows = [share("sex=female", 100, 50), share("sex=male", 100, 30), share("sex=unknown", 100, 20)]
    release = read_release(write_release(tmp_path, rows))
    monkeypatch.setattr(
        own_site, "count_own", lambda *_: {"stored[sex=unknown]": 13, "stored[sex=male]": 10}
    )
    assert [describe(a.question.total) for a in own_site.find_others(release, "S01")] == [
        "others: stored[sex=unknown]"
    ]


@pytest.mark.parametrize("name", LEAKS)
def test_what_is_not_settled_is_not_passed_over(tmp_path, monkeypatch, name):
    # as if every program had ended before it knew
    monkeypatch.setattr(Part, "_minimise", lambda self, weight: None)
    rows, _, _ = LEAKS[name]
    findings = attack(read_release(write_release(tmp_path, rows)))
    assert findings.any or findings.unsettled
    assert f"{findings.unsettled:5} questions not settled" in describe_findings(findings)


def test_findings_never_say_how_many(tmp_path):
    rows, _, _ = LEAKS["parts add up to the whole"]
    findings = attack(read_release(write_release(tmp_path, rows)))
    lines = describe_findings(findings)
    assert findings.any
    assert any("comes out exactly: stored[sex=unknown]" in line for line in lines)
    assert not any("= 4" in line or ": 4" in line for line in lines)


@pytest.mark.parametrize(
    ("kind", "code"), [(LEAKS["parts add up to the whole"][0], 1), (KEPT["nobody"], 0)]
)
def test_command_line(tmp_path, kind, code):
    command = [sys.executable, "-m", "tests.attack", str(write_release(tmp_path, kind))]
    assert subprocess.run(command, cwd=ROOT, capture_output=True, check=False).returncode == code


def test_every_analysis_is_read():
    assert set(READERS) == set(ANALYSES)
