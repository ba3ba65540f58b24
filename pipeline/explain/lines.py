"""Lines of an explanation: texts behind their labels, and a test in words."""

import textwrap

import pandas as pd

from schemas import codes

WIDTH, LABEL = 110, 11


def wrap(label: str, text: str, indent: int = LABEL) -> str:
    """A text behind its label, or indented; later lines under its start, or further in.

    Words stay whole.
    """
    first, later = f"{label:{indent}}", " " * (indent if label or indent == LABEL else indent + 4)
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )


def say_test(test: pd.Series) -> str:
    """When a test was made and what it showed."""
    side = "" if test["side"] == "none" else f", {test['side']}"
    parts = [
        f"{part} {test[part]}"
        for part in ("vertical", "torsion", "horizontal")
        if test[part] != "none"
    ]
    timing = [
        f"{test[c]:g} {unit}"
        for c, unit in (("latency_s", "s latency"), ("duration_s", "s"), ("peak_spv", "deg/s"))
        if pd.notna(test[c])
    ]
    seen = "; ".join([" ".join(parts) or "no nystagmus", *timing, f"vertigo {test['vertigo']}"])
    since = test["minutes_since_attempt"]
    if pd.notna(since):
        seen += f"; {since:g} min after the attempt"
    why = "" if pd.isna(test["reason"]) else f" ({test['reason']})"
    when = f"day {test['day']}, examination {test['examination']}{why}"
    return f"{when}: {codes.TEST[test['test']]}{side}: {seen}"


def say_pair(pair: pd.Series) -> str:
    """What both sides of a roll test tell together."""
    return (
        f"day {pair['day']}: supine roll test, both sides together: {pair['horizontal']}; duration "
        f"{pair['duration_class']}; affected ear {pair['ear']}"
    )
