"""The paths actually taken: which maneuver came first, what came next,
and how often the next test was negative."""

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.committee.section import make_section, say_sites
from pipeline.reports.committee.standing import PATHS_CAPTION
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
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
    """A small figure for each of the most used first maneuvers: what followed it,
    from the next test to the next session."""
    readings = read_estimates(estimates, "sequence_paths", "positional")
    title = "Paths actually taken"
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
        panels=[_draw_branch(family, sizes[family], readings, config) for family in kept],
        caption=PATHS_CAPTION,
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


def _draw_branch(family: str, size: float, readings: Readings, config: Config) -> dict:
    """One first maneuver with what followed: resolved, another session, or an end;
    parts whose number is hidden have no bar."""
    path, name = f"path={family}", name_maneuver(family, config)
    following = sorted(
        _list_next(readings, path),
        key=lambda after: (-(readings[path, f"next={after}"].estimate or 0), after),
    )
    parts = [("resolved_at_next_test", "resolved at the next test", "negative")]
    parts += [("resolved_at_later_test", "resolved at a later test", "negative")]
    parts += [
        (
            f"next={after}",
            "the same again" if after == family else f"then {name_maneuver(after, config)}",
            "again",
        )
        for after in following[:NEXT]
    ]
    parts += [
        ("next=rarer", "then another, rarer maneuver", "again"),
        ("no_further_session", "no further session", "leaves"),
    ]
    parts += [("never_tested_again", "not tested again", "leaves")]
    bars = [Bar("all of them", say_count(size), 0, size)]
    start: float = 0
    for term, label, filling in parts:
        reading = readings[path, term]
        number = reading.estimate if reading.usable else None
        if number == 0 or reading.status == "absent":
            continue
        bars.append(
            Bar(
                label,
                mark_missing(reading) if number is None else say_count(number),
                start,
                number,
                filling,
            )
        )
        start += number or 0
    share = readings[path, "share_resolved_at_next_test"]
    description = "; ".join(f"{bar.label} {bar.number}" for bar in bars) + "."
    tested = (
        ""
        if share.n_episodes is None
        else f" of {count_words(share.n_episodes, 'episode')} tested before the next session"
    )
    note = (
        f"negative in {show_share(share)}{tested}"
        if share.usable
        else "how many tests were negative next is not shown"
    )
    title = f"{name}, {count_words(size, 'episode')}: {note}"
    figure = make_picture(
        draw_bars,
        bars,
        name=f"figure-path-{family}",
        title=title,
        description=description,
        caption=PATHS_CAPTION,
        total=size,
    )
    return {"name": name, "size": note, "figure": figure}
