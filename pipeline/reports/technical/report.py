"""The whole technical report as one plain dict: disclosed estimates in, texts and tables out;
nothing is estimated here."""

from collections.abc import Sequence

import pandas as pd

from pipeline.reports.cautions import say_red_flags, tabulate_cautions
from pipeline.reports.technical.checklist import RECORD, STROBE, TARGET, map_items
from pipeline.reports.technical.condense import condense_rows
from pipeline.reports.technical.orders import G_FORMULA, WEIGHTED, view_both_ways
from pipeline.reports.technical.sites import MONITORING, show_sites
from pipeline.reports.technical.tables import (
    list_site_codes,
    list_withheld,
    mask_sites,
    number_methods,
    split_sites,
    summarise_sites,
    tabulate_rows,
)
from pipeline.reports.technical.views import VIEWS, collect_among
from schemas import codes
from schemas.declared import PLAN
from schemas.demonstration import INVENTED
from schemas.notes import NEWER
from schemas.quantities import DIAGNOSTICS, VARIANCES, Undeclared
from schemas.study import Config

# places of the page besides the analyses
SECTIONS = {"about", "cautions", "contents", "plan", "used", "withheld"}


def compose_technical(
    estimates: dict[str, pd.DataFrame],
    config: Config,
    plan_files: dict[str, str],
    used: dict[str, str],
    *,
    figures: Sequence[dict[str, str]] = (),
    invented: bool = False,
) -> dict:
    """Compose what `technical.html.j2` shows.

    Parameters
    ----------
    estimates
        Disclosed ones (schemas.estimate.Estimates) by analysis; an empty or absent one is said to
        be absent.
    config
        The plan.
    plan_files
        Texts of the plan by file name.
    used
        Fingerprints and versions behind the numbers.
    figures
        Rows of figures/figures.csv.
    invented
        Whether it is the demonstration pool.

    Returns
    -------
    dict
        The content of the page.
    """
    ordered = _order({name: rows for name, rows in estimates.items() if len(rows)})
    titles = {name: PLAN[name].text.title for name in ordered}
    site_codes = list_site_codes(ordered)
    masked = {name: mask_sites(rows, site_codes) for name, rows in ordered.items()}
    sections = {name: _compose_section(name, masked, config) for name in masked}
    if MONITORING in sections:
        sections[MONITORING] |= show_sites(ordered, sections[MONITORING]["tables"], config)
    without_sites = {name: split_sites(rows)[0] for name, rows in masked.items()}
    return {
        "title": config.study.title,
        "invented": INVENTED if invented else "",
        "stays": used.get(NEWER, ""),
        "figures": list(figures),
        "red_flags": say_red_flags(config.criteria),
        "cautions": tabulate_cautions(config.maneuvers),
        "used": [{"name": name.replace("_", " "), "value": value} for name, value in used.items()],
        "contents": [_count(name, rows, titles) for name, rows in masked.items()],
        "absent": [analysis.text.title for name, analysis in PLAN.items() if name not in ordered],
        "sections": list(sections.values()),
        "variance": collect_among(without_sites, VARIANCES, titles, config),
        "diagnostics": collect_among(without_sites, DIAGNOSTICS, titles, config),
        "withheld": list_withheld(masked, titles, config),
        "rounding": say_rounding(config),
        "statuses": [
            {"code": code, "meaning": meaning} for code, meaning in codes.ESTIMATE_STATUS.items()
        ],
        "plan": [{"name": name, "text": text} for name, text in plan_files.items()],
        "checklists": [
            {"name": name, "items": map_items(items, SECTIONS | set(ordered))}
            for name, items in (("STROBE", STROBE), ("RECORD", RECORD), ("TARGET", TARGET))
        ],
    }


def say_rounding(config: Config) -> str:
    """How released numbers were rounded; the tables do not say so at each of them."""
    rule = config.study.disclosure
    return (
        f"Counts of people are rounded to multiples of {rule.round_counts}, and fewer than "
        f"{rule.least_shown} are not shown; shares have two decimals, or steps of 0.05 where that "
        "would tell too much, as the column rounded of the files says. Rounded parts may not add "
        "up to their whole. The exact numbers stay with whoever ran this."
    )


def _order(estimates: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """In the order of the plan; raises Undeclared for an analysis that is not in it."""
    unknown = [name for name in estimates if name not in PLAN]
    if unknown:
        raise Undeclared(f"{unknown[0]} is no analysis of schemas/declared")
    return {name: estimates[name] for name in PLAN if name in estimates}


def _count(name: str, rows: pd.DataFrame, titles: dict[str, str]) -> dict:
    """A line of the contents: how many numbers can be used,
    and how many have which other status."""
    counts = rows["status"].value_counts()
    return {
        "name": name,
        "title": titles[name],
        "counts": [int(counts.get(status, 0)) for status in codes.ESTIMATE_STATUS],
        "rows": len(rows),
    }


def _compose_section(name: str, estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    every, single = split_sites(estimates[name])
    plain = condense_rows(name, every, config.study.curves.days)
    tables, others = VIEWS[name](plain, config) if name in VIEWS else ([], plain)
    if name == WEIGHTED:
        tables = view_both_ways(estimates.get(G_FORMULA, plain.iloc[:0]), plain, config)
        others = plain.iloc[:0]
    methods = number_methods(plain)
    shown = tabulate_rows(others, methods, config)
    sites = summarise_sites(single, config)
    return {
        "name": name,
        "text": PLAN[name].text,
        "pictures": [],
        "tables": [*tables, *shown, *([sites] if sites else [])],
        "methods": [{"number": number, "text": method} for method, number in methods.items()],
        "left_out": len(every) - len(plain),
    }
