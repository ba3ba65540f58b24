"""What is known on a few days of everybody who was tested again: the strips under a curve, and the
same in words."""

from collections.abc import Iterable, Sequence

from pipeline.reports.figures.fillings import FILLINGS
from pipeline.reports.figures.strips import Strip
from pipeline.reports.readings import Readings
from pipeline.reports.wording import (
    begin_sentence,
    count_words,
    join_words,
    mark_missing,
    say_count,
)
from schemas.codes import KNOWN_ON_DAY

FILLED = {
    "negative": "negative",
    "between": "between",
    "positive": "positive",
    "untested": "leaves",
}
LOOKS = " ".join(f"{FILLINGS[FILLED[part]].look}: {words}." for part, words in KNOWN_ON_DAY.items())
STRIPS_CAPTION = f"Strips: those who were tested again, by what is known on the day. {LOOKS}"


def read_strips(readings: Readings, stratum: str, days: Iterable[int]) -> tuple[Strip, ...]:
    """A strip for each day on which the number of any part can be shown."""
    strips = []
    for day in days:
        parts_of_day = {part: readings[stratum, f"known_{part}_day_{day}"] for part in KNOWN_ON_DAY}
        total = next((part.n_episodes for part in parts_of_day.values() if part.usable), None)
        if total:
            parts = {
                FILLED[name]: (part.estimate, say_count(part.estimate))
                if part.usable
                else (None, mark_missing(part))
                for name, part in parts_of_day.items()
            }
            strips.append(Strip(f"day {day}", total, parts))
    return tuple(strips)


def say_strips(strips: Sequence[Strip]) -> str:
    """The strips for those who do not see them: 'Known of 676 episodes on day 7:
    198 tested negative by then, 247 ...'"""
    sentences = []
    for strip in strips:
        words = dict(zip(FILLED.values(), KNOWN_ON_DAY.values(), strict=True))
        parts = [
            f"{number} {words[filling]}"
            for filling, (count, number) in strip.parts.items()
            if count is not None
        ]
        sentences.append(f"{begin_sentence(strip.day)}: {join_words(parts)}.")
    return (
        f"Known of {count_words(strips[0].total, 'episode')} on some days. {' '.join(sentences)}"
        if sentences
        else ""
    )
