"""The cases that are probably not positional vertigo: how many, whether and when the clinics saw
it, what had been done until then, and why they are kept apart."""

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.figures.fillings import say_fillings
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    agree,
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    name_value,
    say_bound,
    say_count,
    say_episodes,
    say_percent,
)
from schemas.study import Config

TITLE = "What was probably not positional vertigo, and how late was it seen?"
RULE = (
    "A case is kept apart by signs of another cause that were on record before the first maneuver. "
    "Such signs are no diagnosis; the case is in no curve."
)
PARTS = {  # of those kept apart, in the order of the figure
    "never_recognised_treated": "not recognised, treated with a maneuver",
    "never_recognised_untreated": "not recognised, not treated",
    "recognised_after_treatment": "recognised after a maneuver",
    "recognised_before_treatment": "recognised before any maneuver",
}
MEANING = (
    "Recognised: the clinic itself noted another diagnosis or no canal, or ended follow-up as no "
    "longer thought to be positional vertigo."
)
MOST = 10  # reasons drawn, the most frequent ones


def describe_apart(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """What was kept apart, whether and when the clinics saw it, and why: sentences and figures."""
    counts = read_estimates(estimates, "episode_flow", "pool")
    flow = counts["all", "probable_non_positional"]
    readings = read_estimates(estimates, "non_positional", "probable_non_positional")
    empty = ""
    if counts["all", "stored"].estimate == 0:
        empty = "No episodes are stored, so none could be kept apart."
    elif flow.usable and flow.estimate == 0:
        empty = "No episode of this pool had to be kept apart."
    elif flow.status == "absent":
        empty = "Nothing is known of such cases in this pool."
    if empty:
        return {
            "title": TITLE,
            "sentences": [empty],
            "recognition": None,
            "figure": None,
            "hidden": "",
        }
    stored = read_ledger(estimates).find("stored")
    sentences = [
        _say_answer(flow, stored, readings["all", "recognised_by_site"]),
        _say_days(readings, config),
        _say_treated(readings),
        RULE,
        _say_found_late(counts["all", "reclassified_later"], readings),
    ]
    return {
        "title": TITLE,
        "sentences": [sentence for sentence in sentences if sentence],
        "recognition": _draw_recognition(readings),
        **_describe_reasons(readings, config),
    }


def _say_answer(flow: Reading, stored: Reading, recognised: Reading) -> str:
    """How many were kept apart, and how many of them the clinics recognised."""
    number = "An undisclosed number of episodes"
    if flow.usable:
        number = count_words(flow.number, "stored episode")
        if stored.usable:
            number = f"{say_count(flow.estimate)} of {count_words(stored.number, 'stored episode')}"
    kept = (
        f"{number} {agree(flow.estimate or 0, 'was', 'were')} probably not positional vertigo by "
        "the signs on record"
    )
    if recognised.usable:
        return f"{kept}; the clinics themselves recognised {_say_part(recognised)}."
    if recognised.bounded:
        return f"{kept}; the clinics themselves recognised {say_bound(recognised)} of them."
    return f"{kept}; how many of them the clinics recognised cannot be shown."


def _say_days(readings: Readings, config: Config) -> str:
    """By which day the clinics had recognised how many: day 0, and the last day that can be shown
    to be another share."""
    shares = {
        day: readings["all", f"recognised_by_day_{day}"]
        for day in config.study.non_positional.days
        if readings["all", f"recognised_by_day_{day}"].usable
    }
    first = shares.get(0)
    if first is None:
        return "By which day they did cannot be shown."
    last = max(shares)
    words = f"They had recognised {say_percent(first.number)} by day 0"
    if last:
        same = shares[last].number == first.number
        words += (
            f" and no more by day {last}"
            if same
            else f" and {say_percent(shares[last].number)} by day {last}"
        )
    median = readings["all", "recognised_day_median"]
    half = f", half of those ever recognised by day {median.number:.0f}" if median.usable else ""
    return f"{words}{half}."


def _say_treated(readings: Readings) -> str:
    """How many were given maneuvers before that, and how many sessions."""
    treated = readings["all", "treated_before_recognition"]
    if not treated.usable:
        return "How many were treated before they were recognised cannot be shown."
    words = f"Maneuvers were given to {_say_part(treated)} before or without being recognised"
    mean, median = (
        readings["all", f"sessions_before_recognition_{average}"] for average in ("mean", "median")
    )
    if mean.usable and median.usable:
        words += f", in {mean.number:.1f} sessions on average (median {median.number:g})"
    return f"{words}."


def _say_found_late(later: Reading, readings: Readings) -> str:
    """What was in the curves until the site found another cause."""
    if not (later.usable and later.estimate):
        return ""
    day, sessions = (
        readings["all", f"reclassified_{what}"] for what in ("day_median", "sessions_median")
    )
    when = f", half of them by day {day.number:.0f}" if day.usable else ""
    after = f" and after a median of {sessions.number:g} sessions" if sessions.usable else ""
    return (
        f"{count_words(later.number, 'further episode')} "
        f"{agree(later.number, 'was', 'were')} treated as positional vertigo until the site "
        f"found another cause{when}{after}, and {agree(later.number, 'is', 'are')} in the curves "
        "up to that day, since nobody knew before."
    )


def _draw_recognition(readings: Readings) -> dict | None:
    """Those kept apart as one bar in parts, a row each; a hidden part takes no place,
    so that no bar's place tells it."""
    parts = {term: readings["all", term] for term in PARTS}
    if not any(part.usable for part in parts.values()):
        return None
    bars, place = [], 0.0
    for term, part in parts.items():
        share = part.number if part.usable else None
        number = say_percent(part.number) if part.usable else mark_missing(part)
        bars.append(Bar(PARTS[term], number, place, share or None, "apart"))
        place += share or 0
    never = readings["all", "recognised_by_site"].turned()
    size = next(part.n_episodes for part in parts.values() if part.usable)
    of = "these episodes" if size is None else f"{count_words(size, 'episode')} kept apart"
    title = f"What the clinics recognised and what they did, of {of}"
    if never.usable:
        title = f"The clinics never recognised {say_percent(never.number)} of {of}"
    return make_picture(
        draw_bars,
        bars,
        name="figure-recognition",
        title=title,
        description=f"{begin_sentence('; '.join(f'{bar.label} {bar.number}' for bar in bars))}.",
        caption=f"Shares of {of}. {MEANING}",
        total=max(1.0, place),
    )


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
