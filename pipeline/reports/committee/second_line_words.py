"""Repeating and changing in words: what was chosen, how they differ by each day and in mean days,
and how far that carries."""

from collections.abc import Sequence

from pipeline.reports.committee.ledger import Ledger
from pipeline.reports.committee.section import say_points, say_sites
from pipeline.reports.readings import Reading, Readings
from pipeline.reports.wording import (
    BLANK,
    count_words,
    join_words,
    mark_missing,
    say_count,
    say_why_missing,
)
from schemas.denominators import BASES
from schemas.order_plan import SecondLine

CHOSEN = {
    "repeat": "the same maneuver was repeated",
    "change": "another maneuver on the same side was given",
}


def is_apart(difference: Reading, unit: int = 100) -> bool:
    """Whether the interval of a difference excludes none, in whole parts of its `unit`:
    percentage points of a share, or days (1)."""
    if not difference.usable or difference.lower is None or difference.upper is None:
        return False
    return not round(unit * difference.lower) <= 0 <= round(unit * difference.upper)


def say_difference(compared: Readings, plan: SecondLine, ledger: Ledger) -> str:
    """All differences of the whole pool in one sentence: shares by each day, then mean days.

    Empty where there is none.
    """
    by_day = {day: compared["all", f"risk_difference_day_{day}"] for day in plan.days}
    days = compared["all", "mean_days_difference"]
    usable = {day: each for day, each in by_day.items() if each.usable and each.lower is not None}
    if not usable:
        return ""
    clauses = [f"resolved within {day} days, {_say_shares(each)}" for day, each in usable.items()]
    apart = any(is_apart(each) for each in usable.values())
    if days.usable and days.lower is not None:
        clauses.append(f"mean days with vertigo in the first {plan.horizon_day}, {_say_days(days)}")
        apart = apart or is_apart(days, 1)
    first = next(iter(usable.values()))
    size = (
        ""
        if first.n_episodes is None
        else f" ({count_words(first.n_episodes, 'episode')}{say_sites(first)}{_say_of(ledger)})"
    )
    joined = "; ".join(clauses)
    if apart:
        return (
            f"After a failed first maneuver{size} repeating and changing go with different "
            f"results, which is an association and does not show why: {joined}."
        )
    return (
        f"After a failed first maneuver{size} the pool shows no clear difference between repeating "
        f"and changing. The 95 % confidence intervals of the difference: {joined}."
    )


def _say_of(ledger: Ledger) -> str:
    failed = ledger.find("failed")
    return (
        f", out of {count_words(failed.number, 'episode')} in which it failed"
        if failed.usable
        else ""
    )


def _say_shares(difference: Reading) -> str:
    if is_apart(difference):
        low, high = sorted(abs(round(100 * limit)) for limit in difference.ends)
        after = "another maneuver" if difference.number > 0 else "the same again"
        return f"{say_points(difference.number)} more after {after} ({low} to {high})"
    lower, upper = difference.ends
    return f"from {_say_side(lower)} to {_say_side(upper)}"


def _say_side(difference: float) -> str:
    if round(100 * difference) == 0:
        return "no difference"
    return f"{say_points(difference)} more after {'changing' if difference > 0 else 'repeating'}"


def _say_days(difference: Reading) -> str:
    low, high = sorted(abs(limit) for limit in difference.ends)
    if is_apart(difference, 1):
        after = "another maneuver" if difference.number < 0 else "the same again"
        return f"{abs(difference.number):.1f} days fewer after {after} ({low:.1f} to {high:.1f})"
    ends = [f"{abs(limit):.1f} {'fewer' if limit < 0 else 'more'}" for limit in difference.ends]
    return f"from {ends[0]} to {ends[1]} after changing"


