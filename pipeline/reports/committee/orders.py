"""Which maneuver in which order: what would have become of all patients of a variant under each
order, and how that differs from the usual one."""

from collections.abc import Sequence

from pipeline.reports.committee.order_readings import (
    DAYS,
    SESSIONS,
    Order,
    Variant,
    last_share,
    list_terms,
    print_as,
)
from pipeline.reports.committee.second_line_words import is_apart, show_difference
from pipeline.reports.readings import ROUNDED, Reading
from pipeline.reports.wording import (
    BLANK,
    agree,
    count_words,
    join_words,
    mark_missing,
    show_share,
)
from schemas.study import Config

KEY, TITLE = "orders", "How do other orders differ from the usual one?"
MOST = 8  # orders on the first page; where there are more, only those with a clear difference
CAUTION = (
    "Who was changed to another maneuver was not left to chance: where that was done because the "
    "vertigo was strong or the debris seemed stuck, changing looks worse than it is."
)
DISPUTED = "Two ways of estimating disagree: cannot tell yet"
CHANCE = (
    "A difference is called clear where its 95 % confidence interval excludes none; one in twenty "
    "would seem so by chance alone."
)


def say_orders(variants: Sequence[Variant], config: Config) -> str:
    """How many orders differ clearly from the usual one, in mean days or in the share resolved.

    Parameters
    ----------
    variants
        As `read_orders` gives them.
    config
        The plan.

    Returns
    -------
    str
        One sentence.
    """
    compared = [order for variant in variants for order in variant.compared]
    if not compared:
        return "Whether another order of maneuvers does differently this pool cannot tell yet."
    clear = sum(1 for order in compared if _find_clear(order, config))
    disputed = sum(1 for order in compared if order.disputed)
    can = f"Of orders of maneuvers, {len(compared)} can be compared with the usual one, and"
    also = (
        f" For {disputed} of them two ways of estimating disagree: cannot tell yet."
        if disputed
        else ""
    )
    if not clear:
        return f"{can} none differs clearly from it.{also}"
    return (
        f"{can} {clear} {agree(clear, 'differs', 'differ')} clearly from it: an association, which "
        f"does not show why.{also}"
    )


def say_second_way(variants: Sequence[Variant]) -> str:
    """What the second way of estimating is, and of how many orders it tells.

    Parameters
    ----------
    variants
        As `read_orders` gives them.

    Returns
    -------
    str
        Two sentences; empty where no order can be compared.
    """
    compared = [order for variant in variants for order in variant.compared]
    if not compared:
        return ""
    twice = sum(1 for order in compared if order.told_twice)
    return (
        "A second way takes only those whose sessions kept to an order, and weighs them for how "
        "strong the vertigo still was and for what else was known at each choice. Where the two "
        "disagree by more than their errors, nothing is called clear. Of "
        f"{count_words(len(compared), 'order')} the second way has a number for {twice or 'none'}."
    )


def _find_clear(order: Order, config: Config) -> list[str]:
    """The clear differences in words, mean days first; none where two ways of estimating
    disagree."""
    words = {
        DAYS: ("more days", "fewer days"),
        last_share(config): ("more resolved", "fewer resolved"),
    }
    clear = []
    for term, (more, fewer) in words.items():
        if is_clear(order, term):
            clear.append(more if order.differences[term].ends[0] > 0 else fewer)
    return clear


def is_clear(order: Order, term: str) -> bool:
    """Whether the interval of an order's difference in a term excludes none, as it is printed, and
    no second way of estimating disagrees."""
    unit, digits = print_as(term)
    return not order.disputed and is_apart(order.differences[term], unit * 10**digits)


def _say_clear(order: Order, config: Config) -> str:
    if order.disputed:
        return DISPUTED[:1].lower() + DISPUTED[1:]
    clear = _find_clear(order, config)
    if clear:
        return f"clear: {', '.join(clear)}"
    if order.needed.usable:
        return f"no clear difference; {ROUNDED}{order.needed.number:,.0f} more"
    return "no clear difference"


def tabulate_orders(variants: Sequence[Variant], config: Config) -> dict | None:
    """Lay out how each order differs from the usual one of its variant, in words.

    Parameters
    ----------
    variants
        As `read_orders` gives them.
    config
        The plan.

    Returns
    -------
    dict or None
        {first, columns, groups, note} as of a section's table, and the `caution` above it; None
        where none can be compared.
    """
    plan, share = config.study.strategies, last_share(config)
    every = [order for variant in variants for order in variant.compared]
    shown = every if len(every) <= MOST else [o for o in every if _find_clear(o, config)][:MOST]
    groups = []
    for variant in variants:
        rows = [
            {
                "name": order.name,
                "cells": [
                    _say_more(order.differences[DAYS], DAYS),
                    _say_more(order.differences[share], share),
                    _say_clear(order, config),
                ],
            }
            for order in variant.compared
            if order in shown
        ]
        if rows:
            heading = f"{variant.name}{_say_usual(variant.usual)}"
            groups.append({"heading": heading, "rows": rows})
    if not groups:
        return None
    return {
        "first": "Order",
        "columns": [
            f"Days with vertigo in the first {plan.horizon_day}",
            f"Resolved by day {plan.days[-1]}, in points",
            "Against the usual order",
        ],
        "groups": groups,
        "caution": f"{CAUTION} {CHANCE}",
        "note": _say_left_out(every, shown, config),
    }


