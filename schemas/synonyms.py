"""Other words for the codes of the dictionary, each list with its source:
a question to the coordinator is made from them, never an answer.

A word stands here only if it means one code of its column and no other. Words of other languages
are plain translations (common practice). Single letters mean something only beside the others of
their column, so that they stand in schemes: M is male beside F, and no one's beside H.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from schemas.columns import Description

Words = Mapping[str, str]  # code: its other words, separated by |

YES_NO: Words = {  # common practice
    "yes": "ja|oui|sí|si|sì|sim",
    "no": "nein|non|nee|não|nao|nej",
    "unknown": "not known|unbekannt|inconnu|desconocido|sconosciuto|onbekend|desconhecido",
}
SIDES: Words = {  # auris dextra, sinistra and both (audiology, common practice)
    "right": (
        "rt|ad|rechts|rechte|rechter|rechtes|droit|droite|derecha|derecho|destra|destro|dx|direita|"
        "direito|höger|prawy|prawa|dexter"
    ),
    "left": (
        "lt|as|links|linke|linker|linkes|gauche|izquierda|izquierdo|sinistra|sinistro|sx|esquerda|"
        "esquerdo|vänster|lewy|lewa|sinister"
    ),
    "both": (
        "au|bilateral|bilaterally|beide|beidseits|beidseitig|les "
        "deux|ambos|ambas|entrambi|bilaterale|bilatéral|oboje"
    ),
}
CANALS: Words = {
    # anterior or superior, lateral or horizontal: Gray's Anatomy, 20th ed. 1918, and International
    # Anatomical Terminology, FIPAT 1998 (from memory); short forms: von Brevern M et al. J Vestib
    # Res 2015;25:105-117 (from memory)
    "posterior": (
        "post|pc|psc|pscc|pc-bppv|hinterer|hinteren|hintere|postérieur|posteriore|posteriores|"
        "achterste"
    ),
    "lateral": (
        "horizontal|lat|lc|hc|lsc|hsc|lscc|hscc|lc-bppv|hc-bppv|horizontaler|lateraler|seitlicher|"
        "latéral|laterale|orizzontale"
    ),
    "anterior": (
        "superior|ant|ac|asc|ssc|ascc|sscc|ac-bppv|sc-bppv|vorderer|vorderen|vordere|oberer|oberen|"
        "obere|antérieur|supérieur|anteriore|superiore|voorste"
    ),
}
# nystagmus is named by its fast phase: Eggers SDZ et al. J Vestib Res 2019;29:57-87
VERTICAL: Words = {
    "up": "upbeat|upbeating|up beat|up beating|upward|upwards|nach oben",
    "down": "downbeat|downbeating|down beat|down beating|downward|downwards|nach unten",
}
HORIZONTAL: Words = {  # ageotropic for apogeotropic: usage of the literature (common practice)
    "apogeotropic": (
        "ageotropic|apo|ageo|apogeotrop|ageotrop|apogeotropo|apogéotropique|agéotropique|"
        "apogeotrope"
    ),
    "geotropic": "geo|geotrop|geotropo|géotropique|geotrope",
}
COLUMNS: dict[str, Words] = {
    "sex": {
        "female": (
            "fem|woman|weiblich|frau|femme|féminin|mujer|femenino|donna|femmina|femminile|vrouw|"
            "vrouwelijk|mulher|feminino|kobieta|kvinna"
        ),
        "male": (
            "masc|man|männlich|mann|homme|masculin|hombre|masculino|uomo|maschio|maschile|"
            "mannelijk|homem|mężczyzna"
        ),
        "other": "divers|non-binary|nonbinary",
    },
    "cause": {
        "head_trauma": "trauma|head injury|tbi|traumatic",
        "with_meniere": "meniere|menière|ménière",
    },
    "recorded_canal": CANALS,
    "recorded_mechanism": {
        "canalolithiasis": "canalithiasis|canalolithiase|kanalolithiasis",
        "cupulolithiasis": "kupulolithiasis",
    },
    "other_diagnosis": {
        "vestibular_migraine": "vm",
        "meniere": "menière|ménière|menieres|morbus menière|menière's disease|meniere's disease",
        "unilateral_vestibulopathy": "neuritis|vestibular neuritis",
        "persistent_postural": "pppd",
    },
    "reason": {  # translations of the codes, and how appointment books say it (common practice)
        "planned": (
            "scheduled|routine|control|follow-up|geplant|planmäßig|kontrolle|prévu|planifié|"
            "contrôle|programado|previsto|planificado|programmato|controllo|gepland|controle|"
            "planejado|planeado|planowy|planowa|planerad"
        ),
        "symptoms": (
            "symptom|symptomatic|complaints|beschwerden|symptome|symptômes|síntomas|sintomi|"
            "klachten|sintomas|objawy|symtom|besvär"
        ),
        "other": "sonstiges|sonstige|andere|autre|otro|altro|anders|outro|inne|annat",
        "unknown": YES_NO["unknown"],
    },
    "test": {
        "dix_hallpike": "dix|hallpike|dh|dht",
        "supine_roll": "roll|head roll|pagnini-mcclure|mcclure|srt",
    },
    "result": {
        "negative": "neg|negativ|négatif|négative|negativo|negativa|negatief",
        "positive": "pos|positiv|positif|positivo|positiva|positief",
    },
    "vertical": VERTICAL,
    "horizontal": HORIZONTAL,
    "vertigo": {"mild": "leicht|slight", "moderate": "mittel|mäßig", "severe": "stark|schwer"},
    "setting": {"clinic": "office|praxis|klinik", "telehealth": "video|telemedicine"},
    "performed_by": {"clinician": "doctor|physician|therapist|physiotherapist|arzt"},
    "angle_source": {"measured": "gemessen", "estimated": "geschätzt"},
    "adverse": {
        "vomiting": "vomited|emesis|erbrechen",
        "faint": "syncope|fainted|fainting",
        "nausea": "übelkeit",
        "canal_switch": "canal conversion|switch",
    },
    "contact": {
        "telephone": "phone|phone call|telephone call",
        "telehealth": "video|video call",
        "clinic": "visit",
    },
    "end_of_followup": {
        "lost": "lost to follow-up|ltfu",
        "withdrew": "withdrawn|consent withdrawn",
    },
}
SCHEMES: dict[
    str, tuple[Words, ...]
] = {  # single letters: those of a column belong to one scheme; the first is English
    "yes_no": tuple({"yes": yes, "no": "n"} for yes in "yjos"),
    "sides": tuple(
        {"right": r, "left": left, "both": "b"} for r, left in ("rl", "ds", "dg", "di", "de")
    ),
    "sex": ({"female": "f", "male": "m"}, {"female": "w", "male": "m", "other": "d"}),
    "recorded_canal": (
        {"posterior": "p", "lateral": "l", "anterior": "a"},
        {"posterior": "p", "lateral": "h", "anterior": "a"},
        {"posterior": "p", "lateral": "h", "anterior": "s"},
    ),
}
HEADERS: Words = {  # other names of columns: translations and usual short forms (common practice)
    "age_years": "age|alter|âge|edad|età|leeftijd|idade|wiek",
    "sex": "gender|geschlecht|sexe|sexo|sesso|geslacht|płeć",
    "maneuver": "manoeuvre|manöver|manovra|maniobra|manobra",
    "side": "seite|côté|lado|lato|zijde|strona",
    "day": "tag|jour|día|giorno|dag|dia|dzień",
    "vertigo": "schwindel|vertige|vértigo|vertigine",
    "dhi_total": "dhi|dhi score",
    "reason": (
        "visit reason|reason for visit|reason for examination|grund|anlass|untersuchungsgrund|"
        "motif|raison|motivo|reden|powód|orsak"
    ),
    "planned_test_days": (
        "usual confirmation day|test days|control days|kontrolltage|testtage|jours de contrôle|"
        "días de control|giorni di controllo|controledagen|dias de controle"
    ),
    "planned_call_days": (
        "call days|anruftage|jours d'appel|días de llamada|giorni di chiamata|beldagen|"
        "dias de chamada"
    ),
    "result": "test result|ergebnis|befund|résultat|resultado|risultato|resultaat|wynik|resultat",
    "attack_s": "attack sec|attack seconds|attack duration",
    "minutes_since_attempt": "minutes since maneuver|minutes after maneuver",
    "cycles_planned": "planned cycles|planned repetitions|repetitions planned",
    "duration_s": "duration sec|duration seconds",
    "latency_s": "latency sec|latency seconds",
}

# Of the words above those that a page may propose as an answer: whole words that say the same as
# their code in every language that has them (plain translations, common practice). No single
# letters, no short forms, no grades, and no words of which one may ask what was meant.
CERTAIN_WORDS = (
    "ja|oui|sí|sì|sim|nein|non|nee|não|nej|not known|unbekannt|inconnu|desconocido|sconosciuto|"
    "onbekend|desconhecido|rechts|droite|derecha|derecho|destra|destro|direita|höger|prawa|links|"
    "gauche|izquierda|izquierdo|sinistra|sinistro|esquerda|vänster|lewa|beidseits|les deux|"
    "entrambi|woman|weiblich|frau|femme|féminin|mujer|femenino|donna|femmina|femminile|vrouw|"
    "vrouwelijk|mulher|feminino|kobieta|kvinna|man|männlich|mann|homme|masculin|hombre|masculino|"
    "uomo|maschio|maschile|mannelijk|homem|mężczyzna|horizontal|postérieur|posteriore|achterste|"
    "latéral|laterale|orizzontale|antérieur|anteriore|canalithiasis|canalolithiase|"
    "kanalolithiasis|kupulolithiasis|negativ|négatif|négative|negativo|negativa|negatief|positiv|"
    "positif|positivo|positiva|positief"
)
CERTAIN = frozenset(CERTAIN_WORDS.split("|"))


@dataclass(frozen=True)
class Vocabulary:
    """What a coordinator may have meant in a column: its codes, the code of each other word,
    and schemes of single letters."""

    codes: tuple[str, ...]
    words: Mapping[str, str]
    schemes: tuple[Mapping[str, str], ...] = ()


def turn_round(words: Words) -> dict[str, str]:
    """Each other word with its code."""
    return {word: code for code, given in words.items() for word in given.split("|") if word}


def make_vocabulary(column: Description) -> Vocabulary:
    """The codes of a column with their other words."""
    codes = tuple(column.codes or ())
    words, schemes = dict(COLUMNS.get(column.name, {})), SCHEMES.get(column.name, ())
    for key, known, others in (
        ("yes_no", {"yes", "no"}, YES_NO),
        ("sides", {"right", "left"}, SIDES),
    ):
        if known <= set(codes):
            words |= others
            schemes = SCHEMES[key]
    return Vocabulary(
        codes, _only(turn_round(words), codes), tuple(_only(turn_round(s), codes) for s in schemes)
    )


def make_header_vocabulary(columns: Iterable[str]) -> Vocabulary:
    """The columns of a table with their other names."""
    names = tuple(columns)
    return Vocabulary(names, _only(turn_round(HEADERS), names))


def _only(words: dict[str, str], codes: Iterable[str]) -> dict[str, str]:
    return {word: code for word, code in words.items() if code in codes}
