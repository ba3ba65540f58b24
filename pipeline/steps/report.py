"""Write the committee's report from the estimates, as a page, as a PDF and as single figures;
no model runs here."""

from pathlib import Path

import pandas as pd

from pipeline.disclosure.ledger import ESTIMATES, find_before, read_made_from
from pipeline.releases.compare import read_released
from pipeline.reports.committee.picture import list_pictures
from pipeline.reports.committee.report import compose_report
from pipeline.reports.committee.since import Earlier
from pipeline.reports.figures.alone import stand_alone
from pipeline.reports.render import render_page
from pipeline.reports.typeset import typeset_report
from pipeline.steps.arguments import (
    add_fingerprints,
    add_invented,
    add_path,
    add_released,
    start_parser,
)
from pipeline.steps.run import Counts, run_step
from schemas.estimate import Estimates
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and write the report."""
    parser = start_parser(__doc__)
    add_fingerprints(parser)
    add_path(parser, "--ledger", "folder that remembers every release")
    add_path(parser, "--page", "page to write")
    add_path(parser, "--pdf", "PDF to write, of the same content")
    add_path(parser, "--figures", "folder for each figure as an .svg file, and their list")
    add_invented(parser)
    add_released(parser)
    arguments = parser.parse_args()
    estimates = {path.stem: Estimates.cast(pd.read_csv(path)) for path in arguments.estimates}
    used = pd.read_csv(arguments.fingerprints, dtype="string").set_index("name")["value"].to_dict()
    content = compose_report(
        estimates,
        read_config(arguments.plan),
        used,
        earlier=_read_earlier(arguments.ledger, int(used["release"])),
        invented=arguments.invented,
    )
    arguments.page.write_text(render_page("committee.html.j2", content), "utf-8")
    typeset_report("committee.typ", content, arguments.pdf)
    figures = _write_figures(content, arguments.figures)
    return {"estimates read": sum(map(len, estimates.values())), "figures written": figures}


def _read_earlier(ledger: Path, number: int) -> Earlier | None:
    """The release before one, None if there is none."""
    folder = find_before(ledger, number)
    if folder is None:
        return None
    return Earlier(read_made_from(folder), read_released(folder / ESTIMATES))


def _write_figures(content: dict, folder: Path) -> int:
    """Each figure as a file of its own, and figures.csv: a row is a figure, with its title,
    caption and words for those who do not see it. Their number."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for picture in list_pictures(content):
        caption = f"{picture['caption']} {content['invented']}".strip()
        file = f"{picture['name'].removeprefix('figure-')}.svg"
        (folder / file).write_text(stand_alone(picture["svg"], picture["title"], caption), "utf-8")
        rows.append((file, picture["title"], caption, picture["alt"]))
    pd.DataFrame(rows, columns=["file", "title", "caption", "alt"]).to_csv(
        folder / "figures.csv", index=False
    )
    return len(rows)


if __name__ == "__main__":
    run_step(main)
