"""The section on orders of maneuvers: how each differs from the usual one of its variant, in
pictures."""

from collections.abc import Sequence

import pandas as pd

from pipeline.reports.committee.order_readings import DAYS, Order, Variant, print_as, read_orders
from pipeline.reports.committee.orders import (
    CAUTION,
    CHANCE,
    KEY,
    TITLE,
    is_clear,
    say_orders,
    say_second_way,
    say_untold,
    show_number,
)
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.committee.second_line_words import show_difference
from pipeline.reports.committee.section import make_section
from pipeline.reports.figures.ranges import Range, draw_differences, say_kinds
from pipeline.reports.wording import agree, count_words
from schemas.study import Config

MOST_DRAWN = 28  # orders in the pictures; where there are more, only those with a clear difference
WITHIN = 0.9  # of the confidence limits, which the scale holds
MOST_OF_ONE = 10  # of them in one picture, so that it finds its place on a page
CAPTION = (
    f"{say_kinds(('clear', 'unclear'))} Right of 0: more days with vertigo than in the usual "
    "order. Lines: 95 % confidence intervals."
)


def describe_orders(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The section that draws how each order differs from the usual one of its variant.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    dict
        As `make_section` gives it.
    """
    variants, plan = read_orders(estimates, config), config.study.strategies
    if not any(variant.usual or variant.others for variant in variants):
        return make_section(KEY, TITLE, [say_orders(variants, config)])
    panels, left_out = _draw_differences(variants, config)
    return make_section(
        KEY,
        TITLE,
        [
            "Each order is what would have become of all patients of the variant had they been "
            f"treated in it: a test every {plan.retest_days} days, and a further session while it "
            f"is positive, up to {count_words(plan.sessions, 'session')}. The usual order gives "
            "the maneuver that most of them had first, again until the test is negative.",
            "The numbers come from the model of resolution and of tests. All patients of a variant "
            "lend strength, also those whose sessions followed a part of the order only; those who "
            "failed under the same sessions are taken to be alike, whatever was done next.",
            say_second_way(variants),
            f"{CAUTION} {CHANCE}",
        ],
        finding=say_orders(variants, config),
        panels=panels,
        caption=CAPTION if panels else "",
        notes=[
            say_untold(variants),
            f"{count_words(left_out, 'further order')} in the technical report only."
            if left_out
            else "",
        ],
    )


def _draw_differences(variants: Sequence[Variant], config: Config) -> tuple[list[dict], int]:
    """Pictures of the differences in mean days with vertigo, in parts that may stand beside each
    other; and how many orders have no place in them, of which none differs clearly as long as there
    is room for those that do."""
    horizon = config.study.strategies.horizon_day
    every = [
        (variant, order)
        for variant in variants
        for order in variant.compared
        if order.differences[DAYS].usable
    ]
    clear = [(v, order) for v, order in every if is_clear(order, DAYS)]
    shown = every if len(every) <= MOST_DRAWN else clear[:MOST_DRAWN]
    if not shown:
        return [], 0
    many = -(-len(shown) // MOST_OF_ONE)  # of about the same size
    size = -(-len(shown) // many)
    parts = [shown[start : start + size] for start in range(0, len(shown), size)]
    ends = sorted(abs(end) for _, order in shown for end in order.differences[DAYS].ends)
    # what few of them reach is not let press all others together; its line ends in an arrow
    reach = float(max(2, -(-ends[int(WITHIN * (len(ends) - 1))] // 2) * 2))
    title = (
        f"{len(clear)} of {count_words(len(every), 'order')} "
        f"{agree(len(clear), 'differs', 'differ')} clearly from the usual one in days with vertigo"
    )
    panels = []
    for number, part in enumerate(parts, 1):
        rows = _list_ranges(part)
        said = f"{title}{f' (part {number})' if number > 1 else ''}"
        figure = make_picture(
            draw_differences,
            rows,
            name=f"figure-orders-{number}",
            title=said,
            description="; ".join(
                f"{row.heading + ': ' if row.heading else ''}{row.label} {row.number}"
                for row in rows
            )
            + ". In brackets: 95 % confidence intervals.",
            caption=CAPTION,
            reach=reach,
            unit=f"days with vertigo, of the first {horizon}, less those of the usual order",
        )
        panels.append({"name": said, "size": "", "figure": figure})
    return panels, len(every) - len(shown)


def _list_ranges(part: Sequence[tuple[Variant, Order]]) -> list[Range]:
    """A row for each order; above those of a variant its usual order, with its mean days."""
    rows: list[Range] = []
    before = None
    for variant, order in part:
        if variant is not before and variant.usual:
            days = show_number(variant.usual.numbers[DAYS], DAYS)
            usual = f"Usual: {variant.usual.name}"
            rows.append(Range(usual, f"{days} days", None, None, None, heading=variant.name))
        before = variant
        difference = order.differences[DAYS]
        kind = "clear" if is_clear(order, DAYS) else "unclear"
        number = show_difference(difference, print_as(DAYS)[0])
        rows.append(Range(order.name, number, difference.number, *difference.ends, kind))
    return rows
