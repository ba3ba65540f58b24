"""What the page says of a delivery: the sentences of the check, in its order, and of each column
what the dictionary says."""

from collections.abc import Mapping
from typing import Any

from pipeline.coordinator.check import FINE, NO_SITE, REFUSED, SET_ASIDE, UNTOLD, Judged, judge
from pipeline.intake.report import DOUBT, answer, describe_intake, name_part
from pipeline.intake.terminal import HEADINGS, Finding, describe_part, say_next
from schemas.dictionary import list_current_entries, say_form, say_need

STATES = {FINE: "fine", SET_ASIDE: "aside", REFUSED: "refused"}
LONGEST = 300  # letters of a list of rows: the marked copy shows all

Dictionary = Mapping[tuple[str, str], dict[str, Any]]


def describe_verdict(judged: Judged, dictionary: Dictionary, *, earlier: bool) -> dict[str, Any]:
    """Describe the verdict on one delivery for `reports/desk_check.html.j2`.

    Parameters
    ----------
    judged
        The delivery, and what became of it.
    dictionary
        What is said of each column, by table and column.
    earlier
        Whether a delivery before it was given to compare with.

    Returns
    -------
    dict
        Its site and number, the sentence that matters, what to do next, and what to mend.
    """
    received = judged.received
    problems, told = received.tables["problems"], describe_intake(received, judged.previous)
    parts, state = name_part(problems), STATES[judge(received)]
    untold = judged.folder.parent.name == NO_SITE
    return {
        "site": received.site,
        "delivery": received.delivery,
        "untold": UNTOLD if untold else "",
        "state": "doubt" if state == "fine" and parts.eq(DOUBT).any() else state,
        "answer": answer(received),
        "next_step": say_next(received),
        "parts": [
            describe_findings(part, heading, describe_part(problems[parts.eq(part)]), dictionary)
            for part, heading in HEADINGS.items()
            if parts.eq(part).any()
        ],
        "counts": told["counts"],
        "changes": told["changes"],
        "not_compared": earlier and received.accepted and told["changes"] is None,
        "form": judged.handed.form,
        "savable": received.accepted,
    }


def describe_findings(
    part: str, heading: str, told: tuple[list[Finding], list[str]], dictionary: Dictionary
) -> dict[str, Any]:
    """One heading with what stands under it."""
    findings, notes = told
    return {
        "name": part,
        "heading": heading,
        "notes": notes,
        "findings": [
            {
                "message": finding.message,
                "fixes": list(finding.fixes),
                "place": finding.place,
                "rows": shorten(finding.rows),
                "column": dictionary.get((finding.table, finding.column)),
            }
            for finding in findings
        ],
    }


def shorten(rows: str) -> str:
    """A list of rows, cut between two of them where it is long."""
    if len(rows) <= LONGEST:
        return rows
    return rows[:LONGEST].rpartition(",")[0] + " and further ones"


def describe_columns(maneuvers: Mapping[str, str]) -> Dictionary:
    """What the dictionary says of each column, by table and column."""
    return {
        (entry.table, entry.column): {
            "name": entry.column,
            "meaning": entry.meaning,
            "form": say_form(entry),
            "need": say_need(entry),
            "codes": [(code, "" if code == says else says) for code, says in entry.codes.items()],
        }
        for entry in list_current_entries(maneuvers)
    }
