"""What the page's program reads of a request, and the forms in which it answers.

No page holds a cell, but for words that the check repeats, nor the name of a file, nor anything
else that a request carried.
"""

import json
import tomllib
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response

from pipeline.coordinator.append import Rows
from pipeline.desk.visit import NoVisit, make_rows
from pipeline.reports.render import TEMPLATES, render_page

Words = dict[str, dict[str, str]]
WORDS: Words = tomllib.loads((TEMPLATES / "desk.toml").read_text("utf-8"))
LANGUAGES = {"en": WORDS, "de": tomllib.loads((TEMPLATES / "desk.de.toml").read_text("utf-8"))}
NAMES = {"en": "English", "de": "Deutsch"}  # each in itself
MOST_BYTES = 300_000_000  # of one file: a workbook of 70,000 rows has about 3,000,000
MOST_WORDS = 1_000_000  # bytes of what is typed into a form
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Voice:
    """The language in which the page speaks.

    Attributes
    ----------
    language
        One of LANGUAGES.
    """

    def __init__(self) -> None:
        self.language = next(iter(LANGUAGES))

    @property
    def words(self) -> Words:
        """The words of the page."""
        return LANGUAGES[self.language]

    def show(self, template: str, content: dict[str, Any]) -> Response:
        """A page with its words."""
        own = {"words": self.words, "language": self.language}
        return HTMLResponse(render_page(template, own | content, talks=True))

    def refuse(self, why: str, code: int = 422) -> Response:
        """A sentence in place of what was asked for."""
        return PlainTextResponse(self.words["faults"][why], code)


def hand_out(content: bytes, name: str, kind: str) -> Response:
    """A file to save under a name of ours."""
    return Response(
        content, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


async def keep(request: Request, target: Path) -> bool:
    """Write what a request brings to a new file; whether it was all of it."""
    left = MOST_BYTES
    with target.open("xb") as file:
        async for part in request.stream():
            left -= len(part)
            if left < 0:
                return False
            file.write(part)
    return True


async def read_words(request: Request, field: str) -> str:
    """What was typed into a field."""
    form = await read_form(request)
    if field not in form:
        raise HTTPException(400)
    return form[field]


async def read_form(request: Request) -> dict[str, str]:
    """What was typed into all fields."""
    typed = await read_json(request)
    if not isinstance(typed, dict):
        raise HTTPException(400)
    return {name: value if isinstance(value, str) else "" for name, value in typed.items()}


async def read_json(request: Request) -> Any:
    """What a request brings in its body."""
    content = b""
    async for part in request.stream():
        content += part
        if len(content) > MOST_WORDS:
            raise HTTPException(413)
    try:
        return json.loads(content)
    except (RecursionError, ValueError):
        raise HTTPException(400) from None


async def read_rows(request: Request) -> Rows:
    """The rows of an episode that was typed."""
    try:
        return make_rows(await read_json(request))
    except NoVisit:
        raise HTTPException(400) from None
