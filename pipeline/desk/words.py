"""What the page asks about the words of a site, and what was answered."""

import re
from collections.abc import Mapping
from itertools import groupby
from typing import Any

from pipeline.coordinator.word_list import NotMeant, OwnWord
from pipeline.desk.verdict import Dictionary

ANSWER = re.compile(r"(code|word)-([0-9]{1,4})")


def describe_words(words: list[OwnWord], dictionary: Dictionary) -> list[dict[str, Any]]:
    """Describe the questions for `reports/desk_words.html.j2`.

    Parameters
    ----------
    words
        The words that the dictionary does not know.
    dictionary
        What is said of each column, by table and column.

    Returns
    -------
    list
        The questions of each column together. A word that the check would not repeat is not in it.
    """
    numbered = list(enumerate(words))
    return [
        {
            "table": table,
            "column": dictionary.get((table, column)),
            "name": column,
            "words": [
                {
                    "number": number,
                    "text": word.text if word.told else "",
                    "place": name_place(word.place),
                    "cells": word.cells,
                    "chosen": word.sure,
                    "perhaps": "" if word.sure else word.perhaps,
                    "choices": list_choices(word, dictionary),
                }
                for number, word in of_column
            ],
        }
        for (table, column), of_column in groupby(
            numbered, key=lambda item: (item[1].table, item[1].column)
        )
    ]


def name_place(place: str) -> str:
    """Rows, or the letters of a column, without a word of any language."""
    return place.removeprefix("column ").replace(" to ", "\u2013")


def list_choices(word: OwnWord, dictionary: Dictionary) -> list[tuple[str, str]]:
    """What a word may be said to stand for: codes, or columns, with their meanings."""
    if word.column:
        return list(dictionary[word.table, word.column]["codes"])
    return [(name, dictionary[word.table, name]["meaning"]) for name in word.columns]


def read_answers(
    form: Mapping[str, str], words: list[OwnWord], dictionary: Dictionary
) -> tuple[dict[int, str], dict[int, str]]:
    """What was chosen for each question, and what was typed, by its number.

    Raises NotMeant if something was chosen that was no choice.
    """
    chosen: dict[int, str] = {}
    typed: dict[int, str] = {}
    for field, given in form.items():
        match = ANSWER.fullmatch(field)
        if match is None or int(match[2]) >= len(words):
            raise NotMeant("no_choice")
        number = int(match[2])
        if match[1] == "word":
            typed[number] = given
        elif given:
            if given not in dict(list_choices(words[number], dictionary)):
                raise NotMeant("no_choice")
            chosen[number] = given
    return chosen, typed