def headline(readings: Readings, compared: Readings, days: Sequence[int]) -> str:
    """What the figure of the whole pool shows: an order only on days on which the interval of the
    difference allows one."""
    findings = []
    for day in days:
        difference = compared["all", f"risk_difference_day_{day}"]
        if is_apart(difference):
            after = "another maneuver" if difference.number > 0 else "the same again"
            findings.append(f"more were resolved by day {day} after {after}, an association")
    together = join_words(f"day {day}" for day in days).replace(" and ", " or ")
    if not findings:
        return f"No clear difference between repeating and changing by {together}"
    text = join_words(findings)
    return text[:1].upper() + text[1:]


def show_difference(difference: Reading, unit: int, name: str = "") -> str:
    """'−1 (−21 to 19) points' for a table, in parts of which `unit` are one."""
    if not difference.usable:
        return mark_missing(difference)
    digits = 0 if unit == 100 else 1
    numbers = [difference.estimate, difference.lower, difference.upper]
    shown = ["" if n is None else _sign(unit * n, digits) for n in numbers]
    limits = f" ({shown[1]}{BLANK}to{BLANK}{shown[2]})" if shown[1] and shown[2] else ""
    return f"{shown[0]}{limits}{BLANK}{name}".removesuffix(BLANK)


def _sign(number: float, digits: int) -> str:
    shown = f"{number:+.{digits}f}".replace("-", "−")
    return shown.lstrip("+−") if float(f"{number:.{digits}f}") == 0 else shown


def say_choices(readings: Readings, ledger: Ledger) -> str:
    """How many stood at the choice, of how many, and what they did."""
    failed = readings["all", "failed_first_session"]
    if not failed.usable:
        return f"How many first sessions failed cannot be told: {say_why_missing(failed)}."
    if failed.estimate == 0:
        return (
            "After no first session a test was still positive, so nothing could be repeated or "
            "changed."
        )
    chosen = {arm: readings["all", f"choice_{arm}"] for arm in CHOSEN}
    counts = [
        f"{what} in {count_words(chosen[arm].number, 'episode')}"
        for arm, what in CHOSEN.items()
        if chosen[arm].usable
    ]
    after = f": {join_words(counts)}" if counts else ""
    of = f" (out{ledger.say_of('taken_for_failed')})" if ledger.find("treated").usable else ""
    number = count_words(failed.number, "episode")
    not_compared = _say_not_compared(ledger)
    return (
        f"In {number}{say_sites(failed)}{of} the test after the first maneuver was still "
        f"positive{after}.{not_compared}"
    )


def _say_not_compared(ledger: Ledger) -> str:
    """Why those who are compared are fewer than those with a failed first maneuver."""
    failed, left = ledger.find("failed"), ledger.find("without_compared")
    if not (failed.usable and left.usable and left.estimate):
        return ""
    number = f"{say_count(left.estimate)} of these {count_words(failed.number, 'episode')}"
    return f" In {number} nothing is compared: {BASES['compared'].without}."


def say_effective(readings: Readings) -> str:
    """How many the weights leave, for those who would take them for nothing."""
    sizes = [readings["all", f"effective_n_{arm}"] for arm in CHOSEN]
    if not all(size.usable for size in sizes):
        return ""
    sizes_in_words = " and ".join(
        count_words(round(size.number), "unweighted episode") for size in sizes
    )
    return f"After weighting, the two groups carry the information of {sizes_in_words}."


def say_e_values(compared: Readings, days: Sequence[int]) -> list[str]:
    """For each day whose difference excludes none how strong something unrecorded would have to
    be to make it up."""
    sentences = []
    for day in days:
        value, limit = (compared["all", f"e_value{which}_day_{day}"] for which in ("", "_limit"))
        if value.usable and limit.usable and limit.number > 1:
            sentences.append(
                "Something unrecorded that goes with both the choice and the outcome "
                f"{value.estimate:.1f} times as often could make up all of the difference by day "
                f"{day} (E-value; {limit.estimate:.1f} times for the confidence limit nearer to "
                "none)."
            )
    return sentences
