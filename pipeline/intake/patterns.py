"""What identifiers look like. Text goes in, the name of a gate rule of schemas.rules comes out, never the text.

The kinds are those of the safe-harbor method, 45 CFR 164.514(b)(2)(i). The regulation says what must go, not how it is written; the
forms are common practice. Only forms that nothing else in a delivery has are identifiers beyond doubt: they refuse a delivery. What only may
be one, as 3/10 or two words, is no reason to refuse: it is no code and no number, so that its row is set aside, and it is kept nowhere.
"""

import re
import unicodedata

from schemas.codes import TABLE
from schemas.delivery import TABLES, Submission

DATE_CELL = "(calendar date)"  # stands for a cell that the spreadsheet itself holds as a date; the date is not copied
SERIAL_DATES = (30_000, 60_000)  # spreadsheets count days from 1900: these are the years 1982 to 2064
MANY_DIGITS = 5  # more than a day, a year or a measurement has
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
    rf"(?<![\d.]){MONTH}[-/.]{YEAR}(?!\d)|(?<!\d){YEAR}[-/.](?:0[1-9]|1[0-2])(?!\d)"
    rf"|(?<!\d){DAY}(?:st|nd|rd|th|er|[ºª°.])?[ \-./]*(?:of |de )?(?<![a-z]){MONTH_NAME}(?![a-z])"
    rf"|(?<![a-z]){MONTH_NAME}[ \-./,]*(?:de )?\d|(?<!\d){YEAR}-?w\d\d(?!\d)|\d\s*[年月日]"
    rf"|(?<!\w)(?:q[1-4]|(?:kw|cw|week|woche|semaine)\.? ?\d\d?)[ /-]{YEAR}(?!\d)|(?<!\w){BORN}\W{{1,3}}{YEAR}(?!\d)"
)
MAYBE_DATE = re.compile(  # also three of ten, do 2
    rf"(?<![\w/]){DAY}/{DAY}(?![\w/])|(?<!\w){WEEKDAY}\.?,? {DAY}(?!\w)"
)
EMAIL = re.compile(
    r"\S@\S|\S ?[(\[{] ?(?:at|à|arroba|chiocciola|apenstaartje|małpa) ?[)\]}] ?\S|\w at \w[\w-]* (?:dot|punkt|point|punto) \w"
)
WEB = re.compile(
    r"[a-z]+://|(?<!\w)www\.|(?<![\w.-])(?=[\w-]*[a-z])(?P<host>[\w-]{3,}(?:\.[\w-]+)*)\.(?:com|org|net|edu|gov|int|info|health|io|eu|uk|ie|us|ca|au|nz|de|at"
    r"|ch|fr|be|nl|es|pt|it|se|no|dk|fi|pl|cz|gr|tr|jp|cn|kr|in|br|mx|ar|za|example)(?![\w-])"
)
IP = re.compile(
    r"(?<![\d.])(?:(?:25[0-5]|2[0-4]\d|1?\d?\d)\.){3}(?:25[0-5]|2[0-4]\d|1?\d?\d)(?![\d.])|(?<![\w:])(?:[0-9a-f]{1,4}:){3,7}[0-9a-f]{0,4}|[0-9a-f]::[0-9a-f]"
)
POSTCODE = re.compile(  # United Kingdom; Canada; a country's letters before 4 or 5 digits; 5 digits, also with 4 more, before a place
    r"(?<!\w)[a-z]{1,2}\d[a-z\d]? ?\d[a-z]{2}(?!\w)|(?<!\w)[a-z]\d[a-z][ -]?\d[a-z]\d(?!\w)"
    r"|(?<!\w)(?:at|be|ch|cz|d|de|dk|es|fi|fr|hu|it|lu|nl|pl|se|sk|[abefilp])-\d{4,5}(?!\w)|(?<!\w)\d{5}(?:-\d{4})? [^\W\d_]{3}"
)
MAYBE_POSTCODE = re.compile(  # Sweden and others (110 00); Netherlands; 5 digits alone; Portugal; Poland; 4 digits before a place
    r"(?<!\w)[1-9]\d{3} ?(?!ms|mm|cm|mg|ml|hz)[a-z]{2}(?!\w)|(?<!\w)\d{5}(?:-\d{4})?(?!\w)|(?<!\w)[1-9]\d\d \d\d(?!\w)|(?<!\w)[1-9]\d{3}-\d{3}(?!\w)"
    r"|(?<!\w)\d\d-\d{3}(?!\w)|(?<!\w)[1-9]\d{3} [^\W\d_]{3}"
)
PERSONAL_CODE = re.compile(  # the Italian tax code, the British national insurance number
    r"(?<!\w)[a-z]{6}\d\d[a-ehlmprst]\d\d[a-z]\d{3}[a-z](?!\w)|(?<!\w)[a-z]{2} ?\d\d ?\d\d ?\d\d ?[a-d](?!\w)"
)
STREET = re.compile(
    r"[^\W\d_]{3}(?:str(?:\.|asse|aße)|weg|gasse|platz|straat|laan) ?\d|(?<!\w)(?:rue|calle|via|rua|ulica|ul\.) [^\W\d_]{2}"
)
TITLED = re.compile(  # a form of address before a word that begins with a capital, or what is said to be a name (common practice)
    r"(?<![\w\d])(?<!\d )(?i:mrs?|ms|mx|dr|prof|herrn?|frau|fräulein|madame|mme|mlle|monsieur|señora?|sra|srta|doña|sig|sig\.ra|signora?|dott"
    r"|dhr|mevr|mevrouw|meneer|senhora?|dona|pani?)(?:\. ?| )(?:(?i:med|rer|nat|jur|phil|dr)\. ?)*[^\W\d_a-zà-öø-ÿ][^\W\d_]+"
    r"|(?<!\w)(?i:(?:sur|last|first|patient ?)?name|nom|nombre|nome|naam|imię|patient(?:in)?|paciente|paziente|pacjent) ?: ?[^\W\d_]{2}"
)
NUMBERED = re.compile(  # a number that is said to be that of a person or record
    r"(?<!\w)(?:mrn|nhs|ssn|pid|pesel|bsn|id|case|fall|akte|pat|patient|record|chart|acct|account)[ .:#-]{0,3}"
    r"(?:(?:no|nr|number|nummer|id)[ .:#-]{0,3})?\d{4}"
)
SOCIAL_SECURITY = re.compile(r"(?<!\d)\d{3}-\d{2}-\d{4}(?!\d)")
TELEPHONE = re.compile(r"(?<![\w.])(?:\+\d{7,15}|\+?\(?\d{1,5}\)?(?:[ .\-/()]{1,3}\d{2,8}){1,6})(?!\w)")
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
RANGE = re.compile(r"[1-9]\d{0,3} ?[-/] ?[1-9]\d{0,3}")
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


