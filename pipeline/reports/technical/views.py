"""Special views: where rows of an analysis belong beside each other.

Each takes its rows and gives back the tables and the rest.
"""

from collections.abc import Callable, Iterable
from typing import Any

import pandas as pd

from pipeline.reports.technical.answers import view_answers
from pipeline.reports.technical.courses import view_courses
from pipeline.reports.technical.grids import view_agreement, view_planted
from pipeline.reports.technical.pictures import SHARES, Mark, Scale, choose_scale, draw_marks
from pipeline.reports.technical.second_fits import view_model_agreement
from pipeline.reports.technical.tables import make_table, name_population, say_status
from pipeline.reports.technical.terms import (
    name_part,
    name_term,
    select_terms,
    write_limits,
    write_number,
)
from pipeline.reports.wording import begin_sentence
from schemas.declared import DECLARED, find_declared
from schemas.denominators import BASES, Base
from schemas.failure import REASON, VIEW
from schemas.study import Config

View = Callable[[pd.DataFrame, Config], tuple[list[dict], pd.DataFrame]]
NAIVE = "naive_"
SECOND_LINE = "second_line"
CONTRASTS = {  # heading: quantities, and whether the scale is one of ratios
    "Shares resolved": (("risk_{arm}_day_{day}",), False),
    "Differences of shares": (("risk_difference_day_{day}",), False),
    "Ratios of shares": (("risk_ratio_day_{day}",), True),
    "Mean days to resolution": (("mean_days_{arm}", "mean_days_difference"), False),
}
BALANCE = find_declared(SECOND_LINE, "smd_{when}:{level}")
BY_VARIATION = find_declared("sensitivity", "resolved_by_day_{day}")


