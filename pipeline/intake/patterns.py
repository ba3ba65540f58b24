"""What identifiers look like.

Text goes in, the name of a gate rule of schemas.rules comes out, never the text.

The kinds are those of the safe-harbor method, 45 CFR 164.514(b)(2)(i). The regulation says what
must go, not how it is written; the forms are common practice. Only forms that nothing else in a
delivery has are identifiers beyond doubt: they refuse a delivery. What only may be one, as 3/10 or
two words, is no reason to refuse: it is no code and no number, so that its row is set aside, and it
is kept nowhere.
"""

import re
import unicodedata
from collections.abc import Iterable

from pipeline.intake.date_words import AGE_SAID, AGE_UNIT, AGED, FURTHER_MONTH, MONTH_NAME, WEEKDAY
from pipeline.intake.record_words import COUNTED_AS, LABELS, OTHER_LABELS
from schemas.codes import TABLE
from schemas.delivery import ALL_TABLES

# stands for a cell that the spreadsheet itself holds as a date; the date is not copied
DATE_CELL = "(calendar date)"
# spreadsheets count days from 1900: these are the years 1982 to 2064
SERIAL_DATES = (30_000, 60_000)
MANY_DIGITS = 5  # more than a day, a year or a measurement has
# no cell of a table is as long, and searching longer ones for every form takes time
LONGEST_SEARCHED = 200
DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")

