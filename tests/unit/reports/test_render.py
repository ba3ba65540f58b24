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
