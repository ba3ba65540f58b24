"""Command line: write an invented pool of deliveries, with the truth behind it,
into a new folder."""

import argparse
import time
from pathlib import Path

from synthetic_data.pool import EPISODES, SEED, SITES, write_pool


def read_arguments() -> argparse.Namespace:
    """What the command line asks for."""
    parser = argparse.ArgumentParser(prog="python -m synthetic_data", description=__doc__)
    parser.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="DIR",
        help="DIR/pool and DIR/truth are made here and must not exist yet",
    )
    parser.add_argument(
        "--episodes",
        type=int,
        default=EPISODES,
        metavar="N",
        help="episodes in all (default %(default)s)",
    )
    parser.add_argument(
        "--sites",
        type=int,
        default=SITES,
        metavar="N",
        help="sites, 1 to 999 (default %(default)s)",
    )
    parser.add_argument(
        "--seed",
        type=int,
        default=SEED,
        metavar="K",
        help="same seed, same bytes (default %(default)s)",
    )
    arguments = parser.parse_args()
    if arguments.seed < 0:
        parser.error("--seed must be 0 or more")
    return arguments


def main() -> None:
    """Write the pool and say how large it is."""
    arguments = read_arguments()
    began = time.perf_counter()
    try:
        counts = write_pool(arguments.out, arguments.episodes, arguments.sites, arguments.seed)
    except (ValueError, FileExistsError) as error:
        raise SystemExit(f"nothing written: {error}") from None
    for site, episodes, examinations in counts:
        print(f"{site}  {episodes:>8} episodes  {examinations:>9} examinations")
    print(f"{sum(count[1] for count in counts)} episodes in {time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
