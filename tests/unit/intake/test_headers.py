"""Names of columns in many languages: those that say that they hold identifiers,
and those of harmless columns, which are left alone."""

import pytest

from pipeline.intake.headers import names_age, names_identifier
from schemas.delivery import TABLES, Submission

HARMLESS_CELLS = ["yes", "no", "yes", "3"]
LANGUAGES = {  # plain translations, written down for this test alone (common practice)
    "English": (
        "Patient "
        "Name|surname|PatientName|DOB|date_of_birth|birthdate|MRN|ssn|home_address|zip|"
        "post_code_zip|phone1|e-mail|passport_no|visit_date|ip_address|insurance_no|employer|"
        "hospital number|case no|patient_no|GP|nickname|next_of_kin|NHS number|GPS|admission "
        "id|initials"
    ),
    "German": (
        "Geburtsdatum|Vor- und "
        "Nachname|Fallnummer|Patientennr.|Aktenzeichen|Versichertennummer|Krankenkasse|Anschrift|"
        "Wohnort|Straße|PLZ|Hausarzt|Telefon|Handynummer"
    ),
    "French": (
        "nom|prénom|date de naissance|numéro de dossier|code postal|adresse|téléphone|médecin "
        "traitant|ville"
    ),
    "Spanish": (
        "nombre|apellidos|fecha|fecha de nacimiento|DNI|nº historia "
        "clínica|dirección|teléfono|correo"
    ),
    "Italian": (
        "cognome|nome|data di nascita|codice fiscale|indirizzo|telefono|cartella clinica|città"
    ),
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
    "Indonesian": "nama|alamat|tanggal lahir|nomor telepon|no rekam medis",
    "Swahili": "Jina la mgonjwa|jina la ukoo|tarehe ya kuzaliwa|anwani|namba ya simu|barua pepe",
    "Hausa, Yoruba, Zulu, Somali": (
        "suna|adireshi|orúkọ|igama|isibongo|magaca|taariikhda dhalashada"
    ),
    "Amharic": "የታካሚ ስም|አድራሻ|ስልክ ቁጥር|የትውልድ ቀን",
    "Tamil": "பெயர்|நோயாளியின் பெயர்|முகவரி|பிறந்த தேதி|தொலைபேசி எண்|மின்னஞ்சல்",
    "Telugu": "పేరు|చిరునామా|పుట్టిన తేదీ|ఫోన్ నంబర్",
    "Kannada": "ಹೆಸರು|ವಿಳಾಸ|ಹುಟ್ಟಿದ ದಿನಾಂಕ|ದೂರವಾಣಿ",
    "Malayalam": "പേര്|മേൽവിലാസം|ജനനത്തീയതി|ഫോൺ",
    "Bengali": "নাম|ঠিকানা|জন্ম তারিখ|মোবাইল নম্বর",
    "Gujarati, Punjabi, Odia": "નામ|સરનામું|જન્મ તારીખ|ਨਾਮ|ਪਤਾ|ਜਨਮ ਮਿਤੀ|ନାମ|ଠିକଣା|ଫୋନ",
    "Marathi and Nepali": "रुग्णाचे नाव|आडनाव|पत्ता|मोबाईल|ठेगाना|थर|मिति",
    "Urdu": "مریض کا نام|پتہ|تاریخ پیدائش|فون نمبر|ڈاکٹر",
    "Persian": "نام|نام خانوادگی|تاریخ تولد|آدرس|تلفن همراه|شماره پرونده|کد ملی|پزشک معالج|بیمه",
    "Arabic, further": "رقم الملف|رقم التأمين|البريد الإلكتروني|جوال|لقب",
    "Chinese, further": "住址|家庭住址|联系方式|電子郵件|医保号|病案号|护照号码|就诊卡号",
    "Japanese, further": "連絡先|携帯|保険証番号|ふりがな|メールアドレス|苗字",
    "Korean, further": "성함|휴대폰|연락처|우편번호|등록번호|보험번호|주치의",
    "Lao, Khmer, Burmese": "ຊື່|ທີ່ຢູ່|ເບີໂທ|ឈ្មោះ|អាសយដ្ឋាន|လိပ်စာ|အမည်|ဖုန်း",
    "Georgian": "სახელი|გვარი|მისამართი|ტელეფონი|დაბადების თარიღი|პირადი ნომერი",
    "Armenian": "անուն|ազգանուն|հասցե|հեռախոս|ծննդյան օր",
    "Serbian": (
        "име и презиме|датум рођења|адреса|број картона|лекар|prezime|broj kartona|matični "
        "broj|datum rođenja"
    ),
    "Bulgarian": "име|презиме|фамилия|ЕГН|адрес|имейл|лекар",
    "Macedonian": "презиме|датум на раѓање|ЕМБГ",
    "Ukrainian": "прізвище|ім'я|по батькові|дата народження|поштова адреса|номер картки|ПІБ",
    "Kazakh and Mongolian": "аты|тегі|туған күні|мекенжай|ЖСН|овог|нэр|утас",
    "Estonian": "eesnimi|perekonnanimi|sünniaeg|isikukood|aadress|telefon|e-post|haigusloo nr",
    "Latvian": "vārds|uzvārds|dzimšanas datums|personas kods|adrese|tālrunis|e-pasts|kartes numurs",
    "Lithuanian": "vardas|pavardė|gimimo data|asmens kodas|adresas|kortelės numeris",
    "Slovene": "ime|priimek|rojstni datum|EMŠO|številka kartona|številka zavarovanja",
    "Croatian": "prezime|datum rođenja|OIB|broj osiguranika|poštanski broj",
    "Albanian": "emri|mbiemri|datëlindja|adresa",
    "Icelandic": "nafn|kennitala|heimilisfang|símanúmer|netfang",
    "Catalan, Basque, Galician": (
        "cognoms|data de naixement|adreça|correu|izena|abizena|helbidea|apelidos|enderezo"
    ),
    "Welsh and Irish": "enw|cyfenw|cyfeiriad|ainm|sloinne|seoladh",
    "Filipino and Malay": "pangalan|apelyido|tirahan|kapanganakan|tarikh lahir|kad pengenalan|emel",
    "Turkish, further": "hasta adı|dosya no|protokol no|doğum yeri|sigorta no",
    "Polish, further": "nr karty|numer kartoteki|lekarz prowadzący|ubezpieczenie nr",
    "Romanian, further": "nr fișă|cod numeric personal|număr dosar|poliță de asigurare",
    "Spanish, further": (
        "nombre completo|nombre_paciente|nombre del paciente|nombre de los pacientes|n.º de "
        "expediente|número de afiliado"
    ),
    "Greek, further": "αριθμός μητρώου|ταυτότητα|ταχυδρομικός κώδικας|επίθετο",
}
HARMLESS = (
    "update|lesion|comment_code|video_goggles|device|Latenz Sekunden|durée "
    "secondes|data_source|maneuver_name|test "
    "name|record_complete|case|visit_no|examiner|group|study_arm|image_quality|bmi|Körpergröße|"
    "side_effects|place|weeks_followed|score|centre|assessor|mobile_goggles|hypertension|vitamin "
    "D|number of sessions|attempt number|number|arm|road accident|family history "
    "mother|deceased|chart_reviewed|VNG|comments|Bemerkung|form_complete|status|episode_number|"
    "patient age|age|data|patient_id|Patient ID|nombre de séances|Nombre de "
    "manœuvres|nombre_de_jours|nombre d'essais|nombre total|nombre moyen de chutes|nom du test|nom "
    "de la manœuvre|nombre de la maniobra|nombre del fármaco|nome do "
    "teste|Testname|Gerätename|Medikamentenname|namn på test|nome del "
    "farmaco|врожденное|полисомнография|однородный|сторона|длительность|إختبار "
    "التبريد|نوم|جانب|अवधि|तनाव|परिणाम|பக்கம்|இடப்பெயர்ச்சி|อิเล็กโทรด|ด้าน|発生日|발생일|주소증|방향|方向|"
    "持续时间|回数|ονομασία|πλευρά|διάρκεια|צד|משך|മാറ്റം|পরিণাম|strana|kesto|oldal|upande|siku|yön|"
    "puoli|pusė|pool|puse|AD|van|taraf"
)
DOUBTFUL = {
    "device": ["SN-448213", "SN-448299"],
    "doctor": ["Quillfeather", "Beispielmann", "Exempleau", "Esempioni", "Voorbeeldt"],
    "data": ["14.03.2024"],
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_names_of_columns_that_hold_identifiers(language):
    assert [
        name
        for name in LANGUAGES[language].split("|")
        if not names_identifier(name, HARMLESS_CELLS)
    ] == []


def test_harmless_columns_are_left_alone():
    assert [name for name in HARMLESS.split("|") if names_identifier(name, HARMLESS_CELLS)] == []


@pytest.mark.parametrize("name", DOUBTFUL)
def test_what_stands_in_a_column_decides_where_its_name_says_both(name):
    assert names_identifier(name, DOUBTFUL[name])
    assert not names_identifier(name, HARMLESS_CELLS)
    assert not names_identifier(name)


@pytest.mark.parametrize(
    ("cells", "named"),
    [(["2", "3", "11"], False), (["2", "Quillfeather"], True), (["48213"], True), ([], True)],
)
def test_nombre_alone_is_a_number_where_only_numbers_stand_below_it(cells, named):
    """In French it is a number, in Spanish a name."""
    assert names_identifier("nombre", cells) == named


@pytest.mark.parametrize(
    "name",
    [
        "age",
        "Alter",
        "edad",
        "âge",
        "ålder",
        "życie wiek",
        "възраст",
        "年齢",
        "나이",
        "வயது",
        "umri",
        "yaş",
    ],
)
def test_columns_of_ages(name):
    assert names_age(name)


def test_no_column_of_the_dictionary_is_called_like_an_identifier():
    columns = [name for model in (Submission, *TABLES.values()) for name in model.describe()]
    assert [name for name in columns if names_identifier(name, ["4711", "Quillfeather"])] == []
