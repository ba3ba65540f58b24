"""The cases that are probably not positional vertigo: how many, whether and when the clinics saw
it, what had been done until then, and why they are kept apart."""

import pandas as pd

from pipeline.reports.committee.ledger import read_ledger
from pipeline.reports.committee.picture import make_picture
from pipeline.reports.figures.bars import Bar, draw_bars
from pipeline.reports.figures.fillings import say_fillings
from pipeline.reports.readings import Reading, Readings, read_estimates
from pipeline.reports.wording import (
    BLANK,
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
    "A case is kept apart, and is in no curve, by signs of another cause that were on record "
    "before the first maneuver, or at all where none was given; such signs are no diagnosis."
)
NEVER = {  # those that the clinics never recognised, in parts
    "never_recognised_treated": "Never recognised, treated with a maneuver",
    "never_recognised_untreated": "Never recognised, not treated",
}
MEANING = (
    "Recognised: the clinic itself noted another diagnosis or no canal, or ended follow-up as no "
    "longer thought to be positional vertigo."
)
TREATED = "Of all of these: given a maneuver before, or without, being recognised"
WHEN = ("after", "by")
MOST = 7  # reasons drawn, the most frequent ones


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
        _say_rule(readings["all", "on_record_by_day_0"]),
        _say_found_late(counts["all", "reclassified_later"], readings),
    ]
    return {
        "title": TITLE,
        "sentences": [sentence for sentence in sentences if sentence],
        "recognition": _draw_recognition(readings, config),
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
    """By which day the clinics had recognised how many: the first of the plan,
    and the last one that can be shown; and half of those ever recognised."""
    first, *later = config.study.non_positional.days
    median = readings["all", "recognised_day_median"]
    half = (
        f"half of those ever recognised were so by day {median.number:.0f}" if median.usable else ""
    )
    share = readings["all", f"recognised_by_day_{first}"]
    if not share.usable:
        return f"How many by which day cannot be shown{f'; {half}' if half else ''}."
    words = [f"They had recognised {say_percent(share.number)} by day {first}"]
    for day in reversed(later):
        shown = readings["all", f"recognised_by_day_{day}"]
        if shown.usable:
            more = say_percent(shown.number) if shown.number > share.number else "no more"
            words[0] += f" and {more} by day {day}"
            break
    return f"{'; '.join([*words, half] if half else words)}."


def _say_treated(readings: Readings) -> str:
    """How many were given maneuvers before that, and how many sessions."""
    treated = readings["all", "treated_before_recognition"]
    if not treated.usable:
        return "How many were treated before they were recognised cannot be shown."
    words = (
        "A maneuver was given before the clinic recognised it, or without its ever doing so, in "
        f"{_say_part(treated)}"
    )
    mean, median = (
        readings["all", f"sessions_before_recognition_{average}"] for average in ("mean", "median")
    )
    if mean.usable and median.usable:
        words += f": {mean.number:.1f}{BLANK}sessions on average (median {median.number:g})"
    return f"{words}."


def _say_rule(on_record: Reading) -> str:
    """What sets a case apart, and how many had such a sign on record by day 0."""
    if not (on_record.usable or on_record.bounded):
        return RULE
    share = say_percent(on_record.number) if on_record.usable else say_bound(on_record)
    return f"{RULE} {begin_sentence(share)} had one on record by day 0."


def _say_found_late(later: Reading, readings: Readings) -> str:
    """What was in the curves until the site found another cause."""
    if not (later.usable and later.estimate):
        return ""
    day, sessions = (
        readings["all", f"reclassified_{what}"] for what in ("day_median", "sessions_median")
    )
    when = f", half of them by day {day.number:.0f}" if day.usable else ""
    after = f" and after a median of {sessions.number:g}{BLANK}sessions" if sessions.usable else ""
    return (
        f"{count_words(later.number, 'further episode')} "
        f"{agree(later.number, 'was', 'were')} treated as positional vertigo until the site "
        f"found another cause{when}{after}, and {agree(later.number, 'is', 'are')} in the curves "
        "up to that day, since nobody knew before."
    )


def _draw_recognition(readings: Readings, config: Config) -> dict | None:
    """Those kept apart as one bar in parts, a row each, and below it those treated unrecognised.

    The never recognised are one part where it cannot be shown how many of them were treated, and so
    are the others where it cannot be shown when; a hidden part takes no place.
    """
    recognised, first = readings["all", "recognised_by_site"], config.study.non_positional.days[0]
    days = {f"recognised_{when}_day_{first}": f"Recognised {when} day {first}" for when in WHEN}
    parts = _part(readings, NEVER, {"Never recognised by the clinic": recognised.turned()})
    parts |= _part(readings, days, {"Recognised by the clinic": recognised})
    if not any(part.usable for part in parts.values()):
        return None
    bars, place = [], 0.0
    for words, part in parts.items():
        share = part.number if part.usable else None
        number = mark_missing(part) if share is None else say_percent(share)
        bars.append(Bar(words, number, place, share or None, "apart"))
        place += share or 0
    treated = readings["all", "treated_before_recognition"]
    if treated.usable:
        bars.append(Bar(TREATED, say_percent(treated.number), 0, treated.number, "apart"))
    size = next(part.n_episodes for part in parts.values() if part.usable)
    of = "these episodes" if size is None else f"{count_words(size, 'episode')} kept apart"
    title = f"When the clinics recognised {of}"
    if recognised.usable:
        title = f"The clinics never recognised {say_percent(recognised.turned().number)} of {of}"
    return make_picture(
        draw_bars,
        bars,
        name="figure-recognition",
        title=title,
        description="; ".join(f"{bar.label} {bar.number}" for bar in bars) + ".",
        caption=f"Shares of {of}. {say_fillings(['apart'])} {MEANING}",
        total=max(1.0, place),
    )


def _part(
    readings: Readings, parts: dict[str, str], whole: dict[str, Reading]
) -> dict[str, Reading]:
    """The parts by their words if all of them can be shown, else their whole."""
    known = {words: readings["all", term] for term, words in parts.items()}
    return known if all(part.usable for part in known.values()) else whole


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
