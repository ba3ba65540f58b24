"""Names of columns in many languages: those that say that they hold identifiers, and those of harmless columns, which are left alone."""

import pytest

from pipeline.intake.headers import names_identifier
from schemas.delivery import TABLES, Submission

HARMLESS_CELLS = ["yes", "no", "yes", "3"]
LANGUAGES = {  # plain translations, written down for this test alone (common practice)
    "English": "Patient Name|surname|PatientName|DOB|date_of_birth|birthdate|MRN|ssn|home_address|zip|post_code_zip|phone1|e-mail|passport_no|visit_date|ip_address"
    "|insurance_no|employer|hospital number|case no|patient_no|GP|nickname|next_of_kin|NHS number|GPS|admission id|initials",
    "German": "Geburtsdatum|Vor- und Nachname|Fallnummer|Patientennr.|Aktenzeichen|Versichertennummer|Krankenkasse|Anschrift|Wohnort|Straße|PLZ|Hausarzt|Telefon|Handynummer",
    "French": "nom|prénom|date de naissance|numéro de dossier|code postal|adresse|téléphone|médecin traitant|ville",
    "Spanish": "nombre|apellidos|fecha|fecha de nacimiento|DNI|nº historia clínica|dirección|teléfono|correo",
    "Italian": "cognome|nome|data di nascita|codice fiscale|indirizzo|telefono|cartella clinica|città",
    "Portuguese": "sobrenome|data de nascimento|CPF|endereço|telemóvel nº telefone|morada",
    "Dutch": "achternaam|geboortedatum|BSN|woonplaats|huisarts|telefoonnummer|adres",
    "Swedish": "Efternamn|Förnamn|Personnummer|Adress|Telefonnummer|Födelsedatum|postnummer",
    "Danish": "fornavn|efternavn|cpr-nummer|fødselsdag|adresse",
    "Finnish": "sukunimi|henkilötunnus|osoite|puhelinnumero|syntymäaika",
    "Polish": "imię i nazwisko|PESEL|data urodzenia|numer telefonu|adres|miasto",
    "Czech": "Jméno|Příjmení|rodné číslo|datum narození|adresa",
    "Hungarian": "név|születési dátum|TAJ szám|lakcím",
    "Romanian": "nume|prenume|CNP|adresă",
    "Turkish": "ad soyad|soyadı|doğum tarihi|TC kimlik no|adres",
    "Greek": "όνομα|επώνυμο|ΑΜΚΑ|ημερομηνία γέννησης|τηλέφωνο",
    "Russian": "Фамилия|Имя|дата рождения|адрес|телефон",
    "Chinese": "姓名|电话|出生日期|身份证号|病历号|地址",
    "Japanese": "氏名|生年月日|電話番号|住所|カルテ番号",
    "Korean": "이름|생년월일|전화번호|주소",
    "Arabic": "الاسم|تاريخ الميلاد|رقم الهاتف",
    "Hebrew": "שם|תאריך לידה|טלפון",
    "Hindi": "नाम|जन्म तिथि",
    "Thai": "ชื่อ|วันเกิด",
    "Vietnamese": "họ và tên|ngày sinh|địa chỉ",
    "Indonesian": "nama|alamat",
}
HARMLESS = (
    "update|lesion|comment_code|video_goggles|device|Latenz Sekunden|durée secondes|data_source|maneuver_name|test name|record_complete|case|visit_no|examiner|group|study_arm"
    "|image_quality|bmi|Körpergröße|side_effects|place|weeks_followed|score|centre|assessor|mobile_goggles|hypertension|vitamin D|number of sessions|attempt number|number|arm"
    "|road accident|family history mother|deceased|chart_reviewed|VNG|comments|Bemerkung|form_complete|status|episode_number|patient age|age|data|patient_id|Patient ID"
)
DOUBTFUL = {
    "device": ["SN-448213", "SN-448299"],
    "doctor": ["Quillfeather", "Beispielmann", "Exempleau", "Esempioni", "Voorbeeldt"],
    "data": ["14.03.2024"],
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_names_of_columns_that_hold_identifiers(language):
    assert [name for name in LANGUAGES[language].split("|") if not names_identifier(name, HARMLESS_CELLS)] == []


def test_harmless_columns_are_left_alone():
    assert [name for name in HARMLESS.split("|") if names_identifier(name, HARMLESS_CELLS)] == []


@pytest.mark.parametrize("name", DOUBTFUL)
def test_what_stands_in_a_column_decides_where_its_name_says_both(name):
    assert names_identifier(name, DOUBTFUL[name])
    assert not names_identifier(name, HARMLESS_CELLS)
    assert not names_identifier(name)


def test_no_column_of_the_dictionary_is_called_like_an_identifier():
    own = [name for model in (Submission, *TABLES.values()) for name in model.describe()]
    assert [name for name in own if names_identifier(name, ["4711", "Quillfeather"])] == []
