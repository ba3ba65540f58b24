"""The pool beside published trials: the same canal, maneuver and day, other patients."""

import pandas as pd

from pipeline.reports.committee.section import draw_shares, make_range, make_section
from pipeline.reports.figures.ranges import Range, say_kinds
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import agree, count_words, name_maneuver
from schemas.analysis import TESTS_AS_GIVEN
from schemas.published import Trial
from schemas.study import Config

CAPTION = (
    f"{say_kinds(('printed', 'own'))} Lines: 95 % confidence intervals; a wide one holds nearly "
    "any "
    "share."
)
MOST = 8  # comparisons shown, the first ones in the order of the plan; the technical report has all
SIDE_BY_SIDE = 4  # comparisons in one figure; more would not fit on paper beside each other


def describe_published(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """For each arm of a trial that has its like in the pool,
    both shares resolved by the day of the trial."""
    title = "What did published trials find?"
    printed, pool = (_read(estimates, population) for population in ("published", "positional"))
    pairs: list[tuple[Range, Range]] = []
    sources: list[str] = []
    for name, trial in config.published.trials.items():
        term = f"resolved_by_day_{trial.day}"
        for arm in trial.arms:
            stratum = f"trial={name},first_maneuver={arm.family}"
            theirs, ours = printed[stratum, term], pool[stratum, term]
            if not (theirs.usable and ours.usable):
                continue
            number = len(sources) + 1
            label = f"Trial {number}, {_say_endpoint(trial)}: {arm.events}/{arm.total}"
            heading = f"{name_maneuver(arm.family, config)}, day {trial.day}"
            pairs.append(
                (
                    make_range(label, theirs, kind="printed", heading=heading),
                    make_range(_say_own(ours), ours),
                )
            )
            sources.append(f"{number}. {trial.citation}")
    if not pairs:
        return make_section(
            "published",
            title,
            [
                "No arm of a published trial has a counterpart in this pool whose number can be "
                "shown."
            ],
        )
    parts = [
        pairs[start : start + SIDE_BY_SIDE]
        for start in range(0, min(len(pairs), MOST), SIDE_BY_SIDE)
    ]
    more = len(pairs) - MOST
    return make_section(
        "published",
        title,
        [
            "Trials chose their patients, tested all of them on one day and assigned treatment at "
            "random; clinics did none of this. A difference is to be expected and says nothing of "
            "how well anybody treats.",
            "This pool's episodes are those with the trial's canal and first maneuver that were "
            "tested again; where a trial counted symptoms, or both, those with a later report, or "
            "with both. So one maneuver can have several numbers here.",
        ],
        panels=[
            _draw_part(number, part, _name_sources(part, sources))
            for number, part in enumerate(parts, 1)
        ],
        caption=CAPTION,
        table=_tabulate(pairs[:MOST]),
        notes=[
            "Trials: " + "; ".join(sources[:MOST]) + ".",
            f"{count_words(more, 'further comparison')} in the technical report only."
            if more > 0
            else "",
            TESTS_AS_GIVEN,
        ],
    )


def _draw_part(number: int, part: list[tuple[Range, Range]], trials: str) -> dict:
    """A few trials with the pool beside each; the title counts,
    and says nothing of who does better."""
    within = sum(
        ours.low <= theirs.middle <= ours.high
        for theirs, ours in part
        if ours.low is not None and theirs.middle is not None and ours.high is not None
    )
    title = (
        f"{within} of {len(part)} published shares {agree(within, 'lies', 'lie')} within the "
        "pool's 95 % confidence interval"
    )
    figure = draw_shares(
        [row for pair in part for row in pair],
        name=f"figure-published-{number}",
        title=title,
        unit="share resolved by the day of the trial",
        caption=f"{CAPTION} {trials}",
    )
    return {"name": title, "size": "", "figure": figure}


def _tabulate(pairs: list[tuple[Range, Range]]) -> dict:
    """The same shares, a row for each arm of a trial."""
    rows = [
        {
            "name": f"{theirs.heading}. {theirs.label}. {ours.label}",
            "cells": [theirs.number, ours.number],
        }
        for theirs, ours in pairs
    ]
    return {
        "first": "Maneuver and trial",
        "columns": ["Published", "This pool"],
        "groups": [{"heading": "", "rows": rows}],
        "note": "Shares resolved by the day of the trial. In brackets: 95 % confidence intervals.",
    }


def _name_sources(part: list[tuple[Range, Range]], sources: list[str]) -> str:
    """The sources of the trials in a part: '1. Lynn S et al. ...'."""
    numbers = {theirs.label.partition(",")[0].removeprefix("Trial ") for theirs, _ in part}
    return "; ".join(source for source in sources if source.partition(".")[0] in numbers) + "."


def _read(estimates: dict[str, pd.DataFrame], population: str) -> Readings:
    return read_estimates(estimates, "published_comparison", population)


def _say_own(reading: Reading) -> str:
    return (
        "This pool"
        if reading.n_episodes is None
        else f"This pool: {count_words(reading.n_episodes, 'episode')}"
    )


def _say_endpoint(trial: Trial) -> str:
    return {
        "objective": "test negative",
        "patient_reported": "no symptoms",
        "strict": "both negative",
    }.get(trial.endpoint, trial.endpoint.replace("_", " "))