DAY, MONTH, YEAR = r"(?:0?[1-9]|[12]\d|3[01])", r"(?:0?[1-9]|1[0-2])", r"(?:19|20)\d\d"
BORN = r"(?:born|geb|geboren|n[eé]e?|nacid[oa]|nat[oa]|nascid[oa]|urodz\w*|ur)"
ROMAN_MONTH = r"(?:i{1,3}|iv|vi{0,3}|ix|xi{0,2})"
FULL_DATE = re.compile(
    rf"(?<!\d){YEAR}([-/.]) ?{MONTH}\1 ?{DAY}(?!\d)"
    rf"|(?<!\d){YEAR}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?!\d)"
    rf"|(?<!\d){DAY}([-/.]) ?{DAY}\2 ?{YEAR}(?!\d)|(?<!\w){DAY}([-/.]){DAY}\3\d\d(?!\w)"
    rf"|(?<!\w){DAY}-?{MONTH_NAME}-?(?:{YEAR}|\d\d)(?!\w)"
    rf"|(?<!\w){DAY}[-/. ]{{1,2}}{ROMAN_MONTH}[-/. ]{{1,2}}{YEAR}(?!\d)"
    # Iran, Thailand
    rf"|(?<!\d){DAY} {MONTH} {YEAR}(?!\d)|(?<!\d)1[34]\d\d/{MONTH}/{DAY}(?!\d)|"
    rf"(?<!\d){DAY}/{MONTH}/25[5-9]\d(?!\d)"
)
ANY_YEAR = r"(?:(?:19|20)\d\d|25[5-9]\d|1[34]\d\d)"
MONTH_AND_YEAR = re.compile(
    rf"(?<!\d){ANY_YEAR}\D{{0,10}}?(?:{DAY}\D{{1,4}})?(?<!\w){FURTHER_MONTH}(?!\w)"
    rf"|(?<!\w){FURTHER_MONTH}(?!\w)\D{{0,4}}(?:{DAY}\D{{1,5}})?{ANY_YEAR}(?!\d)|"
    r"(?<!\d)\d{4} ?년|\d ?월 ?\d"
    r"|[〇零一二三四五六七八九]{4}年|[一二三四五六七八九十]月[一二三四五六七八九十]{1,3}日"
)
PART_OF_DATE = re.compile(
    rf"(?<![\d.]){MONTH}[-/.]{YEAR}(?!\d)|(?<!\d){YEAR}[-/.](?:0[1-9]|1[0-2])(?!\d)"
    rf"|(?<!\d){DAY}(?:st|nd|rd|th|er|[ºª°.])?[ \-./]*(?:of |de )?(?<![a-z]){MONTH_NAME}(?![a-z])"
    rf"|(?<![a-z]){MONTH_NAME}[ \-./,]*(?:de )?\d|(?<!\d){YEAR}-?w\d\d(?:-?[1-7])?(?!\d)|"
    r"\d\s*[年月日]"
    rf"|(?<!\w)(?:q[1-4]|(?:kw|cw|week|woche|semaine)\.? ?\d\d?)[ /-]{YEAR}(?!\d)"
    rf"|(?<!\w){BORN}\W{{1,3}}{YEAR}(?!\d)"
)
MAYBE_DATE = re.compile(  # also three of ten, do 2, 5 episodes 2024
    rf"(?<![\w/]){DAY}/{DAY}(?![\w/])|(?<![\w.]){DAY}\.{MONTH}\.(?!\d)|(?<!\w){WEEKDAY}\.?,? "
    rf"{DAY}(?!\w)"
    rf"|(?<!\w){DAY}\.? ?{FURTHER_MONTH}(?!\w)"
    rf"|(?<!\w){DAY}\.? [^\W\d_]{{3,}}\.?,? {YEAR}(?!\w)"
)
# in years, or in years and months as 101a 3m; no range and no limit, as 90 years and older
AGE_ABOVE_89 = re.compile(
    r"(?<![\w.,<>≤≥-])(?<!to )(?<!bis )(?<!than )(?<!over )(?:9\d|1[01]\d)"
    rf"(?: ?{AGE_UNIT}(?!\w)(?! (?:and|und|et|y|e|or|oder|ou|o) )|-?{AGED}|[ -]?{AGE_UNIT}[- ]old|"
    r"a ?\d\d? ?m(?!\w))"
    rf"|(?<![a-z]){AGE_SAID}[ :=]{{1,3}}(?:9\d|1[01]\d)(?![\d+])"
)
EMAIL = re.compile(
    r"\S@\S|\S ?[(\[{] ?(?:at|à|arroba|chiocciola|apenstaartje|małpa) ?[)\]}] ?\S"
    r"|\w at \w[\w-]* (?:dot|punkt|point|punto) \w"
)
WEB = re.compile(
    r"[a-z]+://|(?<!\w)www\."
    r"|(?<![\w.-])(?=[\w-]*[a-z])(?P<host>[\w-]{3,}(?:\.[\w-]+)*)\.(?:com|org|net|edu|gov|int|info|health|io|eu|uk|ie|us|ca|au|nz|de|at"
    r"|ch|fr|be|nl|es|pt|it|se|no|dk|fi|pl|cz|gr|tr|jp|cn|kr|in|br|mx|ar|za|example)(?![\w-])"
)
IP = re.compile(
    r"(?<![\d.])(?:(?:25[0-5]|2[0-4]\d|1?\d?\d)\.){3}(?:25[0-5]|2[0-4]\d|1?\d?\d)(?![\d.])"
    r"|(?<![\w:])(?:[0-9a-f]{1,4}:){3,7}[0-9a-f]{0,4}|[0-9a-f]::[0-9a-f]"
)
# United Kingdom; Canada; a country's letters before 4 or 5 digits; 5 digits, also with 4 more,
# before a place
POSTCODE = re.compile(
    r"(?<!\w)[a-z]{1,2}\d[a-z\d]? ?\d[a-z]{2}(?!\w)|(?<!\w)[a-z]\d[a-z][ -]?\d[a-z]\d(?!\w)"
    r"|(?<!\w)(?:at|be|ch|cz|d|de|dk|es|fi|fr|hu|it|lu|lv|lt|nl|pl|se|sk|[abefilp])-\d{4,5}(?!\w)"
    r"|(?<!\w)(?:az|bg|by|cy|ee|fl|gr|hr|il|kz|li|md|mk|ro|rs|si|tr|ua)-[1-9]\d{3,5}(?!\w)|"
    r"(?<!\w)(?:gr|s|se|sk|cz)-\d{3} \d\d(?!\w)"
    r"|(?<!\w)\d{5}(?:-\d{4})? [^\W\d_]{3}"
    r"|〒 ?\d{3}"
    r"|(?<![^\W\d_])(?:postnr|post(?:nummer|inumero|ikood)|plz|postleitzahl|psč|irsz|cep|zip|"
    r"zip ?code"
    r"|post ?code|postal code|eircode|code postal|c[oó]digo postal|codi postal"
    r"|cod po[sș]tal|codice postale|kod pocztowy|po[sš]tn[ai] (?:[sš]tevilka|broj)|po[sš]tanski "
    r"broj|pasta indekss|pašto kodas|posta kodu"
    r"|poskod|kode pos|pin ?code|τ\. ?κ\.?|почтовый индекс|поштовий індекс|邮编|邮政编码|郵遞區號|"
    r"郵便番号"
    r"|우편번호|รหัสไปรษณีย์|الرمز البريدي|کد پستی|पिन कोड)[ .:#-]{0,3}(?:[a-z]{1,2}-?)?\d{3}"
    r"|(?<!\w)az ?\d{4}(?!\w)|(?<!\w)[a-z]\d{4}[a-z]{3}(?!\w)|(?<!\w)eircode \w{3} ?\w{4}(?!\w)"
)
STATES = (
    "AL|AK|AZ|AR|CA|CO|CT|DE|FL|GA|IL|IA|KS|KY|LA|MD|MA|MI|MN|MO|MT|NE|NV|NH|NJ|NM|NY|NC|ND|OH|PA|"
    "RI|SC|SD|TN|TX|UT|VT|VA|WA|WV|WI|WY|DC|PR"
)
ZIP = re.compile(
    rf"(?<!\w)(?:{STATES}) \d{{5}}(?!\w)|(?<!\w)[A-Z]{{2}} \d{{5}}-\d{{4}}(?!\w)"
)  # not ID, IN, ME, OK, OR: words as well
MAYBE_POSTCODE = (
    # Sweden and others (110 00); Netherlands; 5 digits alone; Portugal; Poland; 4 digits before a
    # place
    re.compile(
        r"(?<!\w)[1-9]\d{3} ?(?!ms|mm|cm|mg|ml|hz)[a-z]{2}(?!\w)|(?<!\w)\d{5}(?:-\d{4})?(?!\w)"
        r"|(?<!\w)[1-9]\d\d \d\d(?!\w)|(?<!\w)[1-9]\d{3}-\d{3}(?!\w)"
        r"|(?<!\w)(?:no|is|me|[nshv])-\d{4,5}(?!\w)|(?<!\w)ad\d{3}(?!\w)|(?<!\w)[a-z]{3} "
        r"\d{4}(?!\w)"
        r"|(?<!\w)[ac-fhknprtv-y]\d[\dw] ?[\dac-fhknprtv-y]{4}(?!\w)|(?<!\w)\d\d-\d{3}(?!\w)"
        r"|(?<!\w)[1-9]\d{3} [^\W\d_]{3}"
    )
)
TWO_DIGIT_DAY, TWO_DIGIT_MONTH = r"(?:0[1-9]|[12]\d|3[01])", r"(?:0[1-9]|1[0-2])"
# Italian tax code, British national insurance; a date of birth with 3 to 5 signs, as in northern
# Europe; Czech, Chilean, Hong Kong
PERSONAL_CODE = re.compile(
    r"(?<!\w)[a-z]{6}\d\d[a-ehlmprst]\d\d[a-z]\d{3}[a-z](?!\w)|"
    r"(?<!\w)[a-z]{2} ?\d\d ?\d\d ?\d\d ?[a-d](?!\w)"
    rf"|(?<!\w)(?:{TWO_DIGIT_DAY}{TWO_DIGIT_MONTH}\d\d|"
    rf"\d\d{TWO_DIGIT_MONTH}{TWO_DIGIT_DAY})(?:[-+]\d{{3}}[\da-z]\d?|[a-f]\d{{3}}[\da-z])(?!\w)"
    r"|(?<!\w)\d\d[0-35-8]\d[0-3]\d/\d{3,4}(?!\w)|(?<!\w)\d\d?\.\d{3}\.\d{3}-[\dk](?!\w)"
    r"|(?<!\w)[a-z]{1,2}\d{6}\([\da]\)"
)
STREET = re.compile(
    r"[^\W\d_]{3}(?:str(?:\.|asse|aße)|weg|gasse|platz|straat|laan) ?\d"
    r"|(?<!\w)(?:rue|calle|via|rua|ulica|ul\.) [^\W\d_]{2}"
)
# a form of address before a word that begins with a capital, or what is said to be a name (common
# practice)
TITLED = re.compile(
    r"(?<![\w\d])(?<!\d )(?i:mrs?|ms|mx|dr|prof|herrn?|frau|fräulein|madame|mme|mlle|monsieur|"
    r"señora?|sra|srta|doña|sig|sig\.ra|signora?|dott"
    r"|dhr|mevr|mevrouw|meneer|senhora?|dona|pani?)(?:\. ?"
    r"| )(?:(?i:med|rer|nat|jur|phil|dr)\. ?)*[^\W\d_a-zà-öø-ÿ][^\W\d_]+"
    r"|(?<!\w)(?i:(?:sur|last|first|patient ?)?name|nom|nombre|nome|naam|imię|patient(?:in)?|"
    r"paciente|paziente|pacjent) ?: ?[^\W\d_]{2}"
)
NUMBERED = re.compile(  # a number that is said to be that of a person or record
    r"(?<!\w)(?:mrn|nhs|ssn|pid|pesel|bsn|id|case|fall|akte|pat|patient|record|chart|acct|"
    r"account)[ .:#-]{0,3}"
    r"(?:(?:no|nr|number|nummer|id)[ .:#-]{0,3})?\d{4}"
    rf"|(?<![^\W\d_])(?:{LABELS})[ .:#№°º/-]{{0,3}}(?:(?:{COUNTED_AS})[ .:#°º-]{{0,3}})?(?!(?:19|"
    r"20)\d\d(?!\d))\d{4}"
    r"|"
    rf"(?<![^\W\d_])(?:{OTHER_LABELS})[ .:#№°º/-]{{0,3}}(?:(?:{COUNTED_AS})[ .:#°º-]{{0,"
    r"3})?\d(?:[-/]?\d){5}"
)
SOCIAL_SECURITY = re.compile(r"(?<!\d)\d{3}-\d{2}-\d{4}(?!\d)")
# a number that is said to be that of a telephone; one with its area in brackets, or in the groups
# of Eastern Europe
NAMED_TELEPHONE = re.compile(
    r"(?<![^\W\d_])(?:tel|tél|tlf|tlfn|telef|[a-z]?phone|ph|mob|mobile|mobil|móvil|cel|gsm|fax|handy|puh|kom|simu|τηλ|κιν|тел|моб|факс|טל|נייד|هاتف|تلفن|فون|فاكس|फोन|โทร|電話|电话|手机|携帯|전화)"
    r"[^\W\d_]{0,8}[ .:#]{0,3}(?:n[ro°º]\.? ?)?[+(]?\d(?:[ ().\-/]{0,2}\d){6,14}(?!\d)"
    r"|(?<![\w.-])(?:\d{1,2} ?)?\(\d{2,5}\) ?\d(?:[ -]?\d){4,8}(?![\w-])"
    r"|(?<![\w.-])[78][ -]?\(?\d{3}\)?[ -]?\d{3}-\d\d-\d\d(?![\w-])"
)
TELEPHONE = re.compile(
    r"(?<![\w.])(?:\+\d{7,15}|\+?\(?\d{1,5}\)?(?:[ .\-/()]{1,3}\d{2,8}){1,6})(?!\w)"
)
NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)
RANGE = re.compile(r"[1-9]\d{0,3} ?[-/] ?[1-9]\d{0,3}")
NAME_PART = re.compile(r"[a-zà-ÿ]+|[^\W\d_]+")


