"""Names of columns that say that the column holds identifiers, in the languages in which clinics keep records.

What must go is what safe harbor (45 CFR 164.514(b)(2)(i)) removes. The regulation names the things; how columns are called is common practice.
Each word of a name is compared as a whole and without accents; scripts that write no blanks are searched for parts.
"""

import re
import unicodedata
from collections.abc import Iterable

from pipeline.intake.patterns import may_be_form
from schemas.delivery import TABLES, Submission
from schemas.site_map import spell_plainly

NAMES = """[a-z]*names? [a-z]*namn [a-z]*navn [a-z]*nimi [a-z]*naam nafn nom prenoms? noms nomes? cognome sobrenome apelido apellidos? nombres? initials? initialen
    initiales imie imiona nazwisko jmeno prijmeni meno priezvisko nev [a-z]+nev nume prenume ime prezime priimek vardas pavarde vards uzvards maiden alias
    isim soyad soyadi soyisim nama signature unterschrift kin spouse angehorige[a-z]* ehepartner"""
BIRTHS = """dob doe dod born [a-z]*birth[a-z]* geb gebdat[a-z]* geburt[a-z]* naissance nacimiento nascita nascimento geboorte[a-z]* geboren [a-z]*fodsel[a-z]*
    [a-z]*fodelse[a-z]* syntyma[a-z]* urodzen[a-z]* narozeni narodenia szuletes[a-z]* nasterii rodenja dogum gimimo dzimsanas lahir"""
DATES = "dates? (?!up)[a-z]+date datetime timestamp [a-z]*datum dato [a-z]+dato fechas? tarih tarihi paivamaara tanggal"
NUMBERS = """mrn ssn nhs nhi nin chi insee nir bsn svnr svnummer pid uid mpi empi npi cpr cnp cpf dni nif nie nhc curp pesel egn oib jmbg taj amka tckn personnummer personnr
    personnumer fodselsnummer henkilotunnus hetu personalnummer personalnr personenkennzeichen ahv rodne fiscale codicefiscale kennitala steuernummer steuerid accession
    fallnummer fallnr fallid patient(?:en)?nummer patient(?:en)?nr patnr aktennummer aktennr aktenzeichen aufnahmenummer aufnahmenr versicher[a-z]* krankenkass[a-z]*
    krankenvers[a-z]* dossier[a-z]* journalnummer journalnr sygesikring[a-z]* cartella tessera prontuario acct [a-z]*insurance insured beneficiary [a-z]*passport[a-z]*
    passeport pasaporte passaporto reisepass [a-z]*ausweis[a-z]* [a-z]*licen[cs]e[a-z]* kennzeichen vin identit[a-z]+ kimlik fingerprint biometric"""
PLACES = """[a-z]*addres[a-z]* addr [a-z]*adress(?:en?)? adres adresa endereco morada direccion indirizzo osoite lakcim anschrift domicil[a-z]* bydliste alamat street
    stra(?:ss)?e [a-z]+strasse rue calle rua ulica ulice utca straat gata katu hausnummer hausnr city stadt ort wohnort ville commune ciudad citta cidade miasto mesto
    varos stad kaupunki town village gemeinde woonplaats localidad county precinct zip[a-z]* postal postcode plz postleitzahl postnummer postnr cep iranyitoszam geocode
    gps latitude longitude coordinates? koordinaten? coordonnees coordenadas employer arbeitgeber employeur empleador"""
CONTACTS = """[a-z]*phone[a-z]* tel [a-z]*telefon[a-z]* telefoon[a-z]* puhelin[a-z]* matkapuhelin mobil mobilnr mobilnummer handy handynummer gsm movil cellulare celular komorka
    telepon fax e?mails? [a-z]+mail correo courriel sahkoposti eposta ur[il] website webseite homepage whatsapp gp referrer referring hausarzt hausarztin zuweiser huisarts fastlege"""
DOUBTFUL_WORDS = """[a-z]*videos? images? pictures? photos? photograph foto bild voice stimme cell mobile device serial plate records? chart certificate lat lon lng ip mac
    data relative mother father occupation beruf profession examiner assessor provider operator nurse therapist untersucher doctor physician surgeon medecin medico arzt
    lekarz lakare laege account policy road vehicle web via cap deceased death insurance"""
