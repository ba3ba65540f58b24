"""Tables of the technical report as plain dicts: one row an estimate, its status always beside it.

A table is {caption, note, first, columns, axis, groups}; a group is {heading, rows}; a row is
{label, sub, cells, picture, statuses, status}. Rows of single sites are never shown: the report is
read outside of them. What is told of them is how many sites have a number, and the lowest, middle
and highest, where at least as many sites have one as the plan asks for statements on sites.
"""

import re
from functools import partial
from typing import Any

import pandas as pd

from pipeline.reports.technical.pictures import draw_axis
from pipeline.reports.technical.terms import (
    name_part,
    name_term,
    name_variable,
    write_limits,
    write_number,
    write_p,
)
from pipeline.reports.wording import begin_sentence, join_words
from schemas import codes
from schemas.study import Config

SITE = re.compile(r"\bsite=([^,:\s]+)")
NAMED = ["stratum", "term", "comparison"]
TEXTS = [*NAMED, "population", "endpoint", "method", "note"]
APART = 3  # rows of a stratum from which it gets a heading of its own
NUMBER_COLUMNS = [
    "Estimate",
    "95 % CI",
    "Std. error",
    "P",
    "P adjusted",
    "Episodes",
    "Events",
    "Sites",
    "Method",
]


def list_site_codes(estimates: dict[str, pd.DataFrame]) -> list[str]:
    """The codes of the sites that any estimate names."""
    named = {
        text
        for rows in estimates.values()
        for column in NAMED
        for text in rows[column].dropna().unique()
    }
    return sorted({code for text in named for code in SITE.findall(text)})


def mask_sites(rows: pd.DataFrame, site_codes: list[str]) -> pd.DataFrame:
    """The rows with every site's code in their texts replaced by a word."""
    if not site_codes:
        return rows
    code = re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, site_codes))})(?!\w)")
    masked = rows.copy()
    for column in TEXTS:
        masked[column] = masked[column].map(lambda text: code.sub("SITE", text), na_action="ignore")
    return masked


