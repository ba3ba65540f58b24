"""Pages from templates: the only room that knows the template engine.

Templates receive plain dicts and escape every text.
"""

import re
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

TEMPLATES = Path(__file__).parents[2] / "reports"


def render_page(template: str, content: dict[str, Any]) -> str:
    """Render a page.

    Parameters
    ----------
    template
        A file of `reports/`.
    content
        What it asks for; the shared style sheet is at hand as `style`.

    Returns
    -------
    str
        The page.

    Raises
    ------
    jinja2.UndefinedError
        Where the template asks for something that `content` does not hold.
    """
    loader = FileSystemLoader(TEMPLATES)
    engine = Environment(
        loader=loader,
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = (TEMPLATES / "style.css").read_text("utf-8")
    inks = {ink: name for name, ink in re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", _light(style))}
    engine.filters["themed"] = lambda svg: _theme(svg, inks)
    # our own file, not a site's text
    return engine.get_template(template).render(style=Markup(style), **content)


def _light(style: str) -> str:
    """The part of the style sheet that names the colours of the light scheme, in which figures are
    drawn."""
    return style.partition(":root {")[2].partition("}")[0]


def _theme(svg: str, inks: dict[str, str]) -> Markup:
    """A figure of ours in the colours of the page by their names, so that it changes with the
    scheme of the page."""
    for ink, name in inks.items():
        svg = svg.replace(f": {ink}", f": var(--{name})").replace(f'"{ink}"', f'"var(--{name})"')
    return Markup(svg)  # our own drawing, whose texts were escaped when it was made