def split_names(names: Iterable[str]) -> frozenset[str]:
    """The single words that codes and column names are made of."""
    return frozenset(part for name in names for part in name.lower().split("_"))


DICTIONARY_WORDS = split_names(
    [
        *TABLE,
        *(
            word
            for model in ALL_TABLES
            for n, d in model.describe().items()
            for word in (n, *(d.codes or ()))
        ),
    ]
)


def normalise(text: str) -> str:
    """A text in the one form in which it is compared: compatibility characters resolved,
    plain digits and dashes, small letters."""
    if text.isascii():
        return text.lower()
    resolved = unicodedata.normalize("NFKC", text).translate(DASHES).lower()
    return "".join(
        str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in resolved
    )


def find_form(text: str) -> str | None:
    """The kind of identifier whose form a text has beyond doubt, at whatever place it stands."""
    plain = normalise(text)
    for kind, pattern in (
        ("email_address", EMAIL),
        ("ip_address", IP),
        ("calendar_date", FULL_DATE),
        ("calendar_date", PART_OF_DATE),
        ("calendar_date", MONTH_AND_YEAR),
        ("age_above_89", AGE_ABOVE_89),
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
    if ZIP.search(unicodedata.normalize("NFKC", text)):
        return "postcode"
    if has_telephone(plain):
        return "telephone_number"
    if re.search(r"\d{7}", plain):
        return "long_number"
    return "free_text" if TITLED.search(unicodedata.normalize("NFKC", text)) else None


def may_be_form(text: str) -> bool:
    """Whether a text may be a part of a date, a postcode or a record number,
    though other things are written so as well."""
    plain = normalise(text)
    digits = len(re.findall(r"\d", plain))
    return digits >= MANY_DIGITS or bool(
        MAYBE_DATE.search(plain) or MAYBE_POSTCODE.search(plain) or find_form(text)
    )


def has_web_address(plain: str) -> bool:
    """Whether an address of the web stands in a normalised text;
    words of the dictionary with a full stop between them are none."""
    hosts = (match["host"] for match in WEB.finditer(plain))
    return any(
        host is None or not DICTIONARY_WORDS.issuperset(NAME_PART.findall(host)) for host in hosts
    )


def has_telephone(plain: str) -> bool:
    """Whether groups of digits, seven or more together, stand in a normalised text as nobody writes
    ranges, years or a list of small numbers."""
    return bool(NAMED_TELEPHONE.search(plain)) or any(
        is_telephone(match[0]) for match in TELEPHONE.finditer(plain)
    )


def is_telephone(written: str) -> bool:
    """Whether groups of digits are a telephone number: one of them is long,
    or begins with 0 as no number that is counted does."""
    groups = re.findall(r"\d+", written)
    if (
        sum(map(len, groups)) < 7
        or RANGE.fullmatch(written)
        or all(re.fullmatch(YEAR, group) for group in groups)
    ):
        return False
    marked = written[0] in "+(" or any(group[0] == "0" and len(group) > 1 for group in groups)
    round_numbers = all(int(group) % 10 == 0 for group in groups)  # as frequencies in Hz
    return marked or (max(map(len, groups)) > 3 and not round_numbers)
