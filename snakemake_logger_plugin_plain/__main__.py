"""Starts Snakemake as a person wants it: a wrong option and an early stop are told in a
sentence."""

import argparse
import sys


def main() -> None:
    """Run Snakemake with the words of the command line."""
    # a hundred lines, with the sentence that matters below them
    # mypy takes no replaced method; Snakemake has no setting for it
    argparse.ArgumentParser.print_usage = lambda *_: None  # type: ignore[method-assign]
    sys.argv[0] = "./run"
    try:
        from snakemake.cli import main as run  # it takes a second, in which a person may stop

        run()
    except KeyboardInterrupt:
        print("\nStopped before anything was done.", file=sys.stderr)
        sys.exit(130)


if __name__ == "__main__":
    main()
