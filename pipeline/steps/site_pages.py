"""Write each site's own page: its numbers, its lists, what to record better.

Each stays with its site.
"""

from pathlib import Path

import pandas as pd

from pipeline.adjudication.turning_points import find_turning_points
from pipeline.analyses.description.agreement import list_disagreements, pair_diagnoses
from pipeline.intake.report import disarm
from pipeline.reports.render import render_page
from pipeline.reports.site.records import DELIVERED, DERIVED, KEPT, select_site
from pipeline.reports.site.report import compose_site_page
from pipeline.steps.arguments import add_invented, add_path, start_parser
from pipeline.steps.run import Counts, run_step
from pipeline.warehouse import open_warehouse
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and write a page and a list for each site."""
    parser = start_parser(__doc__)
    add_path(parser, "--warehouse", "file to read")
    parser.add_argument(
        "--estimates", type=Path, nargs="+", required=True, help="estimates after protection"
    )
    parser.add_argument(
        "--sites", type=Path, nargs="*", default=[], help="folders to write to, one a site"
    )
    add_invented(parser)
    arguments = parser.parse_args()
    config = read_config(arguments.plan)
    estimates = {path.stem: Estimates.cast(pd.read_csv(path)) for path in arguments.estimates}
    with open_warehouse(arguments.warehouse) as warehouse:
        tables = {name: warehouse.read(name, current=True) for name in DELIVERED}
        tables |= {name: warehouse.read(name) for name in (*DERIVED, *KEPT)}
    verdicts = tables["adjudications"]
    apart = verdicts[verdicts["positional"].eq("probable_non_positional")]
    tables["turning_points"] = find_turning_points(
        tables["episodes"].merge(apart[EPISODE], on=EPISODE),
        tables["examinations"],
        tables["treatments"],
        tables["followups"],
        config.criteria,
    )
    for folder in arguments.sites:
        records = select_site(tables, folder.name)
        content = compose_site_page(records, estimates, config, invented=arguments.invented)
        (folder / "report.html").write_text(render_page("site.html.j2", content), "utf-8")
        differing = list_disagreements(
            pair_diagnoses(records["episodes"], records["adjudications"])
        )
        differing.astype(object).map(disarm).to_csv(folder / "disagreements.csv", index=False)
    return {"sites": len(arguments.sites)} | {
        f"{name} read": rows for name, rows in warehouse.rows_read.items()
    }


if __name__ == "__main__":
    run_step(main)
