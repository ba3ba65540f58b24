"""Take in deliveries: each one's rows, set-aside rows and problems,
and a page for the coordinator who handed it in."""

from collections import Counter
from pathlib import Path

from pipeline.intake.keep import require_kept
from pipeline.intake.receive import Received, receive_delivery
from pipeline.intake.report import describe_intake, format_problems
from pipeline.intake.withdrawals import read_withdrawals
from pipeline.reports.render import render_page
from pipeline.steps.arguments import add_invented, add_path, start_parser
from pipeline.steps.run import Counts, run_step
from schemas.plan_parts import take_parts
from schemas.site_map import SiteMap
from schemas.study import read_config


def main() -> Counts:
    """Read the command line and take in the deliveries, in the order given:
    a site's earlier ones come first. Where their rows ended."""
    parser = start_parser(__doc__)
    add_path(parser, "--results", "folder to write to")
    add_invented(parser)
    parser.add_argument("deliveries", type=Path, nargs="+", help="folders .../<site>/<delivery>")
    arguments = parser.parse_args()
    config = take_parts(read_config(arguments.plan), "intake")
    withdrawals = {
        site: read_withdrawals(site, config.sites.get(site.name, SiteMap()))
        for site in {folder.parent for folder in arguments.deliveries}
    }
    last_accepted: dict[str, Received] = {}
    counts: Counter[str] = Counter()
    for folder in arguments.deliveries:
        previous = last_accepted.get(folder.parent.name)
        received = receive_delivery(
            folder, config, previous, withdrawals=withdrawals[folder.parent]
        )
        if received.accepted:
            last_accepted[received.site] = received
        content = describe_intake(received, previous, invented=arguments.invented)
        _write_received(received, content, arguments.results)
        counts.update({"deliveries": 1, "deliveries refused": int(not received.accepted)})
        counts.update(received.tables["row_counts"].filter(like="rows_").sum().to_dict())
    return {name.replace("_", " "): int(count) for name, count in counts.items()}


def _write_received(received: Received, content: dict, results: Path) -> None:
    require_kept(received.tables)
    rows, page = (results / part / received.site / received.delivery for part in ("rows", "intake"))
    for folder in (rows, page):
        folder.mkdir(parents=True, exist_ok=True)
    for name, table in received.tables.items():
        table.to_parquet(rows / f"{name}.parquet", index=False)
    (page / "problems.csv").write_text(format_problems(received), "utf-8")
    (page / "report.html").write_text(render_page("intake.html.j2", content), "utf-8")


if __name__ == "__main__":
    run_step(main)