def _say_left_out(every: Sequence[Order], shown: Sequence[Order], config: Config) -> str:
    """How many orders are not in the table of the first page, the clear ones by themselves."""
    left = [order for order in every if order not in shown]
    clear = sum(1 for order in left if _find_clear(order, config))
    parts = [
        f"{count_words(number, 'further order')} {words} clear difference"
        for number, words in ((clear, "with a"), (len(left) - clear, "without a"))
        if number
    ]
    needed = sorted(order.needed.number for order in left if order.needed.usable)
    tells = (
        f" To tell a difference of {config.study.first_choice.answer_points / 2:.0f} points each "
        f"needs further episodes treated so, about {needed[0]:,.0f} to {needed[-1]:,.0f}."
        if needed and needed[0] < needed[-1]
        else ""
    )
    return f"Not in this table: {join_words(parts)}.{tells} See “{TITLE}”" if parts else ""


def _say_usual(usual: Order | None) -> str:
    """The usual order, after the name of its variant."""
    if usual is None:
        return ""
    return f". Usual: {usual.name}"


def _say_more(difference: Reading, term: str) -> str:
    """'0.6 more (2.0 fewer to 3.2 more)'."""
    if not difference.usable:
        return mark_missing(difference)
    unit, digits = print_as(term)

    def say(number: float) -> str:
        printed = f"{abs(unit * number):.{digits}f}"
        return printed if float(printed) == 0 else f"{printed} {'more' if number > 0 else 'fewer'}"

    if difference.lower is None or difference.upper is None:
        return say(difference.number)
    return f"{say(difference.number)} ({say(difference.lower)} to {say(difference.upper)})"


def say_untold(variants: Sequence[Variant]) -> str:
    """Of which variants no order can be compared with the usual one.

    Parameters
    ----------
    variants
        As `read_orders` gives them.

    Returns
    -------
    str
        One sentence; empty where there is none.
    """
    untold = [variant.name for variant in variants if not variant.compared]
    if not untold:
        return ""
    names = [name[:1].lower() + name[1:] for name in untold]
    return f"The pool cannot tell yet about orders in: {join_words(names)}."


def tabulate_numbers(variant: Variant, config: Config) -> dict | None:
    """Lay out all numbers of the orders of one variant.

    Parameters
    ----------
    variant
        One of `read_orders`.
    config
        The plan.

    Returns
    -------
    dict or None
        {first, columns, groups, note} as of a section's table, with a row of numbers for each order
        and below it one of differences from the usual one; None where no order has a number.
    """
    plan, terms = config.study.strategies, list_terms(config)
    rows = []
    for order in [*([variant.usual] if variant.usual else []), *variant.others]:
        usual = " (usual)" if order is variant.usual else ""
        cells = [show_number(order.numbers[term], term) for term in terms]
        rows.append({"name": f"{order.name}{usual}", "cells": cells})
        if order.compared:
            less = [show_difference(order.differences[term], print_as(term)[0]) for term in terms]
            rows.append({"name": "less the usual", "cells": less})
    if not rows:
        return None
    after = [f"After session {number}" for number in range(1, plan.sessions)]
    return {
        "first": "Order",
        "columns": [
            *after,
            f"By day {plan.days[-1]}",
            f"Days of the first {plan.horizon_day}",
            "Sessions",
        ],
        "groups": [{"heading": "", "rows": rows}],
        "note": "Shares resolved, mean days with vertigo and mean sessions. In brackets: 95 % "
        "confidence intervals. Differences of shares are in percentage points.",
    }


def show_number(number: Reading, term: str) -> str:
    """A number of an order with its limits, or one word why there is none."""
    if not number.usable:
        return mark_missing(number)
    return _show_mean(number) if term in (DAYS, SESSIONS) else show_share(number)


def _show_mean(mean: Reading) -> str:
    """'6.1 (3.2 to 10.4)'."""
    limits = "" if mean.lower is None else f" ({mean.lower:.1f}{BLANK}to{BLANK}{mean.upper:.1f})"
    return f"{mean.number:.1f}{limits}"