def split_sites(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The rows that name no single site, and those that do."""
    single = pd.Series(False, index=rows.index)
    for column in NAMED:
        single |= rows[column].fillna("").str.contains("site=", regex=False).astype(bool)
    return rows[~single], rows[single]


def number_methods(rows: pd.DataFrame) -> dict[str, int]:
    """The methods of an analysis, numbered in the order in which they come."""
    return {
        method: number for number, method in enumerate(rows["method"].dropna().unique(), start=1)
    }


def tabulate_rows(rows: pd.DataFrame, methods: dict[str, int], config: Config) -> list[dict]:
    """All numbers of the rows, one table for each population and meaning of 'resolved'."""
    filled = rows.assign(endpoint=rows["endpoint"].fillna(""))
    parts = list(filled.groupby(["population", "endpoint"], sort=False))
    # the primary one first
    parts.sort(key=lambda part: part[0][1] not in ("", config.study.resolution.primary))
    return [
        _tabulate(part, methods, config, name_population(population, endpoint))
        for (population, endpoint), part in parts
    ]


def name_population(population: str, endpoint: str | None) -> str:
    """What stands over a table."""
    name = begin_sentence(population.replace("_", " "))
    if not endpoint or pd.isna(endpoint):
        return name
    return f"{name}; resolved: {codes.ENDPOINT[endpoint]} ({endpoint.replace('_', ' ')})"


def _tabulate(rows: pd.DataFrame, methods: dict[str, int], config: Config, caption: str) -> dict:
    """One table: strata of several rows under their names, the others under the variables that
    divide them."""
    groups: dict[str, list[dict]] = {}
    for stratum, part in rows.groupby("stratum", sort=False):
        alone = len(part) < APART and stratum != "all"
        heading = _say_variables(stratum) if alone else begin_sentence(name_part(stratum, config))
        made = [
            _make_row(row, methods, config, stratum if alone else None) for row in part.itertuples()
        ]
        groups.setdefault(heading, []).extend(made)
    kept = [
        k
        for k in range(len(NUMBER_COLUMNS))
        if any(row["cells"][k] for part in groups.values() for row in part)
    ]
    for row in (row for part in groups.values() for row in part):
        row["cells"] = [row["cells"][k] for k in kept]
    named = [{"heading": heading, "rows": part} for heading, part in groups.items()]
    return make_table(caption, [NUMBER_COLUMNS[k] for k in kept], named)


def _say_variables(stratum: str) -> str:
    """The variables that make a stratum: 'By canal and arm'."""
    names = [name_variable(part.partition("=")[0]) for part in stratum.split(",") if "=" in part]
    return f"By {join_words(names)}" if names else "Other parts"


def _make_row(row: Any, methods: dict[str, int], config: Config, part: str | None) -> dict:
    """A row named by its term, or by its `part` where that has no heading."""
    term = name_term(row.analysis, row.stratum, row.term, config)
    compared = f"against {name_part(row.comparison, config)}" if pd.notna(row.comparison) else ""
    label, under = (term, "") if part is None else (name_part(part, config), term)
    cells = [
        write_number(row.estimate),
        write_limits(row.lower, row.upper, row.status),
        write_number(row.std_error),
        write_p(row.p_value),
        write_p(row.p_adjusted),
        *(write_number(count) for count in (row.n_episodes, row.n_events, row.n_sites)),
        str(methods.get(row.method, "")),
    ]
    return {
        "label": begin_sentence(label),
        "sub": "; ".join(words for words in (under, compared) if words),
        "cells": cells,
        "picture": None,
        **say_status([row]),
    }


def say_status(rows: list) -> dict:
    """The statuses behind one row of a table, for the filter (`statuses`),
    and with their notes (`notes`)."""
    notes = list(dict.fromkeys((row.status, "" if pd.isna(row.note) else row.note) for row in rows))
    return {"statuses": " ".join(dict.fromkeys(status for status, _ in notes)), "said": notes}


def make_table(caption: str, columns: list[str], groups: list[dict], **more: Any) -> dict:
    """A table for the template; `note`, `first` and `scale` say what most tables need not say.

    A note that all usable rows share stands once over the table.
    """
    rows = [row for group in groups for row in group["rows"]]
    notes = [note for row in rows for status, note in row["said"] if status == "ok"]
    shared = notes[0] if len(notes) >= APART and len(set(notes)) == 1 else ""
    for row in rows:
        clauses = [
            (status, "" if status == "ok" and note == shared else note)
            for status, note in row.pop("said")
        ]
        row["status"] = "; ".join(": ".join(filter(None, pair)) for pair in clauses)
    notes = [more.get("note", ""), begin_sentence(shared) + "." if shared else ""]
    return {
        "caption": caption,
        "note": " ".join(filter(None, notes)),
        "first": more.get("first", "Quantity"),
        "columns": columns,
        "axis": draw_axis(more["scale"]) if "scale" in more else None,
        "groups": groups,
    }


def summarise_sites(rows: pd.DataFrame, config: Config) -> dict | None:
    """One row for each quantity that single sites have, None if there is none;
    sites are not told apart."""
    if rows.empty:
        return None
    keys = [
        rows[column].fillna("").str.replace(SITE, "site=one", regex=True).rename(column)
        for column in NAMED
    ]
    endpoints = rows["endpoint"].fillna("").rename("endpoint")
    made = [
        _summarise(name, part, config)
        for name, part in rows.groupby([endpoints, *keys], sort=False)
    ]
    least = config.study.guards.min_sites
    note = (
        "No site can be told from another here. Lowest, middle and highest are given where at "
        f"least {least} sites have a number."
    )
    columns = ["Sites with a number", "Sites without", "Lowest", "Middle", "Highest"]
    return make_table(
        "Single sites, not told apart", columns, [{"heading": "", "rows": made}], note=note
    )


def _summarise(name: tuple, part: pd.DataFrame, config: Config) -> dict:
    endpoint, stratum, term, comparison = name
    numbers = part.loc[part["status"].eq("ok"), "estimate"].dropna().astype(float)
    enough = len(numbers) >= config.study.guards.min_sites
    ends = [numbers.min(), numbers.median(), numbers.max()] if enough else [None] * 3
    stratum_name = "" if stratum in ("site=one", "all") else name_part(stratum, config)
    clauses = [
        stratum_name,
        f"against {name_part(comparison, config)}" if comparison else "",
        endpoint,
    ]
    counts = part["status"].value_counts()
    return {
        "label": begin_sentence(name_term(part["analysis"].iloc[0], stratum, term, config)),
        "sub": "; ".join(words for words in clauses if words),
        "cells": [
            str(len(numbers)),
            str(len(part) - len(numbers)),
            *(write_number(end) for end in ends),
        ],
        "picture": None,
        "statuses": " ".join(counts.index),
        "said": [(f"{status} ({count})", "") for status, count in counts.items()],
    }


def list_withheld(
    estimates: dict[str, pd.DataFrame], titles: dict[str, str], config: Config
) -> dict:
    """Every number that is withheld, counted by analysis, status and reason,
    with the quantities that it concerns."""
    groups = []
    for analysis, rows in estimates.items():
        withheld = rows[rows["status"].ne("ok")]
        parts = [
            _count_reason(reason, part, config)
            for reason, part in withheld.groupby(["status", "note"], sort=True)
        ]
        if parts:
            groups.append({"heading": titles[analysis], "rows": parts})
    return make_table(
        "Withheld numbers, by reason", ["Numbers", "Parts"], groups, first="Quantities"
    )


def _count_reason(reason: tuple[str, str], part: pd.DataFrame, config: Config) -> dict:
    alike = part.assign(term=part["term"].str.replace(r"(?<=day_)\d+", "…", regex=True))
    keys = alike[["analysis", "stratum", "term"]].drop_duplicates().itertuples(index=False)
    name = partial(name_term, config=config)
    names = list(dict.fromkeys(name(*key) for key in keys))
    more = f"; and {len(names) - 8} more" if len(names) > 8 else ""
    strata = part["stratum"].str.replace(SITE, "site=one", regex=True)
    return {
        "label": begin_sentence("; ".join(names[:8])) + more,
        "sub": "",
        "cells": [str(len(part)), str(strata.nunique())],
        "picture": None,
        "statuses": reason[0],
        "said": [reason],
    }
