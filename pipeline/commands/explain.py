"""Say for one stored episode what each test means, and why the verdict is what it is."""

import argparse
import sys
from pathlib import Path

from pipeline.commands.arguments import add_plan


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "explain",
        help="say for one stored episode what each test means, and why the verdict is what it is",
        description=(
            "Prints the record of one episode with the criteria that its tests meet and do not "
            "meet. It quotes the record: keep it where the record is."
        ),
    )
    parser.add_argument("site", help="code of the site, as S03")
    parser.add_argument("episode", help="pseudonym of the episode, as EP-0042")
    parser.add_argument(
        "--results",
        type=Path,
        default=Path("results"),
        help="folder of the results (default: results)",
    )
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Print the explanation; a missing store or episode ends with a sentence."""
    from pipeline.explain.episode import NoSuchEpisode, explain_episode
    from pipeline.warehouse import open_warehouse
    from schemas.study import read_config

    warehouse = arguments.results / "warehouse.duckdb"
    if not warehouse.exists():
        sys.exit(
            f"{warehouse} does not exist: run the workflow first, or name its results with "
            "--results"
        )
    try:
        with open_warehouse(warehouse) as store:
            print(
                explain_episode(
                    store, arguments.site, arguments.episode, read_config(arguments.plan)
                )
            )
    except NoSuchEpisode as missing:
        sys.exit(str(missing))
