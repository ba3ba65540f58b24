"""The paths actually taken: which maneuver came first, what came next,
and how often the next test was negative."""

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.committee.section import make_section, say_sites
from pipeline.reports.committee.standing import PATHS_CAPTION
from pipeline.reports.figures.bars import Stack, draw_stacks
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
    BLANK,
    count_words,
    mark_missing,
    name_maneuver,
    say_count,
    say_why_missing,
    show_share,
)
from schemas.study import Config

START = "path=start"
FIRST, NEXT = 4, 4  # first maneuvers that are shown, and maneuvers after each of them


def describe_paths(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """One figure of the most used first maneuvers: what followed each of them, from the next test
    to the next session."""
    readings = read_estimates(estimates, "sequence_paths", "positional")
    title = "Which paths were taken?"
    reached = readings[START, "reached"]
    sizes = {
        family: readings[START, f"next={family}"].number for family in _list_next(readings, START)
    }
    if not reached.usable or not sizes:
        return make_section("paths", title, [f"No paths can be shown: {say_why_missing(reached)}."])
    kept = sorted(sizes, key=lambda family: (-sizes[family], family))[:FIRST]
    others = any(
        term.startswith("next=") and term.removeprefix("next=") not in kept
        for term in readings.of(START)
    )
    began = " The others began otherwise." if others else ""
    ledger = read_ledger(estimates)
    of = f", out{ledger.say_of('complete')}" if ledger.find("treated").usable else ""
    return make_section(
        "paths",
        title,
        [
            f"{count_words(reached.number, 'episode')}{say_sites(reached)} had a first session "
            f"and a complete record{of}. Shown is what followed the first maneuvers that were used "
            f"most.{began}",
            "Each path was chosen for reasons that the figures do not show: they describe, and do "
            "not compare.",
        ],
        figure=_draw_paths({family: sizes[family] for family in kept}, readings, config),
    )


def _list_next(readings: Readings, stratum: str) -> list[str]:
    """The families that came next in a path and have a number."""
    return [
        term.removeprefix("next=")
        for term, reading in readings.of(stratum).items()
        if term.startswith("next=")
        and term not in ("next=rarer", "next=observe")
        and reading.usable
        and reading.estimate
    ]


def _draw_paths(sizes: dict[str, float], readings: Readings, config: Config) -> dict:
    """Each first maneuver as a whole with what followed in parts."""
    stacks = [_stack(family, size, readings, config) for family, size in sizes.items()]
    description = " ".join(
        f"{stack.heading}: {stack.under}: {'; '.join(said for _, said, _ in stack.parts)}."
        for stack in stacks
    )
    return make_picture(
        draw_stacks,
        stacks,
        name="figure-paths",
        title=f"What followed the {len(stacks)} first maneuvers used most"
        if len(stacks) > 1
        else "What followed the 1 first maneuver that is shown",
        description=description,
        caption=PATHS_CAPTION,
    )


def _stack(family: str, size: float, readings: Readings, config: Config) -> Stack:
    """One first maneuver with what followed: resolved, another session, or an end;
    parts whose number is hidden take no place."""
    path = f"path={family}"
    following = sorted(
        _list_next(readings, path),
        key=lambda after: (-(readings[path, f"next={after}"].estimate or 0), after),
    )
    steps = [("resolved_at_next_test", "resolved at the next test", "negative")]
    steps += [("resolved_at_later_test", "resolved at a later test", "negative")]
    steps += [
        (
            f"next={after}",
            "the same again" if after == family else f"then {name_maneuver(after, config)}",
            "again",
        )
        for after in following[:NEXT]
    ]
    steps += [
        ("next=rarer", "then another, rarer maneuver", "again"),
        ("no_further_session", "no further session", "leaves"),
        ("never_tested_again", "not tested again", "leaves"),
    ]
    parts: list[tuple[float | None, str, str]] = []
    for term, label, filling in steps:
        reading = readings[path, term]
        number = reading.estimate if reading.usable else None
        if number == 0 or reading.status == "absent":
            continue
        shown = mark_missing(reading) if number is None else say_count(number)
        # no line breaks within a part
        parts.append((number, f"{shown} {label}".replace(" ", BLANK), filling))
    share = readings[path, "share_resolved_at_next_test"]
    tested = (
        ""
        if share.n_episodes is None
        else f" of {count_words(share.n_episodes, 'episode')} tested before the next session"
    )
    under = (
        f"negative next in {show_share(share)}{tested}"
        if share.usable
        else "how many tests were negative next is not shown"
    )
    heading = f"{name_maneuver(family, config)}, {count_words(size, 'episode')}"
    return Stack(heading, under, size, parts)
