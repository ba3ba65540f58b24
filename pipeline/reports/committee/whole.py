"""The curve of the whole pool with what it rests on: when clinics tested, what the tests showed,
and what is concluded."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from pipeline.reports.committee.curves import (
    ENOUGH,
    choose_ticks,
    count_told,
    describe_curve,
    find_last,
    read_curve,
)
from pipeline.reports.committee.picture import headline_share, make_picture
from pipeline.reports.committee.resolved import (
    Course,
    read_half,
    read_share,
    say_size,
    say_untold,
    show_half,
    show_resolved,
    state_resolved,
)
from pipeline.reports.committee.standing import LATER_SEEN
from pipeline.reports.committee.strata import choose_days, say_why_none
from pipeline.reports.figures.curves import Curve
from pipeline.reports.figures.evidence import FirstTests, draw_evidence
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
    BLANK,
    begin_sentence,
    join_words,
    say_percent,
    say_share,
)
from schemas.study import Config

LEGEND = {
    "curve": "share resolved, with its 95 % confidence interval",
    "tests": "share whose tests had turned negative",
    "bounds": "least and greatest share that tests alone allow",
}


def describe_whole(course: Course, estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The curve of all who were treated beside the days on which they were tested, with its shares
    and the day by which half were resolved."""
    days = config.study.curves.days
    model, last = course.model, days[-1]
    curve = read_curve(course, "all", last, days)
    figure = None
    if count_told(model, "all", config) >= ENOUGH:
        first = read_first_tests(estimates)
        figure = make_picture(
            draw_evidence,
            curve,
            first,
            name="figure-curve-all",
            title=_headline(model, "all", config),
            description=(
                f"{describe_curve(course, 'all', curve, config)} {_say_first(first)}".strip()
            ),
            caption=(
                f"{begin_sentence(say_size(course, 'all'))}. Days after the first maneuver. "
                f"{LATER_SEEN} {_say_above(curve, days)}"
            ).strip(),
            until=last,
            ticks=choose_ticks(days, last),
            legend=LEGEND if curve.bounds else {k: v for k, v in LEGEND.items() if k != "bounds"},
        )
    half = show_half(read_half(model, "all", last))
    return {
        "sentence": _say_whole(course, config),
        "untold": say_untold(model, "all", days),
        "figure": figure,
        "facts": [
            *(
                {"label": f"by day {day}", "value": show_resolved(model, "all", day)}
                for day in days
            ),
            {"label": "half resolved by day", "value": half},
        ],
        "tests": _say_tests(course.tests, days),
        "misread": _say_misread(model, config),
    }


def read_first_tests(estimates: dict[str, pd.DataFrame]) -> FirstTests:
    """When parts of all who were treated had been tested again."""
    delays = read_estimates(estimates, "first_test_delay", "positional")
    quartiles = [
        delays["all", f"delay_{part}"] for part in ("lower_quartile", "median", "upper_quartile")
    ]
    return FirstTests(*(delay.estimate if delay.usable else None for delay in quartiles))


def _say_first(first: FirstTests) -> str:
    """When clinics tested, in words."""
    parts = {"¼": "a quarter", "½": "half", "¾": "three quarters"}
    quartiles = [f"{parts[part]} by day {day:.0f}" for part, day in first.list_days()]
    return f"Tested again for the first time: {join_words(quartiles)}." if quartiles else ""


def _say_above(curve: Curve, days: Sequence[int]) -> str:
    """Where the line lies beside the dots; nothing where the two are not given together."""
    apart = [curve.share[day] - curve.tests[day] for day in days]
    known = [each for each in apart if not np.isnan(each)]
    if not known:
        return ""
    if min(known) >= 0 and max(known) > 0:
        return "The line allows for both, and so lies above the dots."
    return "The line allows for both, and so need not follow the dots."


def _say_tests(tests: Readings, days: Sequence[int]) -> str:
    """The shares whose tests had turned negative, under that name only."""
    shares = [
        f"in {say_percent(share.number)} by day {day}"
        for day in days
        if (share := tests["all", f"resolved_by_day_{day}"]).usable
    ]
    if not shares:
        return ""
    return (
        f"Tests had turned negative {join_words(shares)}, of those tested again: these are days of "
        "tests, not of resolution."
    )


def _say_misread(model: Readings, config: Config) -> str:
    """What hangs on how often tests are misread, in one sentence."""
    ranges = []
    for day in choose_days(config.study.curves.days):
        ends = [
            model["all", f"resolved_by_day_{day}_{end}_misread"] for end in ("least", "greatest")
        ]
        if all(end.usable for end in ends):
            low, high = (f"{100 * end.number:.0f}" for end in ends)
            ranges.append(
                f"{high} % by day {day}" if low == high else f"{low} to {high} % by day {day}"
            )
    if not ranges:
        return ""
    shares = join_words(ranges).replace(" %", f"{BLANK}%")
    return f"With the other rates of misread tests that the plan names, the shares are {shares}."


def _headline(model: Readings, stratum: str, config: Config) -> str:
    """The last share as a heading, or the bounds in its place."""
    day = find_last(model, stratum, config)
    share = read_share(model, stratum, day)
    if share.usable:
        return headline_share(share, f"resolved by day {day}")
    return begin_sentence(state_resolved(model, stratum, day))


def _say_whole(course: Course, config: Config) -> str:
    shares = {
        day: read_share(course.model, "all", day) for day in choose_days(config.study.curves.days)
    }
    resolved = [f"by day {day} {say_share(share)}" for day, share in shares.items() if share.usable]
    if not resolved:
        why = say_why_none(course.model, "all")
        return f"No single share can be given for the whole pool: {why}."
    return f"Of all who were treated, tested again or not, {join_words(resolved)} were resolved."
