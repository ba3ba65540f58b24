"""What identifiers look like. Text goes in, the name of a gate rule of schemas.rules comes out, never the text.

The kinds are those of the safe-harbor method, 45 CFR 164.514(b)(2)(i). The regulation says what must go, not how it is written; the
forms are common practice. They err on the side of refusing: a coordinator can answer a false alarm, nobody can take back a name.
"""

import re
import unicodedata

from schemas.codes import TABLE
from schemas.delivery import TABLES, Submission

DATE_CELL = "(calendar date)"  # stands for a cell that the spreadsheet itself holds as a date; the date is not copied
LARGEST_NUMBER = 10_000  # no count, day, angle or duration of a delivery is as large
SERIAL_DATES = (30_000, 60_000)  # spreadsheets count days from 1900: these are the years 1982 to 2064
LONGEST_TEXT = 40
JOINING = frozenset(("to", "and", "in", "for", "the"))  # between words of the dictionary: lost to follow-up
LONGEST_SEARCHED = 200  # no cell of a table is as long, and searching longer ones for every form takes time
DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")

DAY, MONTH, YEAR = r"(?:0?[1-9]|[12]\d|3[01])", r"(?:0?[1-9]|1[0-2])", r"(?:19|20)\d\d"
MONTH_NAME = (  # English, German, French, Spanish, Italian, Portuguese, Dutch, Polish
    r"(?:jan(?:uar[yi]?|vier|eiro)?|jän(?:ner)?|ene(?:ro)?|genn(?:aio)?|feb(?:ruar[yi]?|rero|braio)?|f[eé]v(?:rier|ereiro)?|mar(?:ch|s|zo|ço)?|märz?"
    r"|maart|mrt|apr(?:ile?)?|a[bv]r(?:il)?|mayo?|maio?|mei|magg(?:io)?|jun(?:e|io?|ho)?|juin|giu(?:gno)?|jul(?:y|io?|ho)?|juil(?:let)?|lug(?:lio)?"
    r"|aug(?:ust(?:us)?)?|ao[uû]t|agosto|sep(?:t(?:i?emb(?:er|re))?)?|sett(?:embre)?|setembro|o[ck]t(?:ob(?:er|re)|ubre)?|ott(?:obre)?|outubro"
    r"|nov(?:i?embr[eo]|ember)?|d[eé][cz](?:emb(?:er|r[eo]))?|dic(?:i?embre)?"
    r"|stycz(?:eń|nia)|sty|lut(?:y|ego)?|marz?ec|marca|kwie(?:cień|tnia)|kwi|maja?|czerw(?:iec|ca)|cze|lip(?:iec|ca)?|sierp(?:ień|nia)|sie"
    r"|wrze(?:sień|śnia)|wrz|pa[zź]dziernika?|pa[zź]|listopada?|lis|grud(?:zień|nia)|gru)\.?"
)
WEEKDAY = (
    r"(?:mon|tues?|wed(?:nes)?|thur?s?|fri|satur|sun)day|mo|di|mi|do|fr|sa|so|(?:mon|diens|donners|frei|sams|sonn)tag|mittwoch"
    r"|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lunes|martes|mi[eé]rcoles|jueves|viernes|s[aá]bado|domingo"
    r"|(?:lune|marte|mercole|giove|vener)d[iì]|sabato|domenica|(?:maan|dins|woens|donder|vrij|zater|zon)dag"
    r"|(?:segunda|ter[cç]a|quarta|quinta|sexta)-feira|poniedziałek|wtorek|środa|czwartek|piątek|sobota|niedziela"
)
WEEKDAY = rf"(?:{WEEKDAY})"
BORN = r"(?:born|geb|geboren|n[eé]e?|nacid[oa]|nat[oa]|nascid[oa]|urodz\w*|ur)"
ROMAN_MONTH = r"(?:i{1,3}|iv|vi{0,3}|ix|xi{0,2})"
FULL_DATE = re.compile(
    rf"(?<!\d){YEAR}([-/.]){MONTH}\1{DAY}(?!\d)|(?<!\d){YEAR}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?!\d)"
    rf"|(?<!\d){DAY}([-/.]) ?{DAY}\2 ?{YEAR}(?!\d)|(?<!\w){DAY}([-/.]){DAY}\3\d\d(?!\w)"
    rf"|(?<!\w){DAY}-?{MONTH_NAME}-?(?:{YEAR}|\d\d)(?!\w)|(?<!\w){DAY}[-/. ]{{1,2}}{ROMAN_MONTH}[-/. ]{{1,2}}{YEAR}(?!\d)"
    rf"|(?<!\d){DAY} {MONTH} {YEAR}(?!\d)"
)
PART_OF_DATE = re.compile(
    rf"(?<![\w/]){DAY}/{DAY}(?![\w/])|(?<![\d.]){MONTH}[-/.]{YEAR}(?!\d)|(?<!\d){YEAR}[-/.](?:0[1-9]|1[0-2])(?!\d)"
    rf"|(?<!\d){DAY}(?:st|nd|rd|th|er|[ºª°.])?[ \-./]*(?:of |de )?(?<![a-z]){MONTH_NAME}(?![a-z])"
    rf"|(?<![a-z]){MONTH_NAME}[ \-./,]*(?:de )?\d|(?<!\d){YEAR}-?w\d\d(?!\d)|\d\s*[年月日]"
    rf"|(?<!\w){WEEKDAY}\.?,? {DAY}(?!\w)|(?<!\w)(?:q[1-4]|(?:kw|cw|week|woche|semaine)\.? ?\d\d?)[ /-]{YEAR}(?!\d)|(?<!\w){BORN}\W{{1,3}}{YEAR}(?!\d)"
)
EMAIL = re.compile(
    r"\S@\S|\S ?[(\[{] ?(?:at|à|arroba|chiocciola|apenstaartje|małpa) ?[)\]}] ?\S|\w at \w[\w-]* (?:dot|punkt|point|punto) \w"
)
WEB = re.compile(
    r"[a-z]+://|(?<!\w)www\.|(?<![\w.-])(?=[\w-]*[a-z])[\w-]+(?:\.[\w-]+)*\.(?:com|org|net|edu|gov|int|info|health|io|eu|uk|ie|us|ca|au|nz|de|at|ch|"
    r"fr|be|nl|es|pt|it|se|no|dk|fi|pl|cz|gr|tr|jp|cn|kr|in|br|mx|ar|za)(?![\w-])"
)
IP = re.compile(
    r"(?<![\d.])(?:(?:25[0-5]|2[0-4]\d|1?\d?\d)\.){3}(?:25[0-5]|2[0-4]\d|1?\d?\d)(?![\d.])|(?<![\w:])(?:[0-9a-f]{1,4}:){3,7}[0-9a-f]{0,4}|[0-9a-f]::[0-9a-f]"
)
POSTCODE = re.compile(  # United Kingdom; Canada; Sweden and others (110 00); Netherlands; a country's letters before 4 or 5 digits; 5 digits alone, also with 4 more; Portugal;
    # Poland (with a zero in front, since 10-200 is a range as well, or a place behind); 4 digits before a place that is no unit
    r"(?<!\w)[a-z]{1,2}\d[a-z\d]? ?\d[a-z]{2}(?!\w)|(?<!\w)[a-z]\d[a-z][ -]?\d[a-z]\d(?!\w)|(?<!\w)[1-9]\d{3} ?(?!ms|mm|cm|mg|ml|hz)[a-z]{2}(?!\w)"
    r"|(?<!\w)(?:at|be|ch|cz|d|de|dk|es|fi|fr|hu|it|lu|nl|pl|se|sk)-\d{4,5}(?!\w)|(?<!\w)\d{5}(?:-\d{4})?(?!\w)|(?<!\w)[abefilp]-\d{4,5}(?!\w)|(?<!\w)[1-9]\d\d \d\d(?!\w)"
    r"|(?<!\w)[1-9]\d{3}-\d{3}(?!\w)|(?<!\w)0\d-\d{3}(?!\w)|(?<!\w)\d\d-0\d\d(?!\w)|(?<!\w)\d\d-\d{3} (?!sec|min|day|tag|jour|giorn|d[ií]a)[^\W\d_]{4}"
    r"|(?<!\w)[1-9]\d{3} (?!sec|sek|min|day|tag|jour|giorn|d[ií]a|and|und|bis)[^\W\d_]{3}"
)
PERSONAL_CODE = re.compile(  # the Italian tax code, the British national insurance number
    r"(?<!\w)[a-z]{6}\d\d[a-ehlmprst]\d\d[a-z]\d{3}[a-z](?!\w)|(?<!\w)[a-z]{2} ?\d\d ?\d\d ?\d\d ?[a-d](?!\w)"
)
STREET = re.compile(
    r"[^\W\d_]{3}(?:str(?:\.|asse|aße)|weg|gasse|platz|straat|laan) ?\d|(?<!\w)(?:rue|calle|via|rua|ulica|ul\.) [^\W\d_]{2}"
)
TITLED = re.compile(  # a form of address before a word (common practice)
    r"(?<!\w)(?:mrs?|ms|miss|mx|dr|prof|professor|herrn?|frau|fräulein|madame|mme|mlle|monsieur|señora?|sra|srta|doña|don|sig|sig\.ra|signora?|dott"
    r"|dhr|mevr|mevrouw|meneer|senhora?|dona|pani?|patient|patientin|paciente|paziente|pacjent|name|nom|nombre|nome|naam|imię)\b[\s.:]+(?P<named>[^\W\d_]{2,})"
)
SOCIAL_SECURITY = re.compile(r"(?<!\d)\d{3}-\d{2}-\d{4}(?!\d)")
TELEPHONE = re.compile(r"(?<![\w.])(?:\+\d{7,15}|\+?\(?\d{1,5}\)?(?:[ .\-/()]{1,3}\d{2,8}){1,6})(?!\w)")
NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
WORD = re.compile(r"[^\s,;:/|.()\"'!?+#*&<>=]+")
NAME_PART = re.compile(r"[a-zà-ÿ]+|[^\W\d_]+")


