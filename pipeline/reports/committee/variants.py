"""Variant by variant: its first maneuvers, its curve and its orders beside each other."""

from collections.abc import Sequence

import pandas as pd

from pipeline.reports.committee.curves import ENOUGH, count_told, draw_panel
from pipeline.reports.committee.first_courses import tabulate_courses
from pipeline.reports.committee.matrix import Row, name_key
from pipeline.reports.committee.order_readings import Variant
from pipeline.reports.committee.orders import tabulate_numbers
from pipeline.reports.committee.resolved import Course, say_size
from pipeline.reports.committee.strata import say_why_none
from pipeline.reports.wording import begin_sentence, join_words, name_value
from schemas.strata import split_stratum
from schemas.study import Config

NO_CURVE = "There is no curve of this variant alone."


def describe_variants(
    rows: Sequence[Row],
    orders: Sequence[Variant],
    course: Course,
    estimates: dict[str, pd.DataFrame],
    config: Config,
) -> list[dict]:
    """Describe each variant of the matrix.

    Parameters
    ----------
    rows
        First maneuvers, by `matrix.read_first_choice`.
    orders
        By `order_readings.read_orders`.
    course
        Shares by day.
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    list of dict
        Each {key, name, maneuvers, rest, courses, figure, size, no_curve, orders, no_orders}: rows
        of maneuvers with a number, in the order of the plan, and a sentence on the others; a
        section's table of what became of vertigo after each, or none; the curve with its size, or
        why there is none; a section's table of orders, or a sentence.
    """
    by_code = {variant.code: variant for variant in orders}
    return [
        _describe(row, by_code.get(row.code), course, config)
        | {"courses": tabulate_courses(estimates, row.code, config)}
        for row in rows
    ]


def _describe(row: Row, orders: Variant | None, course: Course, config: Config) -> dict:
    known = list(dict.fromkeys(maneuver.family for maneuver in config.maneuvers.values()))
    families = sorted(row.cells, key=lambda f: known.index(f) if f in known else len(known))
    names = {f: begin_sentence(name_value("family", f, config)) for f in families}
    shown = [f for f in families if row.cells[f].told or row.cells[f].needed.usable]
    table = tabulate_numbers(orders, config) if orders else None
    return {
        "key": name_key(row.code),
        "name": row.name,
        "maneuvers": [{"name": names[f], **row.cells[f].show()} for f in shown],
        "rest": _say_rest(row, [names[f] for f in families if f not in shown], bool(shown)),
        **_draw(row.code, course, config),
        "orders": table,
        "no_orders": "" if table else "The pool cannot tell yet about orders in this variant.",
    }


def _say_rest(row: Row, names: list[str], some: bool) -> str:
    """What is to be said in place of numbers."""
    if row.without:
        return f"{begin_sentence(row.without)}."
    if not names:
        return "" if some else "The pool cannot tell yet about maneuvers in this variant."
    return f"No number: {join_words(names)}."


def _draw(code: str, course: Course, config: Config) -> dict:
    """The curve of a variant as a figure, or a sentence in its place."""
    stratum = _find_stratum(code, course, config)
    if config.study.variants[code].is_circular:
        return {"figure": None, "size": "", "no_curve": ""}
    if stratum is None:
        return {"figure": None, "size": "", "no_curve": NO_CURVE}
    if count_told(course.model, stratum, config) < ENOUGH:
        why = say_why_none(course.model, stratum)
        return {"figure": None, "size": "", "no_curve": f"There is no curve: {why}."}
    size = f"{begin_sentence(say_size(course, stratum))}."
    return {"figure": draw_panel(stratum, course, config), "size": size, "no_curve": ""}


def _find_stratum(code: str, course: Course, config: Config) -> str | None:
    """The part of the pool that is the variant, no more and no less; None where the curves have
    none."""
    variant = config.study.variants[code]
    if not variant.suspected:
        return None
    wanted = {"basis" if k == "arm_basis" else k: v for k, v in variant.values.items()}
    strata = course.model.strata()
    return next((stratum for stratum in strata if dict(split_stratum(stratum)) == wanted), None)
