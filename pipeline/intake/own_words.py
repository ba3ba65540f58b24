"""A site's own words for codes, offered as lines of its list of names:
for the coordinating team to confirm, never applied by guess."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping

from pipeline.intake.problem import Problem

LEAST_CELLS = 3  # with the same entry: fewer are slips of the pen
MOST_OFFERED = 12


def offer_words(
    table: str, column: str, entries: Iterable[str], meant: Mapping[str, str]
) -> list[Problem]:
    """The entries of a column that are no codes and may mean one,
    each with the number of its cells; none where they are only slips."""
    counts = Counter(entries).most_common()
    offered = [
        (text, meant[text], count)
        for text, count in counts
        if text in meant and count >= LEAST_CELLS
    ]
    if not offered:
        return []
    offered = offered[:MOST_OFFERED]
    also = ", ".join(f"{text} = {code}? ({count:,} cells)" for text, code, count in offered) + "."
    words = json.dumps({text: code for text, code, _ in offered}, ensure_ascii=False)
    return [
        Problem(
            "own_words",
            table,
            None,
            column,
            also=also,
            lines=f"codes: {{{table}: {{{column}: {words}}}}}",
        )
    ]
