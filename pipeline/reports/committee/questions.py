"""The page that can be handed out alone: four questions, each with its answer in plain words and
the sections behind it."""

from collections.abc import Sequence

import pandas as pd

from pipeline.reports.committee.matrix import (
    read_first_choice,
    say_first_choice,
    tabulate_first_choice,
)
from pipeline.reports.committee.order_readings import read_orders
from pipeline.reports.committee.orders import (
    say_orders,
    say_untold,
    tabulate_orders,
)
from schemas.study import Config

QUESTIONS = {  # by their names within the page
    "question-order": "Which maneuver clears which variant, and in which order?",
    "question-failed": "Why may first maneuvers have failed?",
    "question-seen": "What was probably not positional, and when was it seen?",
    "question-done": "Do technique and setting matter, and what of harm?",
}


def answer_questions(
    estimates: dict[str, pd.DataFrame], sections: Sequence[dict], apart: dict, config: Config
) -> list[dict]:
    """Answer the four questions.

    Parameters
    ----------
    estimates
        Disclosed ones by analysis.
    sections
        Those of the report; what they have found is said once more, in the same words.
    apart
        The section on what was probably not positional vertigo.
    config
        The plan.

    Returns
    -------
    list of dict
        Each {key, question, answers, matrix, orders, notes, behind}: sentences, the two tables or
        None, sentences below them, and the sections behind as {key, title}.
    """
    by_key = {section["key"]: section for section in sections}
    rows, variants = read_first_choice(estimates, config), read_orders(estimates, config)
    done, harm = by_key["technique"], by_key["harm"]
    orders = tabulate_orders(variants, config)
    return [
        _ask(
            "question-order",
            [say_first_choice(rows), say_orders(variants, config)],
            [by_key["orders"], by_key["second-line"], by_key["paths"]],
            matrix=tabulate_first_choice(rows, config),
            orders=orders,
            notes=[
                orders["note"] if orders else "",
                say_untold(variants),
                _say_weighted(by_key["second-line"]),
            ],
        ),
        _ask("question-failed", [_find_answer(by_key["failures"])], [by_key["failures"]]),
        _ask("question-seen", apart["sentences"][:2], [{"key": "apart", "title": apart["title"]}]),
        _ask(
            "question-done",
            [
                done["finding"],
                done["sentences"][0],
                harm["finding"] or harm["sentences"][0],
                harm["sentences"][0] if harm["finding"] else "",
            ],
            [done, harm],
        ),
    ]


def _ask(
    key: str,
    answers: Sequence[str],
    behind: Sequence[dict],
    *,
    matrix: dict | None = None,
    orders: dict | None = None,
    notes: Sequence[str] = (),
) -> dict:
    return {
        "key": key,
        "question": QUESTIONS[key],
        "answers": [answer for answer in answers if answer],
        "matrix": matrix,
        "orders": orders,
        "notes": [note for note in notes if note],
        "behind": [{"key": section["key"], "title": section["title"]} for section in behind],
    }


def _find_answer(section: dict) -> str:
    """What a section has found, or what its figure shows, or why it has nothing to say."""
    if section["finding"]:
        return section["finding"]
    if section["figure"]:
        return f"{section['figure']['title']}."
    return section["sentences"][0]


def _say_weighted(section: dict) -> str:
    """The weighted answer of all variants with its intervals, beside that of the model, which may
    disagree."""
    if not section["finding"]:
        return ""
    return f"All variants, weighted for what was recorded. {section['finding']}"
