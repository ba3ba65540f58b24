"""Write the catalogue of everything that can stand in the files of estimates."""

import argparse

from pipeline.commands.arguments import add_out_folder, make_folder


def add_to(commands: argparse._SubParsersAction) -> None:
    """Add the command line."""
    parser = commands.add_parser(
        "catalogue",
        help="write what can stand in the files of estimates",
        description=(
            "Writes estimates.md and estimates.csv: every quantity of every analysis with its "
            "meaning, kind, scale, unit, the decimals to which it leaves, and whom its counts are "
            "of. Earlier files of these names are replaced."
        ),
    )
    add_out_folder(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write both files."""
    from pipeline.reports.technical.catalogue import format_csv, format_markdown

    make_folder(arguments.out)
    (arguments.out / "estimates.md").write_text(format_markdown(), "utf-8")
    (arguments.out / "estimates.csv").write_text(format_csv(), "utf-8")
    print(f"estimates.md and estimates.csv are in {arguments.out}")
