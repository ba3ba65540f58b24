"""Keep what may leave as a release of its own, with what proves that it was not changed since."""

from pathlib import Path

import pandas as pd

from pipeline.releases.keep import keep_release
from pipeline.releases.package import PACKAGE
from pipeline.results import fingerprint
from pipeline.steps.arguments import add_fingerprints, add_path, start_parser
from pipeline.steps.run import Counts, run_step


def main() -> Counts:
    """Read the command line, keep the release, and write where it is."""
    parser = start_parser(__doc__, plan=False)
    add_path(parser, "--results", "folder of everything that the run has made")
    add_fingerprints(parser)
    add_path(parser, "--out", "file that will say where the release is kept, and its SHA-256")
    parser.add_argument("made", type=Path, nargs="+", help="files and folders that may leave")
    arguments = parser.parse_args()
    used = pd.read_csv(arguments.fingerprints, dtype="string").set_index("name")["value"].to_dict()
    kept = keep_release(arguments.results, arguments.made, used)
    lines = pd.DataFrame({"folder": [kept.name], "sha256": [fingerprint(kept / PACKAGE)]})
    lines.to_csv(arguments.out, index=False)
    return {"files kept": sum(path.is_file() for path in kept.rglob("*"))}


if __name__ == "__main__":
    run_step(main)
