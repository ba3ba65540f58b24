"""What a text may stand for: never the opposite of what it says,
and only where nothing else is as likely.

The words of other languages and their meanings are plain translations, written down for these tests
alone (common practice). The names of canals and directions: Gray's Anatomy, 20th ed. 1918 (anterior
or superior); von Brevern M et al. J Vestib Res 2015;25:105-117.
"""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.meant import find_header, find_meanings
from schemas.columns import Description
from schemas.delivery import TABLES
from schemas.maneuver import make_maneuver_vocabulary
from schemas.synonyms import Vocabulary, make_header_vocabulary, make_vocabulary

CODED = [
    (table, name, column)
    for table, model in TABLES.items()
    for name, column in model.describe().items()
    if column.codes
]
LISTS: dict[tuple[str, ...], Description] = {tuple(column.codes): column for *_, column in CODED}
DENYING = (
    "not {}",
    "no {}",
    "non {}",
    "non-{}",
    "un{}",
    "a{}",
    "an{}",
    "in{}",
    "dis{}",
    "anti{}",
    "kein {}",
    "nicht {}",
)
DENYING += (
    "pas {}",
    "sin {}",
    "senza {}",
    "{} excluded",
    "{} ruled out",
    "without {}",
    "never {}",
    "{}?",
    "{} or {}",
)
# words that mean one of the codes, or none of them (None): no other code may ever be suggested
OTHERWISE = {
    "recorded_canal": {
        "posterior": "posterior canal|PSC|pc-BPPV|hinterer Bogengang|canal postérieur|posteriore",
        "anterior": (
            "superior|superior canal|SSC|vorderer|oberer Bogengang|canal antérieur|superiore"
        ),
        "lateral": "horizontal|HSC|hc-BPPV|seitlicher Bogengang|latéral|orizzontale",
        None: (
            "inferior|interior|exterior|unterer|inférieur|collateral|bilateral|certain|sicher|one|"
            "single|right|all|any"
        ),
    },
    "horizontal": {
        "apogeotropic": "ageotropic|apogeotropico|agéotropique|apogeotrop",
        "geotropic": "geotropico|géotropique|geotrop",
        "right": "rechts|droite|right-beating|derecha",
        "left": "links|gauche|left-beating|izquierda",
        None: (
            "pogeotropic|tropic|vertical|torsional|both|alternating|ageotropic or "
            "geotropic|clockwise"
        ),
    },
    "vertical": {
        "up": "upbeat|up-beating|upward",
        "down": "downbeat|down-beating|downward",
        None: "updown|both|ab|auf",
    },
    "recorded_side": {
        "right": "R|right ear|rechts|droite|derecho|destra|rigth",
        "left": "L|left ear|links|gauche|izquierdo|sinistra|elft",
        "both": "bilateral|beide|ambos",
        None: (
            "contralateral|ipsilateral|other|healthy|affected|wright|fright|lift|unilateral|"
            "neither|L/R|one"
        ),
    },
    "recorded_arm": {
        "long": "long arm|llong",
        "short": "short arm|shrot",
        None: "longer|medium|shortened|amp",
    },
    "sex": {
        "female": "F|femal|woman|weiblich|femme|mujer",
        "male": "M|man|männlich|homme|hombre",
        None: "fmale|H|person|neither|mal|d",
    },
    "positional_symptoms": {
        "yes": "ja|oui|sí",
        "no": "nein|non|não",
        "unknown": "unbekannt|not known|unknwon",
        None: "known|not asked|nie|never|maybe|sometimes|none|neither|asked|noted|now|norm",
    },
    "fatigues": {None: "not done|tested|testing|untested|tired"},
    "end_of_followup": {
        "withdrew": "withdrawn|withdraw",
        "lost": "lost to follow-up",
        None: (
            "deceased|died|not asked|not "
            "lost|unclassified|declassified|classified|incomplete|incompleted|recovered|ongoing"
        ),
    },
    "performed_by": {
        "self_unsupervised": "self unsupervised|self-unsupervisd",
        "self_supervised": "self supervised|self-supervized",
        None: "self|unsupervised|supervised|self not supervised|self usupervised|nobody",
    },
    "angle_source": {None: "not measured|unmeasured|unestimated|recorded|guessed"},
    "recorded_mechanism": {
        "canalolithiasis": "canalithiasis|canalolithasis",
        "cupulolithiasis": "cupulolithasis",
        None: "lithiasis|olithiasis|urolithiasis|canal|cupula",
    },
    "vertigo": {"none": "None", None: "no|some|milder|more|less|immoderate|unsevere|note|nine"},
    "adverse": {
        "canal_switch": "canal conversion",
        None: "no nausea|no faint|no neck pain|pain|paint|other pain",
    },
    "cause": {
        "idiopathic": "idiopathc",
        None: "before neuritis|no trauma|without meniere|not idiopathic|with",
    },
    "other_diagnosis": {
        None: (
            "migraine without aura|peripheral|no meniere|noncentral|acentral|bilateral "
            "vestibulopathy"
        )
    },
}
MANEUVERS = {
    "gufoni_apogeotropic": "Appiani|gufoni apogeotropc",
    "gufoni_geotropic": "gufoni geotropc",
    "deep_head_hanging": "Yacovino",
    "barbecue_roll": "BBQ roll|Lempert",
    "epley": "eply|Epley maneuver|Epley's maneuver",
    None: (
        "gufoni left|gufoni|gufoni ageotropic|modified Epley|semont x2|Epley + Semont|epley or "
        "semont|no maneuver|none|rotation|reversed epley|liberatory|not epley|forced prolonged "
        "54|casini maneuver left|bow and lean"
    ),
}


