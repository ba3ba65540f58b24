"""The committee's report as a PDF, from the same content as the page: tagged, with bookmarks,
its fonts within."""

import json
import re
import tempfile
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import typst

TEMPLATES = Path(__file__).parents[2] / "reports"


def typeset_report(
    template: str, content: dict[str, Any], out: Path, pictures: Sequence[Path] = ()
) -> None:
    """Write a report as a PDF.

    The same content gives the same bytes: no date is written, and no font of the machine is used,
    only DejaVu Sans as it comes with matplotlib.

    Parameters
    ----------
    template
        A .typ file of `reports/`.
    content
        What it asks for; figures are `svg` texts with their `alt` in it.
    out
        The file that is written.
    pictures
        Files that the template shows by their names.
    """
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "content.json").write_text(json.dumps(_prepare_figures(content)), "utf-8")
        for picture in pictures:
            (root / picture.name).write_bytes(picture.read_bytes())
        source = root / template
        source.write_text((TEMPLATES / template).read_text("utf-8"), "utf-8")
        typst.compile(
            str(source),
            output=str(out),
            root=str(root),
            font_paths=[str(_find_fonts())],
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
        )


def _prepare_figures(value: Any) -> Any:
    """The same content with figures that typst can draw."""
    if isinstance(value, dict):
        return {key: _prepare_figures(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_prepare_figures(part) for part in value]
    if isinstance(value, str) and value.startswith("<svg"):
        return re.sub(r"\s+paint-order:[^;\"]*;?", "", value)
    return value


def _find_fonts() -> Path:
    """The folder of fonts within matplotlib, which is not imported for it."""
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
