"""Tools for people at a terminal: `python -m pipeline --help`."""

import argparse
import sys
from pathlib import Path

from pipeline.explain import NoSuchEpisode, explain_episode
from pipeline.warehouse import open_warehouse
from schemas.study import read_config

PLAN = Path(__file__).parent.parent / "config"


def main() -> None:
    """Read the command line and run one tool."""
    parser = argparse.ArgumentParser(prog="python -m pipeline", description=__doc__)
    tools = parser.add_subparsers(dest="tool", required=True)
    explain = tools.add_parser(
        "explain",
        help="say for one stored episode what each look means, and why the verdict is what it is",
        description="Prints the record of one episode with the criteria that its looks meet and do not meet. It quotes the record: keep it where the record is.",
    )
    explain.add_argument("site", help="code of the site, as S03")
    explain.add_argument("episode", help="pseudonym of the episode, as EP-0042")
    explain.add_argument(
        "--results", type=Path, default=Path("results"), help="folder of the results (default: results)"
    )
    explain.add_argument("--plan", type=Path, default=PLAN, help="folder with the plan (default: the project's own)")
    arguments = parser.parse_args()
    warehouse = arguments.results / "warehouse.duckdb"
    if not warehouse.exists():
        sys.exit(f"{warehouse} does not exist: run the workflow first, or name its results with --results")
    try:
        with open_warehouse(warehouse) as store:
            print(explain_episode(store, arguments.site, arguments.episode, read_config(arguments.plan)))
    except NoSuchEpisode as missing:
        sys.exit(str(missing))


if __name__ == "__main__":
    main()