def suggest(column: Description | None, text: str, vocabulary: Vocabulary | None = None) -> str:
    return find_meanings([text], vocabulary or make_vocabulary(column)).get(text, "")


@pytest.mark.parametrize("codes", LISTS, ids=lambda codes: LISTS[codes].name)
def test_no_text_that_denies_a_code_suggests_it(codes):
    for code in codes:
        for form in DENYING:
            for spelled in (code, code.replace("_", " ")):
                text = form.replace("{}", spelled)
                if text not in codes:
                    assert suggest(LISTS[codes], text) != code, text


@pytest.mark.parametrize("codes", LISTS, ids=lambda codes: LISTS[codes].name)
def test_no_other_word_of_a_code_suggests_another_code(codes):
    vocabulary = make_vocabulary(LISTS[codes])
    for one, other in permutations(codes, 2):
        words = [word for word, code in vocabulary.words.items() if code == one]
        for text in (
            one,
            one.replace("_", " "),
            one.upper(),
            f"{one} canal",
            f"right {one}",
            *words,
        ):
            if text != f"right {one}" or one not in ("right", "left"):
                assert suggest(LISTS[codes], text) != other, text


@pytest.mark.parametrize("codes", LISTS, ids=lambda codes: LISTS[codes].name)
@given(data=st.data())
def test_a_slip_of_one_code_never_suggests_another(codes, data):
    code = data.draw(st.sampled_from([code for code in codes if len(code) > 1]))
    place, sign = data.draw(st.integers(1, len(code) - 1)), data.draw(st.sampled_from("aeinorstul"))
    slips = (
        code[:place] + code[place + 1 :],
        code[:place] + sign + code[place:],
        code[:place] + sign + code[place + 1 :],
    )
    text = data.draw(st.sampled_from(slips))
    if text not in codes:
        assert suggest(LISTS[codes], text) in ("", code)


@pytest.mark.parametrize("name", OTHERWISE)
def test_words_of_the_trade_and_of_other_languages(name):
    column = next(column for *_, label, column in CODED if label == name)
    for code, texts in OTHERWISE[name].items():
        for text in texts.split("|"):
            assert suggest(column, text) in (("",) if code is None else ("", code)), text


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("horizontal", "ageotropic", "apogeotropic"),
        ("horizontal", "apogeo", "apogeotropic"),
        ("recorded_canal", "superior", "anterior"),
        ("recorded_canal", "hinterer", "posterior"),
        ("recorded_canal", "postreior", "posterior"),
        ("recorded_canal", "Posterior canal", "posterior"),
        ("sex", "femal", "female"),
        ("vertical", "upbeat", "up"),
        ("cause", "idiopathc", "idiopathic"),
        ("test", "dix_halpike", "dix_hallpike"),
        ("end_of_followup", "withdrawn", "withdrew"),
        ("contact", "phone call", "telephone"),
    ],
)
def test_what_is_plainly_meant_is_suggested(name, text, code):
    assert suggest(next(column for *_, label, column in CODED if label == name), text) == code


def test_maneuvers(plan):
    vocabulary = make_maneuver_vocabulary(plan.maneuvers)
    for code, texts in MANEUVERS.items():
        for text in texts.split("|"):
            assert suggest(None, text, vocabulary) == (code or ""), text
    assert not [
        one
        for one in plan.maneuvers
        for form in DENYING[:8]
        if suggest(None, form.format(one), vocabulary)
    ]


@pytest.mark.parametrize(
    ("letters", "meant"),
    [
        ("FM", {"F": "female", "M": "male"}),
        ("WM", {"W": "female", "M": "male"}),
        ("M", {"M": "male"}),
        ("HM", {}),  # hombre and mujer, or homme
        ("HF", {}),
    ],
)
def test_a_letter_is_read_by_the_others_of_its_column(letters, meant):
    column = TABLES["episodes"].describe()["sex"]
    assert find_meanings(letters, make_vocabulary(column)) == meant


@pytest.mark.parametrize(
    ("table", "text", "meant"),
    [
        ("treatments", "manuever", "maneuver"),
        ("episodes", "age", "age_years"),
        ("episodes", "Geschlecht", "sex"),
        ("episodes", "onset", "onset_day"),
        ("episodes", "migraine", ""),
        ("episodes", "symptoms", ""),
        ("episodes", "continuous", ""),
        ("examinations", "duration_min", ""),
        ("examinations", "latency_ms", ""),
        ("examinations", "spv_at_60s", ""),
        ("examinations", "duration", "duration_s"),
        ("followups", "vas_0_100", ""),
        ("followups", "other", ""),
    ],
)
def test_names_of_columns(table, text, meant):
    columns = TABLES[table].describe()
    assert find_header(text, make_header_vocabulary(columns), columns) == meant
    assert find_header(text, make_header_vocabulary(columns), set(columns) - {meant}) == ""


def test_every_other_word_stands_for_a_code_and_is_none_itself():
    for *_, column in CODED:
        vocabulary = make_vocabulary(column)
        assert not set(vocabulary.words) & set(vocabulary.codes)
        assert set(vocabulary.words.values()) <= set(vocabulary.codes)
