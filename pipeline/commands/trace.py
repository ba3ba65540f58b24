"""Say where a released number comes from: its row, whom it counts, its code and its plan."""

import argparse
import os
import sys
from pathlib import Path

from pipeline.commands.arguments import add_plan


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "trace",
        help="say where a released number comes from",
        description=(
            "Goes from a released number back to its row, whom it counts, the function that made "
            "it and the values of the plan that this reads. Where the store of the same run lies "
            "beside the release, the analysis runs once more, and how many episodes of each site "
            "are counted is said too: keep that where the records are."
        ),
    )
    parser.add_argument("analysis", help="as in the technical report, such as resolution_curves")
    parser.add_argument("quantity", help="the term, such as resolved_by_day_30")
    parser.add_argument(
        "stratum",
        nargs="*",
        default=[],
        help=(
            "its parts, such as canal=posterior (default: all); population=, endpoint= and "
            "comparison= narrow what else has this name"
        ),
    )
    parser.add_argument(
        "--results",
        type=Path,
        default=Path("results"),
        help="folder of the results, for the newest release in it (default: results)",
    )
    parser.add_argument("--release", type=Path, help="folder of another release")
    parser.add_argument(
        "--episodes",
        type=Path,
        help="file to write the episodes that are counted to, for the owner's eyes",
    )
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Print the trace; a name that is none ends with a sentence."""
    from pipeline.releases.package import NoRelease
    from pipeline.trace.released import NoSuchRow
    from pipeline.trace.trace import CannotWrite, trace_number

    if arguments.episodes and arguments.episodes.exists():
        sys.exit(f"{arguments.episodes} must not exist yet.")
    try:
        lines = trace_number(
            (arguments.analysis, arguments.quantity, arguments.stratum),
            arguments.results,
            arguments.release,
            arguments.plan,
            arguments.episodes,
        )
        for line in lines:
            print(line, flush=True)
    except (NoRelease, NoSuchRow, CannotWrite) as fault:
        sys.exit(str(fault))
    except BrokenPipeError:  # the reader of a pipe has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
