"""The cases that are probably not positional vertigo: how many, why, whether the site saw it,
what was done."""

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.figures.fillings import say_fillings
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    agree,
    count_words,
    join_words,
    name_value,
    say_bound,
    say_count,
    say_episodes,
    say_percent,
)
from schemas.study import Config

MOST = 10  # reasons drawn, the most frequent ones


def describe_apart(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Sentences and a figure of the reasons; several reasons can hold for one episode."""
    counts = read_estimates(estimates, "episode_flow", "pool")
    flow = counts["all", "probable_non_positional"]
    readings = read_estimates(estimates, "non_positional", "probable_non_positional")
    if counts["all", "stored"].estimate == 0:
        return {
            "sentences": ["No episodes are stored, so none could be kept apart."],
            "figure": None,
            "hidden": "",
        }
    if flow.usable and flow.estimate == 0:
        return {
            "sentences": ["No episode of this pool had to be kept apart."],
            "figure": None,
            "hidden": "",
        }
    if flow.status == "absent":
        return {
            "sentences": ["Nothing is known of such cases in this pool."],
            "figure": None,
            "hidden": "",
        }
    number, stored = "An undisclosed number of episodes", read_ledger(estimates).find("stored")
    if flow.usable:
        number = count_words(flow.number, "stored episode")
        if stored.usable:
            number = f"{say_count(flow.estimate)} of {count_words(stored.number, 'stored episode')}"
    sentences = [
        f"{number} {agree(flow.estimate or 0, 'is', 'are')} probably not positional vertigo and "
        "in no curve."
    ]
    later, late_day = (
        read_estimates(estimates, "episode_flow", "pool")["all", "reclassified_later"],
        readings["all", "reclassified_day_median"],
    )
    if later.usable and later.estimate:
        when = f", half of them by day {late_day.estimate:.0f}" if late_day.usable else ""
        sentences.append(
            f"{count_words(later.estimate, 'further episode')} "
            f"{agree(later.estimate, 'was', 'were')} treated as positional vertigo until the site "
            f"found another cause{when}, and {agree(later.estimate, 'is', 'are')} in the curves up "
            "to that day, since nobody knew before."
        )
    recognised, given = readings["all", "recognised_by_site"], readings["all", "maneuver_given"]
    sessions = readings["all", "sessions_median"]
    if recognised.usable:
        sentences.append(
            "The site itself had noted another diagnosis, or no canal, in "
            f"{_say_part(recognised)}; in the others the recorded findings alone set the case "
            "apart."
        )
    if given.usable:
        sentences.append(
            f"At least one repositioning maneuver had been given in {_say_part(given)}."
        )
    if sessions.usable:
        sentences.append(
            f"The median number of treatment sessions among those was {sessions.estimate:g}."
        )
    return {"sentences": sentences, **_describe_reasons(readings, config)}


def _describe_reasons(readings: Readings, config: Config) -> dict:
    """The reasons with a share as a figure, most frequent first, and how many have none to show."""
    strata = [s for s in readings.strata() if s.startswith("reason=")]
    strata.sort(key=lambda s: (-(readings[s, "share"].estimate or 0), s))
    names = {s: name_value("reason", s.partition("=")[2], config) for s in strata}
    shares = {s: readings[s, "share"].number for s in strata if readings[s, "share"].usable}
    further = "further reason" if shares else "reason"
    bounded = {s: readings[s, "share"] for s in strata if readings[s, "share"].bounded}
    small = [say_bound(share) for share in bounded.values() if not share.nearly_all]
    hidden = len(names) - len(shares) - len(bounded)
    remark = (
        (
            f"Each of {count_words(len(small), further)} is found in "
            f"{join_words(sorted(set(small)))} of them, or in none."
        )
        if small
        else ""
    )
    for stratum in (s for s, share in bounded.items() if share.nearly_all):
        remark = f"{remark} {names[stratum]}: {say_bound(bounded[stratum])}.".strip()
    if hidden:
        remark = f"{remark} The share of {count_words(hidden, further)} cannot be shown.".strip()
    if len(shares) > MOST:
        remark = (
            f"{count_words(len(shares) - MOST, 'rarer reason')} in the technical report only. "
            f"{remark}"
        ).strip()
    sizes = [readings[s, "share"].n_episodes for s in shares]
    return {
        "figure": _draw_reasons(names, shares, next(iter(sizes), None), remark),
        "hidden": remark,
    }


def _draw_reasons(
    names: dict[str, str], shares: dict[str, float], size: int | None, hidden: str
) -> dict | None:
    if not shares:
        return None
    bars = [
        Bar(names[s], say_percent(share), 0, share or None, "apart")
        for s, share in list(shares.items())[:MOST]
    ]
    description = "; ".join(f"{bar.label} {bar.number}" for bar in bars) + "."
    of = "these episodes" if size is None else f"{count_words(size, 'episode')} kept apart"
    caption = (
        f"Share of {of} with each reason; one episode can have several. {say_fillings(['apart'])} "
        f"{hidden}"
    ).strip()
    most = max(shares.values())
    title = f"No reason is found in more than {say_percent(most)} of {of}"
    if most > 0.5:
        title = f"One reason is found in {say_percent(most)} of {of}: {names[next(iter(shares))]}"
    return make_picture(
        draw_bars,
        bars,
        name="figure-reasons",
        title=title,
        description=description,
        caption=caption,
        total=1,
    )


def _say_part(share: Reading) -> str:
    """'35 of 78 episodes (45 %)'; only the percentage where the counts are hidden."""
    if share.n_events is None or share.n_episodes is None:
        return say_percent(share.number)
    return f"{share.n_events:,} of {say_episodes(share.n_episodes)} ({say_percent(share.number)})"