def find_form(text: str) -> str | None:
    """The kind of identifier whose form a text has beyond doubt, at whatever place it stands."""
    plain = normalise(text)
    for kind, pattern in (
        ("email_address", EMAIL),
        ("ip_address", IP),
        ("calendar_date", FULL_DATE),
        ("calendar_date", PART_OF_DATE),
        ("long_number", SOCIAL_SECURITY),
        ("long_number", PERSONAL_CODE),
        ("long_number", NUMBERED),
        ("postcode", POSTCODE),
        ("free_text", STREET),
    ):
        if pattern.search(plain):
            return kind
    if has_web_address(plain):
        return "web_address"
    if has_telephone(plain):
        return "telephone_number"
    if re.search(r"\d{7}", plain):
        return "long_number"
    return "free_text" if TITLED.search(unicodedata.normalize("NFKC", text)) else None


def may_be_form(text: str) -> bool:
    """Whether a text may be a part of a date, a postcode or a record number, though other things are written so as well."""
    plain = normalise(text)
    digits = len(re.findall(r"\d", plain))
    return digits >= MANY_DIGITS or bool(MAYBE_DATE.search(plain) or MAYBE_POSTCODE.search(plain) or find_form(text))


def has_web_address(plain: str) -> bool:
    """Whether an address of the web stands in a normalised text; words of the dictionary with a full stop between them are none."""
    hosts = (match["host"] for match in WEB.finditer(plain))
    return any(host is None or not DICTIONARY_WORDS.issuperset(NAME_PART.findall(host)) for host in hosts)


def has_telephone(plain: str) -> bool:
    """Whether groups of digits, seven or more together, stand in a normalised text as nobody writes ranges, years or a list of small numbers."""
    return any(is_telephone(match[0]) for match in TELEPHONE.finditer(plain))


def is_telephone(written: str) -> bool:
    """Whether groups of digits are a telephone number: one of them is long, or begins with 0 as no number that is counted does."""
    groups = re.findall(r"\d+", written)
    if sum(map(len, groups)) < 7 or RANGE.fullmatch(written) or all(re.fullmatch(YEAR, group) for group in groups):
        return False
    marked = written[0] in "+(" or any(group[0] == "0" and len(group) > 1 for group in groups)
    return marked or max(map(len, groups)) > 3