def split_names(names) -> frozenset[str]:
    """The single words that codes and column names are made of."""
    return frozenset(part for name in names for part in name.lower().split("_"))


DICTIONARY_WORDS = split_names(
    [
        *TABLE,
        *(
            word
            for model in (Submission, *TABLES.values())
            for n, d in model.describe().items()
            for word in (n, *(d.codes or ()))
        ),
    ]
)


def normalise(text: str) -> str:
    """A text in the one form in which it is compared: compatibility characters resolved, plain digits and dashes, small letters."""
    if text.isascii():
        return text.lower()
    resolved = unicodedata.normalize("NFKC", text).translate(DASHES).lower()
    return "".join(str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in resolved)


def find_identifier(text: str, words: frozenset[str], *, unknown_column: bool = False) -> str | None:
    """The kind of identifier that a text of any place holds; `words` are those that no one is identified by."""
    if text == DATE_CELL:
        return "calendar_date"
    if len(text) > LONGEST_SEARCHED:
        return "free_text"
    plain = normalise(text)
    if NUMBER.fullmatch(plain):
        return find_in_number(plain)
    return find_pattern(plain) or ("free_text" if is_free_text(plain, words, unknown_column) else None)


def find_in_pseudonym(text: str, words: frozenset[str]) -> str | None:
    """The same for a column of pseudonyms: made of letters, digits and hyphens, they look like some of the other forms by chance."""
    plain = normalise(text[: LONGEST_SEARCHED + 1])
    unknown = [part for part in NAME_PART.findall(plain) if len(part) > 2 and part not in words]
    if unknown and not re.search(r"\d", plain):
        return find_identifier(text, words) or "free_text"  # a pseudonym without a digit may well be a name
    if not re.fullmatch(r"[a-z0-9-]+", plain):
        return find_identifier(text, words)
    if FULL_DATE.search(plain):
        return "calendar_date"
    if (
        SOCIAL_SECURITY.search(plain)
        or re.search(r"\d{7}", plain)
        or re.fullmatch(r"[a-z]{6}\d\d[a-z]\d\d[a-z]\d{3}[a-z]", plain)
    ):
        return "long_number"
    only_digits = not re.search("[a-z]", plain)
    return "telephone_number" if only_digits and has_telephone(plain) else None


