"""Pages escape what comes from outside, and ask for nothing that is not there."""

import jinja2
import pytest

from pipeline.reports import render


@pytest.fixture
def templates(tmp_path, monkeypatch):
    (tmp_path / "style.css").write_text("p { margin: 0 }", "utf-8")
    (tmp_path / "page.j2").write_text("<style>{{ style }}</style><p>{{ said }}</p>", "utf-8")
    monkeypatch.setattr(render, "TEMPLATES", tmp_path)


def test_texts_are_escaped_and_our_own_style_is_not(templates):
    page = render.render_page("page.j2", {"said": "<script>&"})
    assert page == "<style>p { margin: 0 }</style><p>&lt;script&gt;&amp;</p>"


def test_what_is_missing_is_a_fault_and_no_empty_place(templates):
    with pytest.raises(jinja2.UndefinedError):
        render.render_page("page.j2", {})


def test_the_policy_lets_in_the_pages_own_styles_and_programs_by_their_hashes(templates, tmp_path):
    text = '<meta charset="utf-8"><style>{{ style }}</style><script>run()</script>'
    (tmp_path / "whole.j2").write_text(text, "utf-8")
    page = render.render_page("whole.j2", {})
    policy = page.partition('Content-Security-Policy" content="')[2].partition('"')[0]
    # openssl dgst -sha256 -binary | openssl base64, of "p { margin: 0 }" and of "run()"
    assert policy.split("; ") == [
        "default-src 'none'",
        "style-src 'sha256-7IWhgxoOGTB5NQzjGk9OPt0FwhVeBvZGoWgF9xLLh8c='",
        "script-src 'sha256-AvyuiL0SD1mVY3NNxR+V2uo+lhk6RMFrytWmRt6CrJQ='",
        "base-uri 'none'",
        "form-action 'none'",
    ]


def test_a_page_that_is_served_may_talk_to_what_serves_it_and_to_nobody_else(templates, tmp_path):
    (tmp_path / "whole.j2").write_text('<meta charset="utf-8">', "utf-8")
    policies = [
        page.partition('Content-Security-Policy" content="')[2].partition('"')[0].split("; ")
        for page in (
            render.render_page("whole.j2", {}),
            render.render_page("whole.j2", {}, talks=True),
        )
    ]
    assert [policy for policy in policies[1] if policy not in policies[0]] == ["connect-src 'self'"]
    assert set(policies[0]) < set(policies[1])


def test_styles_of_a_figure_become_attributes(templates, tmp_path):
    (tmp_path / "figure.j2").write_text("{{ svg | themed }}", "utf-8")
    svg = '<text x="1" style="font-family: \'A B\'; fill: #101010; text-anchor: end">a</text>'
    page = render.render_page("figure.j2", {"svg": svg})
    assert page == '<text x="1" font-family="\'A B\'" fill="#101010" text-anchor="end">a</text>'
