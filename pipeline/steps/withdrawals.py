"""Search all that a run has made for those who withdrew their consent:
the run fails if one is found, and says only where."""

import html
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.intake.withdrawals import read_withdrawals
from pipeline.results import WAREHOUSE
from pipeline.steps.arguments import add_path, start_parser
from pipeline.steps.pdf_text import read_texts
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.site_map import SiteMap, read_site_maps
from schemas.study import SITES
from schemas.warehouse import SINGULAR

UNUSED = f"pages of {WAREHOUSE} that no table uses"
# folders with one folder a site; the pseudonyms of two sites may be the same
OF_SITES = ("rows", "intake", "sites")
TOKEN = re.compile(r"[a-z0-9-]+")
TELLING = re.compile(
    r"(?=.*\d)(?=.*[a-z])[a-z0-9-]{5,}"
)  # other codes may be a number or a word of ours wherever nobody's codes belong


def main() -> Counts:
    """Read the command line, search, and write how many withdrew at each site."""
    parser = start_parser(__doc__)
    add_path(parser, "--results", "folder of everything that the run has made")
    add_path(parser, "--out", "file to write: a line a site")
    parser.add_argument("sites", type=Path, nargs="*", help="folders of the sites that have a list")
    arguments = parser.parse_args()
    site_maps = read_site_maps(arguments.plan / SITES)
    traces, counts = [], []
    for folder in arguments.sites:
        left = read_withdrawals(folder, site_maps.get(folder.name, SiteMap()))
        searched = search(arguments.results, folder.name, left.patients | left.episodes)
        traces += searched.traces
        counts.append(
            (
                folder.name,
                len(left.patients),
                len(left.episodes),
                searched.tables,
                searched.files,
                searched.pdfs,
            )
        )
    if traces:
        sys.exit(
            f"{len(traces)} places still hold somebody who withdrew: "
            + ", ".join(sorted(set(traces)))
        )
    columns = ["site", "patients_withdrawn", "episodes_left_out"]
    columns += ["tables_searched", "files_searched", "pdfs_opened"]
    withdrawn = pd.DataFrame(counts, columns=columns)
    withdrawn.to_csv(arguments.out, index=False)
    return {"lists searched for": len(withdrawn)} | withdrawn[columns[1:]].sum().to_dict()


@dataclass(frozen=True)
class Searched:
    """What a search looked at, and what it found.

    Attributes
    ----------
    traces
        The places in which a code stands, or may stand unseen.
    tables, files, pdfs
        How many tables of the store, and how many files, of which so many PDFs with their packed
        streams, were searched.
    """

    traces: list[str]
    tables: int
    files: int
    pdfs: int


def search(results: Path, site: str, codes: frozenset[str]) -> Searched:
    """Search tables of the store, and all files but those of other sites, for the codes of a
    site."""
    wanted = {
        code.casefold() for code in codes if re.search(r"\d", code)
    }  # one without a digit is a word of the dictionary
    telling = {code for code in wanted if TELLING.fullmatch(code)}
    traces = []
    with open_warehouse(results / WAREHOUSE) as store:
        if store.count_unused_pages():  # packed, so that nobody can search them
            traces.append(UNUSED)
        for name in SINGULAR:
            rows = store.read(name)
            traces += (
                [f"table {name}"]
                if holds(rows[rows["site"].eq(site)] if "site" in rows else rows, wanted)
                else []
            )
    searched = [path for path in sorted(results.rglob("*")) if _is_of(path, results, site)]
    pdfs = [path for path in searched if path.suffix == ".pdf"]
    for path in searched:
        part = path.relative_to(results).parts[0]
        if path.suffix == ".parquet":
            hit = holds(pd.read_parquet(path), wanted)
        else:
            hit = not (
                wanted if part in OF_SITES and path.suffix == ".csv" else telling
            ).isdisjoint(list_words(path))
        if path in pdfs:
            hit = hit or stands_in(path, telling)
        traces += [path.relative_to(results).as_posix()] if hit else []
    return Searched(traces, len(SINGULAR), len(searched), len(pdfs))


def _is_of(path: Path, results: Path, site: str) -> bool:
    """Whether a path is a file that is not another site's."""
    part, *beneath = path.relative_to(results).parts
    return path.is_file() and (part not in OF_SITES or beneath[0] == site)


def stands_in(path: Path, codes: set[str]) -> bool:
    """Whether a code stands anywhere in a PDF, also as a part of a word: pages place letters and
    no words."""
    return any(code in text.casefold() for text in read_texts(path.read_bytes()) for code in codes)


def holds(rows: pd.DataFrame, codes: set[str]) -> bool:
    """Whether a text of the rows is one of the codes, or holds one among other words."""
    texts = rows.select_dtypes(["string", "object"])
    values = (str(text).casefold() for column in texts for text in texts[column].dropna().unique())
    return any(text in codes or not codes.isdisjoint(TOKEN.findall(text)) for text in values)


def list_words(path: Path) -> Iterator[str]:
    """The words of a file's bytes; of a page also those that a person sees, without its tags."""
    text = path.read_bytes().decode("utf-8", "ignore").casefold()
    yield from TOKEN.findall(text)
    if path.suffix == ".html":
        yield from TOKEN.findall(html.unescape(re.sub(r"<[^>]*>", " ", text)))


if __name__ == "__main__":
    run_step(main)
