"""What a coordinator gets back: the content of the page, and the list of problems as a .csv file.

The page shows no cell.
"""

import csv
import io
import re
import unicodedata

import pandas as pd

from pipeline.intake.receive import Received
from schemas.codes import TABLE
from schemas.demonstration import INVENTED
from schemas.rules import GATE_RULES, PLAUSIBILITY_RULES
from schemas.store import Changes

PLACES_SHOWN = 20
DOUBT = "doubt"
PARTS = ("refuse", DOUBT, "set_aside", "warn")  # of a page, in their order
FOLLOWS = "episode_set_aside"  # mended with the episode that it names
# CWE-1236; OWASP, CSV Injection: a spreadsheet would run such a cell
FORMULA_START = re.compile(r"[=+\-@\t\r\n\0]")
PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
PROBLEM_COLUMNS = [
    "table",
    "row",
    "episode_id",
    "column",
    "value",
    "rule",
    "severity",
    "message",
    "how_to_fix",
]


def describe_intake(
    received: Received, previous: Received | None = None, *, invented: bool = False
) -> dict:
    """Describe one delivery for `reports/intake.html.j2`; it shows no cell.

    Parameters
    ----------
    received
        What became of it.
    previous
        The delivery that changes are counted from.
    invented
        Whether it is of the demonstration pool.

    Returns
    -------
    dict
        The sentence that matters, rows by table, changes, and problems by rule.
    """
    counts, problems = received.tables["row_counts"], received.tables["problems"]
    by_part = dict(iter(problems.groupby(name_part(problems))))
    return {
        "site": received.site,
        "delivery": received.delivery,
        "accepted": received.accepted,
        "shown": PLACES_SHOWN,
        "invented": INVENTED if invented else "",
        "answer": answer(received),
        "next_step": next_step(received),
        "counts": [
            {
                "table": row.table,
                "meaning": TABLE[row.table],
                "rows": [
                    row.rows_in,
                    row.rows_stored,
                    row.rows_set_aside,
                    row.rows_withdrawn,
                    row.rows_refused,
                ],
            }
            for row in counts.itertuples(index=False)
        ],
        "changes": describe_changes(received, previous),
        "parts": [
            {"name": part, "groups": group_problems(by_part[part])}
            for part in PARTS
            if part in by_part
        ],
    }


def name_part(problems: pd.DataFrame) -> pd.Series:
    """The part of the page, or of what the terminal says, that each problem belongs to:
    its severity, or that the delivery as a whole looks wrong."""
    return problems["severity"].mask(problems["rule"].isin(PLAUSIBILITY_RULES), DOUBT)


def answer(received: Received) -> str:
    """The sentence that matters."""
    counts, problems = received.tables["row_counts"], received.tables["problems"]
    to_mend, following = count_aside(problems)
    if not received.accepted:
        why = say_why(problems[problems["severity"] == "refuse"])
        besides = (
            f" Besides, {count(to_mend, 'row')} {'needs' if to_mend == 1 else 'need'} attention."
            if to_mend
            else ""
        )
        return f"This delivery was refused: {why}. Nothing of it was stored.{besides}"
    rows_in, stored, aside = (
        int(counts[name].sum()) for name in ("rows_in", "rows_stored", "rows_set_aside")
    )
    if rows_in == 0:
        return "Your delivery can be read, but it holds no rows."
    pooled = "Your delivery can be pooled"
    if doubts := int(problems["rule"].isin(PLAUSIBILITY_RULES).sum()):
        pooled += f"; {count(doubts, 'thing')} to confirm first"
    if aside == 0:
        return f"{pooled}: all {count(rows_in, 'row')} {'is' if rows_in == 1 else 'are'} stored."
    needs, go = "needs" if to_mend == 1 else "need", "goes" if following == 1 else "go"
    after = f", and {following:,} {go} with {'it' if to_mend == 1 else 'them'}" if following else ""
    return (
        f"{pooled}: {stored:,} of {count(rows_in, 'row')} are stored, {to_mend:,} {needs} "
        f"attention{after}."
    )


def count_aside(problems: pd.DataFrame) -> tuple[int, int]:
    """How many rows must be mended to be stored, and how many only go with one of them."""
    aside = problems[problems["severity"] == "set_aside"]
    to_mend = set(
        aside.loc[aside["rule"] != FOLLOWS, ["table", "row"]].itertuples(index=False, name=None)
    )
    following = (
        set(
            aside.loc[aside["rule"] == FOLLOWS, ["table", "row"]].itertuples(index=False, name=None)
        )
        - to_mend
    )
    return len(to_mend), len(following)


def say_why(refusals: pd.DataFrame) -> str:
    """Why a delivery is refused, in half a sentence."""
    hits = int(refusals["rule"].isin(GATE_RULES).sum())
    if hits:
        return f"{count(hits, 'place')} in it could identify a person"
    messages = refusals["message"].drop_duplicates()
    first = messages.iloc[0].rstrip(".")
    more = f" (and {count(len(messages) - 1, 'further reason')})" if len(messages) > 1 else ""
    return first[0].lower() + first[1:] + more


