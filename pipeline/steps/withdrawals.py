"""Search all that a run has made for those who withdrew their consent: the run fails if one is found, and says only where."""

import argparse
import sys
from pathlib import Path

import pandas as pd

from pipeline.intake.withdrawals import read_withdrawn
from pipeline.steps.run import run_step
from pipeline.warehouse import open_warehouse
from schemas.warehouse import SINGULAR

TEXTS = (".csv", ".html", ".log", ".json", ".txt")


def main() -> None:
    """Read the command line, search, and write how many withdrew at each site."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--results", type=Path, required=True, help="folder of everything that the run has made")
    parser.add_argument("--out", type=Path, required=True, help="file to write: a line a site")
    parser.add_argument("sites", type=Path, nargs="*", help="folders of the sites that have a list")
    arguments = parser.parse_args()
    withdrawn = {folder.name: read_withdrawn(folder)[0] for folder in arguments.sites}
    found = [place for site, codes in withdrawn.items() for place in search(arguments.results, site, codes)]
    if found:
        sys.exit("somebody who withdrew is still in: " + ", ".join(sorted(set(found))))
    counts = {"site": list(withdrawn), "patients_withdrawn": [len(codes) for codes in withdrawn.values()]}
    pd.DataFrame(counts).to_csv(arguments.out, index=False)


def search(results: Path, site: str, codes: frozenset[str]) -> list[str]:
    """The places in which one of the codes of a site stands: tables of the store, files of its rows, its pages and lists."""
    found = []
    with open_warehouse(results / "warehouse.duckdb") as store:
        for name in SINGULAR:
            rows = store.read(name)
            own = rows[rows["site"].eq(site)] if "site" in rows else rows
            found += [f"table {name}"] if _holds(own, codes) else []
    for path in sorted((results / "rows" / site).rglob("*.parquet")):
        found += [path.relative_to(results).as_posix()] if _holds(pd.read_parquet(path), codes) else []
    for path in sorted(
        p for part in ("intake", "sites") for p in (results / part / site).rglob("*.*") if p.suffix in TEXTS
    ):
        words = set(path.read_text("utf-8").casefold().replace(",", " ").replace("<", " ").replace(">", " ").split())
        found += [path.relative_to(results).as_posix()] if words & codes else []
    return found


def _holds(rows: pd.DataFrame, codes: frozenset[str]) -> bool:
    """Whether a text of the rows is, or quotes, one of the codes."""
    texts = rows.select_dtypes(["string", "object"])
    said = {str(text).casefold() for column in texts for text in texts[column].dropna().unique()}
    return any(code in said or any(f'"{code}"' in text for text in said) for code in codes)


if __name__ == "__main__":
    run_step(main)
