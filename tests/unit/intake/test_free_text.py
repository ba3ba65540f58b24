"""Columns of remarks are told from lists of kinds."""

import pandas as pd
import pytest

from pipeline.intake.free_text import LONGEST_ENTRY, find_free_text

KINDS = ["right ear", "left ear"] * 20
LONG = "a" * LONGEST_ENTRY + " bb"


@pytest.mark.parametrize(
    ("header", "cells", "number"),
    [
        ("group", KINDS, 0),
        ("group", ["x", "y", "7"], 0),
        ("Bemerkungen", ["right ear"], 1),
        ("Bemerkungen", ["x", "7"], 0),
        ("group", [f"kind {letter * 2}" for letter in "abcde"], 5),
        ("group", [f"kind {letter * 2}" for letter in "abcd"], 0),
        ("group", [f"he went {letter * 2} again" for letter in "abc"] + KINDS, 43),
        ("group", [LONG, None], 1),
        ("group", [LONG.replace(" ", "")], 0),
    ],
    ids=[
        "kinds",
        "single words",
        "called remarks",
        "called so, but empty of words",
        "all different",
        "few",
        "sentences",
        "long",
        "one long word",
    ],
)
def test_free_text_is_counted(header, cells, number):
    sentence = find_free_text(header, pd.Series(cells, dtype="string"))
    if not number:
        assert sentence == ""
    elif number == 1:
        assert sentence == "1 cell of this column holds some."
    else:
        assert sentence == f"{number} cells of this column hold some."
