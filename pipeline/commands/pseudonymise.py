"""Put pseudonyms into a site's own table, with a key that never leaves the site."""

import argparse
import sys
from pathlib import Path

OWNER_ONLY = 0o600
KEEP = (
    "Keep the key and the key list where your records are, apart from what you hand in, and never "
    "hand them in: whoever has one of them can tell who is who. Without the key the next delivery "
    "gets other pseudonyms, and nobody can be left out who withdraws."
)


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "pseudonymise",
        help="put pseudonyms into your own table before you hand it in",
        description=(
            "Replaces record numbers by pseudonyms in a .csv file or a workbook, and writes a new "
            "file beside it with the values of the cells and nothing else. The same key gives the "
            "same pseudonyms, in every table and every delivery. Sends nothing anywhere. All other "
            "columns stay as they are: names, dates and addresses are yours to delete."
        ),
        epilog=(
            "Example: ./run pseudonymise records.xlsx --replace 'Case no=episode_id' --replace "
            "'Patient no=patient_id' --key our_site.key"
        ),
    )
    parser.add_argument("path", type=Path, help="a .csv file or a workbook (.xlsx)")
    parser.add_argument(
        "--replace",
        action="append",
        required=True,
        metavar="HEADER=COLUMN",
        help=(
            "your own header, and what it becomes: patient_id or episode_id; may be given more "
            "than once"
        ),
    )
    parser.add_argument(
        "--key",
        type=Path,
        required=True,
        help="file with the site's secret key; it is made if it is not there",
    )
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the table with pseudonyms and the key list beside it;
    what stands in the way ends with a sentence."""
    from pipeline.coordinator.pseudonyms import KeyList, SharedPseudonym, make_key, replace_in_file

    path, headers = arguments.path, read_headers(arguments.replace)
    if path.suffix.lower() not in (".csv", ".xlsx") or not path.is_file():
        sys.exit(f"{path} is no .csv file and no workbook (.xlsx).")
    table, entries = (
        path.with_name(f"{path.stem}_{what}{end}")
        for what, end in (("pseudonyms", path.suffix.lower()), ("key_list", ".csv"))
    )
    if existing := [str(target) for target in (table, entries) if target.exists()]:
        sys.exit(f"{' and '.join(existing)} must not exist yet.")
    made = not arguments.key.exists()
    key = make_key() if made else arguments.key.read_text("ascii").strip()
    known = KeyList(key.encode())
    try:
        content, replaced = replace_in_file(path, headers, known)
    except SharedPseudonym:
        sys.exit(
            "Two records would get the same pseudonym: use another key, for all tables. Nothing "
            "was written."
        )
    if lacking := [header for header in headers if header not in replaced]:
        sys.exit(f"No column is called {', '.join(lacking)}. Nothing was written.")
    if made:
        arguments.key.touch(OWNER_ONLY)
        arguments.key.write_text(key + "\n", "ascii")
    table.write_bytes(content)
    entries.touch(OWNER_ONLY)
    entries.write_bytes(known.write())
    print(
        f"{table} holds {len(set(known.pseudonyms.values())):,} pseudonyms: delete what else could "
        "identify somebody, then check it (./run check)."
    )
    print(
        f"{arguments.key} {'is the new key' if made else 'is the key'}; {entries} says who is who. "
        f"{KEEP}"
    )


def read_headers(given: list[str]) -> dict[str, str]:
    """The site's own headers, each with the column of the dictionary that it becomes."""
    from pipeline.coordinator.pseudonyms import PREFIXES

    headers = {}
    for pair in given:
        header, _, column = pair.rpartition("=")
        if not header or column not in PREFIXES:
            sys.exit(
                f"--replace takes your header and one of {', '.join(PREFIXES)}, as 'Patient "
                "no=patient_id'."
            )
        headers[header.strip()] = column
    return headers
