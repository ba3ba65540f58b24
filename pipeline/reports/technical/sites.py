"""Pictures of how far sites differ, and their numbers as a table; no site is named."""

import pandas as pd

from pipeline.reports.committee.site_pictures import picture_forest, picture_funnel, read_ratios
from pipeline.reports.readings import read_estimates
from pipeline.reports.technical.tables import make_table
from schemas.study import Config

MONITORING = "site_monitoring"
SIZE = (460, 290)  # pixels, so that its letters are as large as those of the forest
ORDER = "In the order of the ratios, which chance alone would make too; no site is named."


def show_sites(estimates: dict[str, pd.DataFrame], tables: list[dict], config: Config) -> dict:
    """A forest and a funnel of the rates of resolution of sites, and their numbers before the other
    `tables` of the section; none where sites have no number."""
    primary = config.study.resolution.primary
    readings = read_estimates(estimates, MONITORING, "positional", primary)
    made = (
        picture_forest(readings, config, title="Rates of resolution with their intervals"),
        picture_funnel(
            readings,
            config,
            title="Rates of resolution and how well they are known",
            noun="site",
            size=SIZE,
        ),
    )
    rows = [
        {
            "label": "A site",
            "sub": "",
            "cells": [f"{site.ratio:.2f}", f"{site.low:.2f} to {site.high:.2f}"],
            "picture": None,
            "statuses": "ok",
            "said": [("ok", "")],
        }
        for site in read_ratios(readings, config)
    ]
    own = make_table(
        "Rates of resolution beside the mean of the sites",
        ["Ratio", "95 % CI"],
        [{"heading": "", "rows": rows}],
        first="Site",
        note=ORDER,
    )
    pictures = [picture for picture in made if picture]
    return {"pictures": pictures, "tables": [own, *tables] if rows else tables}
