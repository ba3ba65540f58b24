"""Which code a text may stand for that is none: asked of the coordinator, never assumed,
and only where no other code is as likely.

A wrong suggestion that is followed changes the meaning of a record and leaves no trace, so that
silence is the rule: other words must stand in schemas.synonyms, a slip of the pen must be nearer to
no other code and leave the beginning of each word alone, since that is where words are turned into
their opposite (apogeotropic, uncertain), and a text that denies something is never taken for a
code.
"""

import re
from collections.abc import Iterable, Mapping
from functools import cache

from pipeline.intake.patterns import normalise
from schemas.site_map import spell_plainly
from schemas.synonyms import Vocabulary

# letters of what may be meant: shorter words are a slip away from too many others
ONE_SLIP_FROM, TWO_SLIPS_FROM = 5, 8
LEAST_BEGINNING = 4  # letters that are enough to begin a code
LEAST_OF_HEADER = 3  # the same of a column name
DENYING = """no not non none nil never without neg negative excluded exclude out ex anti contra
    opposite kein keine keinen nicht nie ohne sans pas aucun sin ningún ninguno senza nessuno niet
    geen zonder sem nenhum nem ej inte ikke uden bez brak with after other and or und oder et ou y e
    o"""
FILLING_WORDS = """canal canals semicircular scc bppv ear ears side sides sided nystagmus beating
    maneuver manoeuvre maneuvre test arm kanal bogengang ohr seite manöver oreille côté oído lado
    orecchio lato oor zijde"""
# they deny, turn round or join: a text with one of them is no code with something more (common
# practice)
DENIALS = frozenset(DENYING.split())
# coordinators add them to a code without changing it (common practice)
FILLING = frozenset(FILLING_WORDS.split())
WORDS = re.compile(r"[^\W_]+")
NO_DIGIT = re.compile(r"\D")
PLAINLY_WRITTEN = re.compile(r"[\w\s./'-]+")


def find_meanings(texts: Iterable[str], vocabulary: Vocabulary) -> dict[str, str]:
    """The texts of one column that may stand for a code, each with that code.

    Single letters are judged by the others of the column.
    """
    plain = {text: normalise(text).strip() for text in texts}
    letters = _read_letters(
        {
            normalised
            for normalised in plain.values()
            if len(normalised) == 1 and normalised.isalpha()
        },
        vocabulary.schemes,
    )
    meant = {
        text: letters.get(normalised) or find_meaning(normalised, vocabulary)
        for text, normalised in plain.items()
    }
    return {text: code for text, code in meant.items() if code}


def find_meaning(text: str, vocabulary: Vocabulary) -> str:
    """The code that one text of several letters may stand for;
    nothing if none or more than one may be meant."""
    plain = _plain(text)
    return _find(plain, vocabulary.codes, tuple(vocabulary.words.items())) or _find_begun(
        plain, vocabulary.codes
    )


def find_header(text: str, vocabulary: Vocabulary, missing: Iterable[str]) -> str:
    """The missing column that an unknown column name may stand for; also its first word,
    unless a number would follow (vas_0_10)."""
    plain = _plain(text)
    meant = _find(plain, vocabulary.codes, tuple(vocabulary.words.items()))
    if not meant:
        begun = "_".join(WORDS.findall(plain))
        longer = [name for name in vocabulary.codes if f"_{begun}_" in f"_{name}_"]
        ending = (
            longer[0][len(begun) + 1 :] if len(longer) == 1 and longer[0].startswith(begun) else ""
        )
        meant = (
            longer[0]
            if len(begun) >= LEAST_OF_HEADER and ending.isalpha() and begun not in DENIALS
            else ""
        )
    return meant if meant in missing else ""


def _plain(text: str) -> str:
    return normalise(text).strip().replace("'s", "")


def _read_letters(letters: set[str], schemes: tuple[Mapping[str, str], ...]) -> dict[str, str]:
    """What the single letters of a column stand for; those of one letter alone are read in English
    only."""
    fitting = [
        {letter: scheme[letter] for letter in letters}
        for number, scheme in enumerate(schemes)
        if letters <= scheme.keys() and (number == 0 or len(letters) > 1)
    ]
    return fitting[0] if fitting and all(read == fitting[0] for read in fitting) else {}