def find_in_age(text: str, words: frozenset[str], *, unknown_column: bool = False) -> str | None:
    """The same for a column of ages, in which no number above 89 may stand but 90+."""
    if len(text) > LONGEST_SEARCHED:
        return "free_text"
    if text != DATE_CELL and text != "90+" and any(int(digits) > 89 for digits in re.findall(r"\d+", normalise(text))):
        return find_pattern(normalise(text)) or "age_above_89"
    return find_identifier(text, words, unknown_column=unknown_column)


def find_in_number(plain: str) -> str | None:
    """The kind of identifier that a plain number is, if it is one: a date counted in days, or more digits than any measurement."""
    if re.fullmatch(r"0\d{4}", plain):
        return "postcode"  # a leading zero that a measurement would not have
    if plain[0] == "+" and len(plain) > 7:
        return "telephone_number"
    size = abs(float(plain.replace(",", ".")))
    if size < LARGEST_NUMBER:
        return "long_number" if re.match(r"[+-]?0\d{5}", plain) else None
    return (
        "calendar_date" if SERIAL_DATES[0] <= size <= SERIAL_DATES[1] or FULL_DATE.fullmatch(plain) else "long_number"
    )


def find_pattern(plain: str) -> str | None:
    """The kind of identifier whose usual form a normalised text shows."""
    for kind, pattern in (
        ("email_address", EMAIL),
        ("ip_address", IP),
        ("web_address", WEB),
        ("calendar_date", FULL_DATE),
        ("calendar_date", PART_OF_DATE),
        ("long_number", SOCIAL_SECURITY),
        ("long_number", PERSONAL_CODE),
        ("postcode", POSTCODE),
    ):
        if pattern.search(plain):
            return kind
    if has_telephone(plain):
        return "telephone_number"
    return "long_number" if re.search(r"\d{6}", plain) else None


def has_telephone(plain: str) -> bool:
    """Whether groups of digits, seven or more together, stand in a normalised text."""
    return any(len(re.findall(r"\d", match[0])) >= 7 for match in TELEPHONE.finditer(plain))


def is_free_text(plain: str, words: frozenset[str], unknown_column: bool) -> bool:
    """Whether a normalised text says more than a code does, also a code that is written with blanks or with a slip."""
    said = [word for word in WORD.findall(plain) if any(letter.isalpha() for letter in word)]
    if max(map(len, said), default=0) < 2:  # n/a says nothing
        return False
    if len(plain) > LONGEST_TEXT:
        return True
    titled = TITLED.search(plain)
    if (titled and titled["named"] not in words) or STREET.search(plain):
        return True
    known = [not (words | JOINING).isdisjoint(NAME_PART.findall(word)) for word in said]
    if unknown_column:
        return len(said) > 1 or (len(said) == 1 and " " in plain)
    return (len(said) == 2 and not any(known)) or (len(said) > 2 and not all(known))
