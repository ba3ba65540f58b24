"""Pages from templates: the only room that knows the template engine.

Templates receive plain dicts and escape every text.
"""

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
    style = Markup((TEMPLATES / "style.css").read_text("utf-8"))  # our own file, not a site's text
    return engine.get_template(template).render(style=style, **content)
