"""How many further episodes an answer needs, and in how many years they come if as many come a year
as did. What a clinic that hands in records can bring about."""

from collections.abc import Iterator
from math import ceil

from pipeline.statistics.precision import count_further
from pipeline.statistics.tidy import Fields, state
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.study import Disclosure, round_count

METHOD = "width of limits, as the root of the number of episodes, at further sites like these"
NEEDED, PACE = "further_episodes_needed", "years_at_this_pace"


def count_years(episodes: Frame[Episodes]) -> int:
    """The years of the records, the first and the last included; 1 where none is told."""
    told = episodes["index_year"].dropna()
    return int(told.max() - told.min()) + 1 if len(told) else 1


def state_needed(
    number: int, width: float, answer: float, years: int, rule: Disclosure, **fields: object
) -> Iterator[Fields]:
    """State what is needed until limits are as narrow as an answer; nothing where they are.

    Parameters
    ----------
    number
        Episodes that made the limits, as many as may be shown.
    width, answer
        Of the limits, and the widest that is an answer.
    years
        In which these episodes came.
    rule
        How counts are rounded before they leave.
    fields
        Of the rows.

    Yields
    ------
    Fields
        further_episodes_needed and years_at_this_pace.
    """
    known = round_count(number, rule.round_counts)
    needed = count_further(known, width, answer)
    if needed:
        yield state(NEEDED, needed, **fields)
        yield state(PACE, ceil(needed * years / known), **fields)
