"""Pages from templates: the only room that knows the template engine.

Templates receive plain dicts and escape every text.
"""

import hashlib
import re
from base64 import b64encode
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

TEMPLATES = Path(__file__).parents[2] / "reports"
CHARSET = '<meta charset="utf-8">'
STYLED = re.compile(r' style="(?P<styles>[^"]*)"')


def render_page(template: str, content: dict[str, Any], *, talks: bool = False) -> str:
    """Render a page.

    Parameters
    ----------
    template
        A file of `reports/`.
    content
        What it asks for; the shared style sheet is at hand as `style`.
    talks
        Whether the page may talk to the program that serves it. A page in a file may not.

    Returns
    -------
    str
        The page.

    Raises
    ------
    jinja2.UndefinedError
        Where the template asks for something that `content` does not hold.
    """
    engine, style = _start_engine(TEMPLATES)
    # our own file, not a site's text
    page = engine.get_template(template).render(style=Markup(style), **content)
    return page.replace(CHARSET, f"{CHARSET}\n{_write_policy(page, talks)}", 1)


@cache
def _start_engine(templates: Path) -> tuple[Environment, str]:
    """The engine, which compiles each template once, and the shared style sheet."""
    engine = Environment(
        loader=FileSystemLoader(templates),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    style = (templates / "style.css").read_text("utf-8")
    inks = {ink: name for name, ink in re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", _light(style))}
    engine.filters["themed"] = lambda svg: _theme(svg, inks)
    return engine, style


def _write_policy(page: str, talks: bool) -> str:
    """What the page may do, as a browser is told: its own styles and programs by their
    fingerprints, perhaps a talk with what serves it, and nothing from elsewhere or to it (Content
    Security Policy Level 3, W3C)."""
    kinds = {"style-src": "style", "script-src": "script"}
    allowed = {
        kind: [
            f"'sha256-{b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
            for text in re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        ]
        for kind, tag in kinds.items()
    }
    own = "".join(f"; {kind} {' '.join(hashes)}" for kind, hashes in allowed.items() if hashes)
    own += "; connect-src 'self'" if talks else ""
    policy = f"default-src 'none'{own}; base-uri 'none'; form-action 'none'"
    return f'<meta http-equiv="Content-Security-Policy" content="{policy}">'


def _light(style: str) -> str:
    """The part of the style sheet that names the colours of the light scheme, in which figures are
    drawn."""
    return style.partition(":root {")[2].partition("}")[0]


def _theme(svg: str, inks: dict[str, str]) -> Markup:
    """A figure of ours in the colours of the page by their names, so that it changes with the
    scheme of the page."""
    svg = STYLED.sub(_spread, svg)
    for ink, name in inks.items():
        svg = svg.replace(f": {ink}", f": var(--{name})").replace(f'"{ink}"', f'"var(--{name})"')
    return Markup(svg)  # our own drawing, whose texts were escaped when it was made


def _spread(tag: re.Match[str]) -> str:
    """The styles of an element of a figure as attributes, which the page's policy needs not allow
    one by one."""
    pairs = (pair.split(":", 1) for pair in tag["styles"].split(";") if pair.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