@cache
def _find(plain: str, codes: tuple[str, ...], words: tuple[tuple[str, str], ...]) -> str:
    """By other words, then without words that only fill, then as a slip of the pen."""
    if len(plain) < 2 or not PLAINLY_WRITTEN.fullmatch(plain):  # right? is a doubt
        return ""
    known = {spell_plainly(word): code for word, code in words} | {
        spell_plainly(code): code for code in codes
    }
    if meant := known.get(spell_plainly(plain)):
        return meant
    written = [word for word in WORDS.findall(plain) if word not in FILLING]
    in_codes = {word for code in codes for word in code.split("_")}
    known_words = in_codes | {part for word, _ in words for part in WORDS.findall(word)}
    turned = any(
        word.endswith(part)
        for word in set(written) - known_words
        for part in known_words
        if len(part) >= ONE_SLIP_FROM
    )
    if not written or turned or not DENIALS.isdisjoint(set(written) - in_codes):
        return ""
    return known.get("".join(written)) or _find_slip(written, codes, words, known)


def _find_begun(plain: str, codes: tuple[str, ...]) -> str:
    """The code that begins so, if no word of another one does."""
    begun = "_".join(WORDS.findall(plain))
    if (
        len(begun) < LEAST_BEGINNING
        or begun in DENIALS | FILLING
        or not PLAINLY_WRITTEN.fullmatch(plain)
    ):
        return ""
    longer = [code for code in codes if f"_{begun}" in f"_{code}"]
    return longer[0] if len(longer) == 1 and longer[0].startswith(begun) else ""


def _find_slip(
    written: list[str],
    codes: tuple[str, ...],
    words: tuple[tuple[str, str], ...],
    known: Mapping[str, str],
) -> str:
    """The code of which the text is a slip of the pen, word by word,
    if it is nearer to that than to any other."""
    forms = [*((code, code) for code in codes), *words]
    slips = [
        (count, code)
        for form, code in forms
        if (count := _count_in_words(written, WORDS.findall(form))) is not None
    ]
    if not slips:
        return ""
    fewest, meant = min(slips)
    text = "".join(written)
    others = (form for form, code in known.items() if code != meant)
    return "" if any(count_slips(text, form, fewest) <= fewest for form in others) else meant


def _count_in_words(written: list[str], form: list[str]) -> int | None:
    """How many slips part the words of a text from those of a form; None where they are too many,
    or begin or count otherwise."""
    letters = sum(map(len, form))
    most = 2 if letters >= TWO_SLIPS_FROM else 1 if letters >= ONE_SLIP_FROM else 0
    if len(written) != len(form):
        return None
    slips = 0
    for word, meant in zip(written, form, strict=True):
        if word != meant and (
            word[0] != meant[0] or NO_DIGIT.sub("", word) != NO_DIGIT.sub("", meant)
        ):
            return None
        slips += count_slips(word, meant, most)
    return slips if slips <= most else None


@cache
def count_slips(text: str, other: str, most: int) -> int:
    """Count how many letters are wrong, missing, too many or swapped with their neighbour.

    The distance of optimal string alignment (Damerau, Communications of the ACM 1964;7:171-176).

    Parameters
    ----------
    text, other
        The two.
    most
        More than so many count as `most` + 1.

    Returns
    -------
    int
        0 for the same text.
    """
    if abs(len(text) - len(other)) > most:
        return most + 1
    before: list[int] = []
    last = list(range(len(other) + 1))
    for i, letter in enumerate(text, 1):
        row = [i]
        for j, sign in enumerate(other, 1):
            steps = [last[j] + 1, row[j - 1] + 1, last[j - 1] + (letter != sign)]
            if i > 1 and j > 1 and letter == other[j - 2] and text[i - 2] == sign:
                steps.append(before[j - 2] + 1)
            row.append(min(steps))
        before, last = last, row
    return min(last[-1], most + 1)