def next_step(received: Received) -> str:
    """What the coordinator does next."""
    if not received.accepted:
        return (
            "Mend what is named here in your own records, then hand in the whole delivery again "
            "under the next free number."
        )
    if has_doubts(received):
        return (
            "Read first what stands under “Is this meant so?”: something may have slipped in "
            "the delivery as a whole. If it is as it should be, nothing needs to be done about it; "
            "otherwise mend it in your own records, and hand in the whole delivery again under the "
            "next free number."
        )
    if received.tables["row_counts"]["rows_set_aside"].sum():
        return (
            "Rows that need attention are kept apart, not lost: they enter no analysis until "
            "they are mended. Mend them in your own records; the next delivery, again complete, "
            "takes the place of this one."
        )
    return "Nothing needs to be done."


def has_doubts(received: Received) -> bool:
    """Whether the delivery as a whole looks as if something slipped."""
    return bool(received.tables["problems"]["rule"].isin(PLAUSIBILITY_RULES).any())


def describe_changes(received: Received, previous: Received | None) -> dict | None:
    """How many episodes differ from the accepted delivery before, by kind of change, and their rows
    in the episodes table, which is that of the delivery before for those that are no longer there;
    None if there was none before."""
    if received.compared_with is None:
        return None
    changes, kinds = received.tables["changes"], []
    for kind, meaning in (Changes.describe()["change"].codes or {}).items():
        codes = changes.loc[changes["change"].eq(kind), "episode_id"]
        holder = previous if kind == "withdrawn" else received
        rows = find_rows(holder, set(codes)) if holder else []
        place = f" of delivery {received.compared_with}" if kind == "withdrawn" and rows else ""
        kinds.append(
            {
                "name": kind,
                "meaning": meaning,
                "episodes": len(codes),
                "rows": say_ranges(rows) + place,
            }
        )
    return {"previous": received.compared_with, "kinds": kinds}


def say_ranges(rows: list[int]) -> str:
    """Row numbers in words, neighbours as ranges; nothing if there are none."""
    return f"{'row' if len(rows) == 1 else 'rows'} {name_ranges(rows)}" if rows else ""


def find_rows(received: Received, codes: set[str]) -> list[int]:
    """The rows of the episodes table, stored or set aside, that hold some episodes, in order."""
    stored, aside = received.tables["episodes"], received.tables["set_aside"]
    stored_or_aside = pd.concat(
        [
            stored[["row", "episode_id"]],
            aside.loc[aside["table"].eq("episodes"), ["row", "episode_id"]],
        ]
    )
    return sorted(
        int(row)
        for row in stored_or_aside.loc[stored_or_aside["episode_id"].isin(codes), "row"].unique()
    )


def group_problems(problems: pd.DataFrame) -> list[dict]:
    """Problems that say the same, together: message, how to fix, number of rows,
    and the first places by table and column."""
    groups = []
    for (_, message, fix), group in problems.groupby(["rule", "message", "how_to_fix"], sort=False):
        rows = group[["table", "row"]].drop_duplicates()
        groups.append(
            {
                "message": message,
                "how_to_fix": fix,
                "size": count(len(rows), "row"),
                "places": list_places(group.head(PLACES_SHOWN)),
                "more": len(group) > PLACES_SHOWN,
            }
        )
    return groups


def list_places(problems: pd.DataFrame) -> list[dict]:
    """Where problems are: the rows of each table and column; a place without a row is a table,
    a file or the delivery as a whole."""
    return [
        {
            "table": table or "the whole delivery",
            "column": column or "",
            "rows": say_ranges(sorted({int(row) for row in group["row"].dropna()})),
        }
        for (table, column), group in problems.fillna({"table": "", "column": ""}).groupby(
            ["table", "column"], sort=False
        )
    ]


def name_ranges(rows: list[int]) -> str:
    """Row numbers in order, neighbours as ranges: 3, 7 to 12, 40."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def count(number: int, thing: str) -> str:
    """A number of things in words: 1 row, 2 rows."""
    return f"{number:,} {thing}" + ("" if number == 1 else "s")


def format_problems(received: Received) -> str:
    """The list of problems as .csv text: one line a problem,
    with cells that a spreadsheet would run made harmless."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(PROBLEM_COLUMNS)
    rows = received.tables["problems"][PROBLEM_COLUMNS].astype(object)
    writer.writerows(
        [
            [disarm(cell) for cell in row]
            for row in rows.where(rows.notna(), "").itertuples(index=False)
        ]
    )
    return text.getvalue()


def disarm(cell: object) -> object:
    """The cell, with an apostrophe before it where a spreadsheet would take it for a formula;
    numbers stay numbers."""
    text = str(cell)
    start = unicodedata.normalize("NFKC", text[:1])  # wide signs are taken for the plain ones
    return f"'{text}" if FORMULA_START.match(start) and not PLAIN_NUMBER.fullmatch(text) else cell
