"""What to say of a release that fails its audit: which sums give what away,
in words an analyst can look up, and no number."""

import numpy as np

from pipeline.disclosure.audit import EVERYBODY, Exposed
from pipeline.disclosure.cells import Cells

MOST_FOUND, MOST_SUMS, MOST_PARTS = 10, 6, 8


def describe_exposed(exposed: list[Exposed], cells: Cells, bounds: np.ndarray) -> str:
    """Each count that is given away, and the sums around it: which of their parts are shown,
    and which are hidden."""
    counts = "1 hidden count" if len(exposed) == 1 else f"{len(exposed)} hidden counts"
    lines = [
        f"{counts} can be worked out from what is shown, so nothing is released. Hidden parts "
        "stand in brackets."
    ]
    for exposure in exposed[:MOST_FOUND]:
        whose = "nearly all of one site" if exposure.cell in cells.floor else "a small group"
        eyes = "" if exposure.eyes == EVERYBODY else ", for the eyes of a site that knows its own"
        lines.append(f"\n{cells.keys[exposure.cell].say()} ({whose}{eyes}). It follows from")
        sums = [
            equation for equation in cells.equations if any(n == exposure.cell for n, _ in equation)
        ]
        lines += [f"  - {_say_sum(equation, cells, bounds)}" for equation in sums[:MOST_SUMS]]
        if len(sums) > MOST_SUMS:
            lines.append(f"  - and {len(sums) - MOST_SUMS} more sums")
    if len(exposed) > MOST_FOUND:
        lines.append(f"\nand {len(exposed) - MOST_FOUND} more counts.")
    lines.append(
        "\nOne more shown part of one of these sums must be hidden: name it in the analysis as "
        "withheld, divide its table by fewer variables, or leave a table out of the release."
    )
    return "\n".join(lines)


def _say_sum(equation: frozenset, cells: Cells, bounds: np.ndarray) -> str:
    """'what is said: whole = shown part + (hidden part)'."""
    sides: dict[int, list[str]] = {-1: [], 1: []}
    for n, sign in sorted(equation):
        least, most = bounds[n]
        name = cells.keys[n].say()
        sides[sign].append(name if least == most else f"({name})")
    more = len(sides[1]) - MOST_PARTS
    parts = sides[1][:MOST_PARTS] + ([f"{more} more"] if more > 0 else [])
    return f"{cells.equations[equation]}: {' + '.join(sides[-1])} = {' + '.join(parts)}"