def view_ledger(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Every base with its number, the larger one that it was taken from,
    and who of that one is not in it."""
    by_term = {row.term: row for row in rows.itertuples()}
    made = [
        {
            "label": f"{begin_sentence(base.noun)}s {base.says}",
            "sub": f"without: {base.without}" if base.without else "",
            "cells": [_write_estimate(by_term[name]), *_write_base(by_term, name, base)],
            "picture": None,
            **say_status(
                [row for row in (by_term[name], by_term.get(f"without_{name}")) if row is not None]
            ),
        }
        for name, base in BASES.items()
        if name in by_term
    ]
    columns = ["Number", "In episodes", "Of", "How many these are", "Not in it"]
    table = make_table(
        "Denominators: whom each number counts",
        columns,
        [{"heading": "", "rows": made}],
        first="Group",
    )
    return [table], rows.iloc[:0]


def _write_base(by_term: dict, name: str, base: Base) -> list[str]:
    """Episodes of a base, the larger base and its number, and how many of it are left."""
    larger, left = by_term.get(base.of), by_term.get(f"without_{name}")
    of = f"{BASES[base.of].noun}s {BASES[base.of].says}" if base.of else ""
    return [
        write_number(by_term[name].n_episodes),
        of,
        _write_estimate(larger),
        _write_estimate(left),
    ]


def view_failures(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Each reason at the time of the failure and in hindsight, side by side."""
    taken = rows[rows["stratum"].str.fullmatch(r"view=\w+,reason=\w+") & rows["term"].eq("share")]
    by_stratum = {row.stratum: row for row in taken.itertuples()}
    tables, scale = [], choose_scale(map(_mark, _usable(taken)))
    for population in taken["population"].unique():
        made = []
        for reason, meaning in REASON.items():
            pair = [by_stratum.get(f"view={view},reason={reason}") for view in VIEW]
            pair = [
                row if row is not None and row.population == population else None for row in pair
            ]
            if any(pair):
                made.append(_pair_row(begin_sentence(meaning), pair, scale))
        note = (
            "Upper, filled dot: at the time. Lower, open dot: in hindsight. Several reasons are "
            "possible for one failure."
        )
        tables.append(
            _make_pairs(
                name_population(population, None),
                ("At the time", "In hindsight"),
                made,
                scale,
                note,
            )
        )
    return tables, rows.drop(taken.index)


def view_second_line(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Weighted beside naive, then balance before and after weighting; sizes,
    weights and E-values are left."""
    rows = rows.assign(comparison=rows["comparison"].fillna(""))
    tables, taken = [], []
    for heading, (terms, log) in CONTRASTS.items():
        declared = [find_declared(SECOND_LINE, way + term) for term in terms for way in ("", NAIVE)]
        part = rows[select_terms(rows, *declared)]
        taken += list(part.index)
        if len(part):
            tables.append(_compare_naive(heading, part, log, config))
    balance = rows[select_terms(rows, BALANCE)]
    if len(balance):
        tables.append(_show_balance(balance, config))
    return tables, rows.drop([*taken, *balance.index])


def _compare_naive(heading: str, part: pd.DataFrame, log: bool, config: Config) -> dict:
    scale = choose_scale(map(_mark, _usable(part)), log=log)
    groups = []
    for stratum, members in part.groupby("stratum", sort=False):
        by_term = {row.term: row for row in members.itertuples()}
        names = dict.fromkeys(term.removeprefix(NAIVE) for term in by_term)
        made = [
            _pair_row(
                begin_sentence(name_term(SECOND_LINE, stratum, name, config)),
                [by_term.get(name), by_term.get(NAIVE + name)],
                scale,
            )
            for name in names
        ]
        groups.append({"heading": begin_sentence(name_part(stratum, config)), "rows": made})
    note = (
        "Upper, filled dot: weighted. Lower, open dot: naive, without weights; its distance is "
        "what the weights change."
    )
    return _make_pairs(
        f"Weighted beside naive: {heading.lower()}", ("Weighted", "Naive"), groups, scale, note
    )


def _show_balance(balance: pd.DataFrame, config: Config) -> dict:
    scale = choose_scale(map(_mark, _usable(balance)))
    groups = []
    for stratum, members in balance.groupby("stratum", sort=False):
        by_term = {row.term: row for row in members.itertuples()}
        made = []
        for level in dict.fromkeys(term.partition(":")[2] for term in by_term):
            pair = [by_term.get(f"smd_{when}:{level}") for when in ("after", "before")]
            made.append(_pair_row(begin_sentence(name_part(level, config)), pair, scale))
        groups.append({"heading": begin_sentence(name_part(stratum, config)), "rows": made})
    note = (
        "Standardised difference of means, change minus repeat. Filled dot: after weighting; open "
        "dot: before. Within 0.1 of zero is commonly called balanced (Austin PC. Stat Med "
        "2009;28:3083-3107); a small difference does not rule out what was not measured."
    )
    return _make_pairs(
        "Balance of the two choices", ("After weighting", "Before"), groups, scale, note
    )


def view_sensitivity(rows: pd.DataFrame, config: Config) -> tuple[list[dict], pd.DataFrame]:
    """Each primary answer under every variation, as a dot and its limits beside the primary one."""
    taken = rows[rows["stratum"].str.startswith("variation=")]
    tables = []
    for term, members in taken.groupby("term", sort=False):
        usable = [_mark(row) for row in _usable(members)]
        scale = SHARES if BY_VARIATION.pattern.fullmatch(term) else choose_scale(usable)
        parts: dict[str, list] = {}
        for row in members.itertuples():
            variation, _, part = row.stratum.removeprefix("variation=").partition(",")
            named, part = (
                (f"{variation},{part}", "") if part in ("least", "greatest") else (variation, part)
            )
            parts.setdefault(part, []).append((named, row))
        groups = [_vary(part, variations, scale, config) for part, variations in parts.items()]
        caption = begin_sentence(name_term("sensitivity", "all", term, config))
        note = "The dashed line stands at the primary answer of the part."
        tables.append(
            make_table(caption, _COLUMNS, groups, first="Variation", scale=scale, note=note)
        )
    return tables, rows.drop(taken.index)


_COLUMNS = ["Estimate", "95 % CI", "Episodes", "Events", "Sites"]


def _vary(part: str, variations: list, scale: Scale, config: Config) -> dict:
    primary = next(
        (row.estimate for named, row in variations if named == "primary" and row.status == "ok"),
        None,
    )
    made = [
        _dot_row(begin_sentence(named.replace("_", " ").replace(",", ", ")), row, scale, primary)
        for named, row in variations
    ]
    return {
        "heading": begin_sentence(name_part(part, config)) if part else "Whole population",
        "rows": made,
    }


def collect_among(
    estimates: dict[str, pd.DataFrame], among: str, titles: dict[str, str], config: Config
) -> dict | None:
    """The rows of all analyses that are declared `among` these, one group for each analysis;
    None if there is none."""
    groups = []
    for analysis, rows in estimates.items():
        fitting = rows[
            select_terms(
                rows, *(quantity for quantity in DECLARED[analysis] if quantity.among == among)
            )
        ]
        made = [
            _dot_row(
                begin_sentence(name_term(row.analysis, row.stratum, row.term, config)),
                row,
                None,
                None,
            )
            | {"sub": name_part(row.stratum, config)}
            for row in fitting.itertuples()
        ]
        if made:
            groups.append({"heading": titles[analysis], "rows": made})
    return make_table("", _COLUMNS, groups) if groups else None


def _usable(rows: pd.DataFrame) -> Iterable:
    return (row for row in rows.itertuples() if row.status == "ok" and pd.notna(row.estimate))


def _mark(row: Any, kind: str = "main") -> Mark:
    lower, upper = (None if pd.isna(limit) else float(limit) for limit in (row.lower, row.upper))
    return Mark(float(row.estimate), lower, upper, kind)


def _dot_row(label: str, row: Any, scale: Scale | None, reference: float | None) -> dict:
    usable = row.status == "ok" and pd.notna(row.estimate)
    return {
        "label": label,
        "sub": "",
        "cells": [
            write_number(row.estimate),
            write_limits(row.lower, row.upper, row.status),
            *(write_number(count) for count in (row.n_episodes, row.n_events, row.n_sites)),
        ],
        "picture": draw_marks([_mark(row)], scale, reference) if usable and scale else None,
        **say_status([row]),
    }


def _pair_row(label: str, pair: list, scale: Scale) -> dict:
    """Two estimates of one quantity in a row: both numbers, one picture."""
    present = [row for row in pair if row is not None]
    marks = [
        _mark(row, kind)
        for row, kind in zip(pair, ("main", "other"), strict=True)
        if row is not None and row.status == "ok" and pd.notna(row.estimate)
    ]
    return {
        "label": label,
        "sub": "",
        "cells": [
            *(_write_estimate(row) for row in pair),
            *(_write_counts(present, count) for count in ("n_episodes", "n_events", "n_sites")),
        ],
        "picture": draw_marks(marks, scale) if marks else None,
        **say_status(present),
    }


def _write_counts(rows: list, count: str) -> str:
    """A count of the pair: one number where both have the same, else both."""
    return " / ".join(
        dict.fromkeys(write_number(getattr(row, count)) or "–" for row in rows)
    ).removeprefix("–")


def _write_estimate(row: Any) -> str:
    if row is None or pd.isna(row.estimate):
        return "" if row is None else row.status.replace("_", " ")
    limits = write_limits(row.lower, row.upper, row.status)
    return f"{write_number(row.estimate)} ({limits})" if limits else write_number(row.estimate)


def _make_pairs(
    caption: str, names: tuple[str, str], made: list[dict], scale: Scale, note: str
) -> dict:
    groups = made if made and "rows" in made[0] else [{"heading": "", "rows": made}]
    return make_table(
        caption, [*names, "Episodes", "Events", "Sites"], groups, scale=scale, note=note
    )


VIEWS: dict[str, View] = {
    "denominators": view_ledger,
    "diagnosis_agreement": view_agreement,
    "planted_variants": view_planted,
    "planted_answers": view_answers,
    "failure_reasons": view_failures,
    "first_courses": view_courses,
    "model_agreement": view_model_agreement,
    "second_line": view_second_line,
    "sensitivity": view_sensitivity,
}
