"""Columns of remarks among those that the dictionary does not know: nothing of them is stored,
but a site should not hand them on."""

import re

import pandas as pd

LONGEST_ENTRY = 40  # characters: a kind or a group is told in fewer
SENTENCE = 3  # words
DIFFERENT = 5  # entries of two words, most of them different: no list of kinds
REMARKS = re.compile(
    r"remarks?|comments?|notes?|free ?text|description|observations?|bemerkung(?:en)?|"
    r"anmerkung(?:en)?|kommentare?|notiz(?:en)?|beschreibung|freitext"
    r"|commentaires?|remarques?|observaci[oó]n(?:es)?|comentarios?|notas?|osservazion[ei]|"
    r"commenti?|opmerking(?:en)?|uwagi|observa[cç][oõ]es|anteckning(?:ar)?"
)
WORD = re.compile(r"[^\W\d_]{2,}")


def find_free_text(header: str, texts: pd.Series) -> str:
    """Whether a column holds free text: in how many of its cells, as a sentence, or nothing."""
    given = texts.dropna()
    word_counts = {text: len(WORD.findall(text)) for text in given.unique()}
    written = {text for text, words in word_counts.items() if words > 1}
    sentences = [text for text in written if word_counts[text] >= SENTENCE]
    remarks = REMARKS.search(header.lower()) is not None and written
    different = len(written) >= DIFFERENT and len(written) * 2 > int(given.isin(written).sum())
    if (
        remarks
        or different
        or len(sentences) >= SENTENCE
        or any(len(text) > LONGEST_ENTRY for text in written)
    ):
        count = int(given.isin(written).sum())
        return (
            f"{count:,} {'cell' if count == 1 else 'cells'} of this column "
            f"{'holds' if count == 1 else 'hold'} some."
        )
    return ""
