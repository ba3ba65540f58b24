"""Write the data dictionary as a page, as Markdown and as .csv."""

import argparse
from pathlib import Path

from pipeline.desk.dictionary import describe_dictionary, format_csv, format_markdown
from pipeline.render import render_page


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "dictionary",
        help="write the data dictionary",
        description="Writes dictionary.html, dictionary.md and dictionary.csv: every column with its meaning, unit, codes, limits and why it is asked for.",
    )
    parser.add_argument("--out", type=Path, default=Path("."), help="folder to write to (default: here)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the three files."""
    arguments.out.mkdir(parents=True, exist_ok=True)
    forms = {
        "html": render_page("dictionary.html.j2", describe_dictionary()),
        "md": format_markdown(),
        "csv": format_csv(),
    }
    for form, text in forms.items():
        (arguments.out / f"dictionary.{form}").write_text(text, "utf-8")
    print(f"dictionary.html, dictionary.md and dictionary.csv are in {arguments.out}")