SURE = re.compile("|".join(f"{NAMES} {BIRTHS} {DATES} {NUMBERS} {PLACES} {CONTACTS}".split()))
DOUBTFUL = re.compile("|".join(DOUBTFUL_WORDS.split()))  # also of columns with yes and no, kinds or counts
THING_WORDS = "maneuver manoeuvre test drug medication site column sheet file variable field table canal diagnosis study group exercise code"
THINGS = frozenset(THING_WORDS.split())  # what has a name that is no person's
OWNER_WORDS = """patient patients pat pt hospital medical record chart file case admission encounter account health insurance social national personal medicare medicaid member subscriber
    person client clinic registration paciente paziente pacjent expediente klinik spital sygehus sjukhus"""
COUNTING_WORDS = "no nr num number numbers nummer id ids numero nro"
OWNERS, COUNTING = frozenset(OWNER_WORDS.split()), frozenset(COUNTING_WORDS.split())
PHRASES = re.compile(
    r"\b(?:ho (?:va )?ten|ngay sinh|dia chi|dien thoai|data (?:di|de|da|urodzenia|nascita|narozeni|nasterii|wizyty)|e mail|device id|serial n\w+|vehicle id|plate n\w+"
    r"|numero (?:de |di |da )?(?:dossier|securite|secu|historia|cartella|telefono|telefone|processo|utente)|historia clinica|medecin traitant"
    r"|medico (?:di base|de cabecera|curante)|codigo postal|codice postale|cod postal|kod pocztowy|lekarz prowadzacy)\b"
)
PARTS = re.compile(
    "姓名|名前|氏名|患者名|患者番号|患者编号|患者id|电话|電話|手机|手機|地址|住所|身份证|身分證|生年月日|出生|生日|病历|病歷|住院号|门诊号|カルテ|診察券|郵便番号|邮编|郵編|邮箱|邮件|メール|日付|日期|主治医"
    "|担当医|이름|성명|환자명|환자번호|생년월일|전화|주소|주민|병록번호|차트번호|이메일|담당의|фамили|отчеств|рожд|телефон|адрес|паспорт|снилс|полис|дата|прізвищ|ім['’]я"
    "|народж|почт|врач|лікар|^имя|^фио|ονομα|επωνυμο|γεννησ|τηλεφ|διευθυνσ|αμκα|ημερομηνια|ιατρος|שם|טלפון|כתובת|לידה|תאריך|זהות|ת[.]ז|רופא|اسم|تاريخ|هاتف|عنوان|ميلاد|هوية"
    "|طبيب|नाम|जन्म|फोन|पता|दिनांक|ชื่อ|สกุล|วันเกิด|โทร|ที่อยู่|วันที่"
)
PLAIN_LETTERS = str.maketrans(
    {"ø": "o", "Ø": "O", "ł": "l", "Ł": "L", "ß": "ss", "ı": "i", "đ": "d", "æ": "ae", "œ": "oe"}
)
OWN_NAMES = frozenset(spell_plainly(name) for model in (Submission, *TABLES.values()) for name in model.describe())
MARKED = re.compile("[\u0080-\u052f\u1e00-\u1fff]")  # Latin, Greek and Cyrillic letters, which may have marks


def names_identifier(header: str, texts: Iterable[str] = ()) -> bool:
    """Whether a column name says that the column holds identifiers; where its words may say something else, `texts`, its cells, must look so."""
    if spell_plainly(header) in OWN_NAMES:
        return False
    plain = strip_accents(header)
    words = split_header(plain)
    if PARTS.search(plain.lower()) or PHRASES.search(" ".join(words)):
        return True
    if not OWNERS.isdisjoint(words) and not COUNTING.isdisjoint(words):
        return True
    of_thing = not THINGS.isdisjoint(words)
    sure = [word for word in words if SURE.fullmatch(word) and not DOUBTFUL.fullmatch(word)]
    if sure and not (of_thing and {"name", "names"}.issuperset(sure)):
        return True
    return (bool(sure) or any(map(DOUBTFUL.fullmatch, words))) and look_identifying(texts)


def split_header(text: str) -> list[str]:
    """The words of a column name, also where only capitals part them."""
    return re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower())


def strip_accents(text: str) -> str:
    """A text with plain letters in the place of those with marks, in scripts that have marks."""
    signs = unicodedata.normalize("NFKC", text).translate(PLAIN_LETTERS)
    return MARKED.sub(lambda sign: unicodedata.normalize("NFD", sign[0])[0], signs)


def look_identifying(texts: Iterable[str]) -> bool:
    """Whether the cells of a column look like those of persons: one has the form of an identifier, or most words are different."""
    given = [text for text in texts if text]
    words = {text.lower() for text in given if len(text) > 1 and any(sign.isalpha() for sign in text)}
    return any(map(may_be_form, set(given))) or len(words) > max(4, len(given) / 2)
