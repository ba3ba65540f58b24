"""Write the data dictionary as a page, as Markdown, as .csv and as a Data Package."""

import argparse

from pipeline.commands.arguments import add_out_folder, add_plan, make_folder


def add_to(tools: argparse._SubParsersAction) -> None:
    """Add the tool's command line."""
    parser = tools.add_parser(
        "dictionary",
        help="write the data dictionary",
        description=(
            "Writes dictionary.html, dictionary.md and dictionary.csv: every column with its "
            "meaning, unit, codes, bounds and example, why it is asked for, and everything that is "
            "checked; and datapackage.json, by which any tool that knows the open standard "
            "Frictionless Data Package can read a delivery. Earlier files of these names are "
            "replaced."
        ),
    )
    add_out_folder(parser)
    add_plan(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> None:
    """Write the four files."""
    import json

    from pipeline.coordinator.dictionary import describe_dictionary, format_csv, format_markdown
    from pipeline.reports.render import render_page
    from schemas.study import read_config
    from schemas.table_schema import describe_delivery

    maneuvers = {
        code: maneuver.name for code, maneuver in read_config(arguments.plan).maneuvers.items()
    }
    make_folder(arguments.out)
    page = render_page("dictionary.html.j2", describe_dictionary(maneuvers))
    (arguments.out / "dictionary.html").write_text(page, "utf-8")
    (arguments.out / "dictionary.md").write_text(format_markdown(maneuvers), "utf-8")
    # so that Excel reads it as UTF-8
    (arguments.out / "dictionary.csv").write_text(format_csv(maneuvers), "utf-8-sig")
    package = json.dumps(describe_delivery(maneuvers), indent=1, ensure_ascii=False)
    (arguments.out / "datapackage.json").write_text(f"{package}\n", "utf-8")
    print(f"dictionary.html, .md and .csv, and datapackage.json, are in {arguments.out}")
