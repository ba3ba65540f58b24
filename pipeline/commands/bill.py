"""Write the bill of materials: every library with its version, hashes and licence."""

import argparse

from pipeline.commands.arguments import add_out_folder, make_folder

PROGRAM = "Pooled outcomes of repositioning maneuvers for positional vertigo"


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "bill",
        help="write the bill of materials: every library with its licence",
        description=(
            "Writes bill.json (CycloneDX 1.6, an open standard): every library of the lock with "
            "its version, the hashes that its installation was checked against, and its licence. "
            "Public tools look up known vulnerabilities by it. An earlier file of this name is "
            "replaced."
        ),
    )
    add_out_folder(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the file."""
    from environment.bill import describe_libraries
    from pipeline import __version__

    make_folder(arguments.out)
    (arguments.out / "bill.json").write_text(describe_libraries(PROGRAM, __version__), "utf-8")
    print(f"bill.json is in {arguments.out}")
