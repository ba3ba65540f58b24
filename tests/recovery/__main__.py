"""Command line of the recovery study: run pools (resumes where it stopped),
and make the table from what was run."""

import argparse
from pathlib import Path

from tests.recovery.adapters import ADAPTERS
from tests.recovery.courses_study import run_courses, write_courses
from tests.recovery.days_of_tests import run_days_of_tests, write_days_of_tests
from tests.recovery.severity_study import run_severity, write_severity
from tests.recovery.strategies import run_strategies, write_strategies
from tests.recovery.study import ANSWERS, ROOT, read_answers, run_study
from tests.recovery.table import write_slice, write_table

HERE = Path(__file__).parent
OUT = ROOT / "results" / "recovery"


def read_arguments() -> argparse.Namespace:
    """What the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m tests.recovery", description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    run = commands.add_parser(
        "run", help="answer pools 0, 1, ...; those that are answered already are left"
    )
    run.add_argument(
        "--pools",
        type=int,
        default=1000,
        metavar="N",
        help="how many pools in all (default %(default)s)",
    )
    run.add_argument(
        "--only",
        choices=list(ADAPTERS),
        action="append",
        help="this analysis; may be repeated (default: all)",
    )
    run.add_argument("--processes", type=int, choices=(1, 2), default=2)
    table = commands.add_parser(
        "table",
        help=(
            "bias, coverage and type I error of what was run, and beside it slice.jsonl, the "
            "answers that tests run again"
        ),
    )
    table.add_argument("--to", type=Path, default=HERE / "recovery.csv", metavar="FILE")
    days_of_tests = commands.add_parser(
        "days_of_tests",
        help="answer pools whose clinics test by habits of their own; writes days_of_tests.csv, "
        "tests_as_evidence.csv and tests_as_evidence_parts.csv",
    )
    days_of_tests.add_argument(
        "--pools", type=int, default=20, metavar="N", help="of each scenario (default %(default)s)"
    )
    severity = commands.add_parser(
        "severity",
        help="answer pools in which the severity at the failed examination prompts the change; "
        "writes severity.csv",
    )
    severity.add_argument(
        "--pools",
        type=int,
        default=300,
        metavar="N",
        help="without an effect, and a fifth of it of each plan with one (default %(default)s)",
    )
    strategies = commands.add_parser(
        "strategies",
        help="answer pools of known best orders of maneuvers; writes strategies.csv",
    )
    strategies.add_argument(
        "--pools", type=int, default=20, metavar="N", help="of each scenario (default %(default)s)"
    )
    courses = commands.add_parser(
        "first_courses",
        help="answer pools of known courses after first maneuvers, and of planted adverse events; "
        "writes first_courses.csv",
    )
    courses.add_argument(
        "--pools", type=int, default=20, metavar="N", help="of each scenario (default %(default)s)"
    )
    for command in (run, table, days_of_tests, severity, strategies, courses):
        command.add_argument(
            "--out",
            type=Path,
            default=OUT,
            metavar="DIR",
            help="folder of the answers (default %(default)s)",
        )
    return parser.parse_args()


def main() -> None:
    """Run the study, or make its table."""
    arguments = read_arguments()
    if arguments.command == "run":
        run_study(
            arguments.pools, arguments.only or list(ADAPTERS), arguments.out, arguments.processes
        )
    elif arguments.command == "days_of_tests":
        lines = run_days_of_tests(arguments.pools, arguments.out / "days_of_tests.jsonl")
        write_days_of_tests(lines, HERE)
    elif arguments.command == "severity":
        lines = run_severity(arguments.pools, arguments.out / "severity.jsonl")
        write_severity(lines, HERE / "severity.csv")
    elif arguments.command == "strategies":
        lines = run_strategies(arguments.pools, arguments.out / "strategies.jsonl")
        write_strategies(lines, HERE / "strategies.csv")
    elif arguments.command == "first_courses":
        lines = run_courses(arguments.pools, arguments.out / "first_courses.jsonl")
        write_courses(lines, HERE / "first_courses.csv")
    else:
        lines = list(read_answers(arguments.out / ANSWERS))
        write_table(lines, arguments.to)
        write_slice(lines, arguments.to.with_name("slice.jsonl"))


if __name__ == "__main__":
    main()
