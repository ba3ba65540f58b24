"""The words by which columns that hold identifiers are called,
in the languages in which clinics keep records: plain translations (common practice).

A word of Latin letters is a pattern for a whole word without accents. In other scripts, where words
are joined and bent, a part is looked for anywhere and a whole word between blanks only, where the
same letters also stand in harmless words.
"""

NAMES = """[a-z]*names? [a-z]*namn [a-z]*navn [a-z]*nimi [a-z]*naam nafn nom prenoms? noms nomes?
    cognoms? cognome sobrenome apelidos? apellidos? nombres? initials? initialen initiales imie
    imiona nazwisko jmeno prijmeni meno priezvisko nev [a-z]+nev nume prenume ime prezime priimek
    vardas pavarde vards uzvards maiden alias isim soyad[a-z]* soyisim adi nama signature
    unterschrift kin spouse angehorige[a-z]* ehepartner podpis[a-z]* semnatura imza emri mbiemri
    atesia ainm sloinne enw cyfenw izen[a-z]* abizen[a-z]* isem kunjom ism familiya jina majina suna
    sunan oruko igama isibongo ifani magac[a-z]* amazina izina anarana pangalan apelyido forenames?
    givenname"""
BIRTHS = """dob doe dod born [a-z]*birth[a-z]* geb gebdat[a-z]* geburt[a-z]* naissance nacimiento
    nascita nascimento geboorte[a-z]* geboren [a-z]*fodsel[a-z]* [a-z]*fodelse[a-z]* syntyma[a-z]*
    urodzen[a-z]* narozeni narodenia szuletes[a-z]* nasterii rodenja dogum gimimo dzimsanas lahir
    naixement rojst[a-z]* roden(?!t)[a-z]* rodjen[a-z]* sunniaeg sunnikuupaev sunnipaev
    faeding[a-z]* datelindj[a-z]* ditelindj[a-z]* lindj[a-z]* breith jaiot[a-z]* twelid tugilgan
    kuzaliwa haihuwa lokuzalwa dhalasho dhalashada kapanganakan verjaardag cumpleanos aniversario
    compleanno anniversaire"""
DATES = """dates? (?!up)[a-z]+date datetime timestamp [a-z]*datum dato [a-z]+dato fechas? tarih
    tarihi tarixi paivamaara tanggal kuupaev dagsetning dyddiad tarikh tarehe datums petsa
    taariikhda"""
NUMBERS = """mrn ssn nhs nhi nin chi insee nir bsn svnr svnummer pid uid mpi empi npi cpr cnp cpf
    dni nif nie nhc curp pesel egn oib jmbg taj amka tckn personnummer personnr personnumer
    fodselsnummer henkilotunnus hetu personalnummer personalnr personenkennzeichen ahv rodne fiscale
    codicefiscale kennitala steuernummer steuerid accession fallnummer fallnr fallid
    patient(?:en)?nummer patient(?:en)?nr patnr aktennummer aktennr aktenzeichen aufnahmenummer
    aufnahmenr versicher[a-z]* krankenkass[a-z]* krankenvers[a-z]* dossier[a-z]* journalnummer
    journalnr sygesikring[a-z]* cartella tessera prontuario acct [a-z]*insurance insured beneficiary
    [a-z]*passport[a-z]* passeport pasaporte passaporto reisepass [a-z]*ausweis[a-z]*
    [a-z]*licen[cs]e[a-z]* kennzeichen vin identit[a-z]+ kimlik fingerprint biometric isikukood emso
    jmbag kzz uhid aadhaar nric mykad cccd cmnd bhyt bpjs nik cnic nida philhealth umcn rut cedula
    sgk yupass matricola potilasnumero potilastunnus haiguslugu haigusloo ubezpieczen[a-z]*
    pojisten[a-z]* poisten[a-z]* osigura[a-z]* zavarovan[a-z]* draudim[a-z]* apdrosinas[a-z]*
    kindlustus[a-z]* biztosit[a-z]* sigorta asigur[a-z]* aseguranza aseguradora assicura[a-z]*
    verzeker[a-z]* vakuutus[a-z]* forsikring[a-z]* forsakring[a-z]* asuransi assurance mutuelle
    kitambulisho pasaport[a-z]* paszport[a-z]* putovnica pasas"""
PLACES = """[a-z]*addres[a-z]* addr [a-z]*adress(?:en?)? adres[a-z]? adresas adresi aadress endereco
    enderezo morada direccion direccio indirizzo indirizz osoite lakcim anschrift domicil[a-z]*
    bydliste alamat street adreca helbide[a-z]* cyfeiriad seoladh heimilisfang manzil unvan anwani
    adireshi adiresi ikheli cinwaan[a-z]* tirahan elukoht dzivesvieta prebivali[a-z]* stra(?:ss)?e
    [a-z]+strasse rue calle rua ulica ulice utca straat gata katu hausnummer hausnr city stadt ort
    wohnort ville commune ciudad citta cidade miasto mesto varos stad kaupunki town village gemeinde
    woonplaats localidad county precinct zip[a-z]* postal postcode plz postleitzahl postnummer
    postnr postinumero cep psc iranyitoszam geocode gps latitude longitude coordinates? koordinaten?
    coordonnees coordenadas employer arbeitgeber employeur empleador"""
CONTACTS = """[a-z]*phone[a-z]* tel [a-z]*telefon[a-z]* telefoon[a-z]* [a-z]*puhelin[a-z]* mobil
    mobilnr mobilnummer handy handynummer gsm movil cellulare celular komorka telepon telpon
    talrun[a-z]* simi simanumer farsimi simu ucingo taleefan[a-z]* fon ffon guthan mobiltelefon
    telemovel fax e?mails? [a-z]+mail correo correu courriel sahkoposti eposta epost epasts?
    e?pastas netfang emel ur[il] website webseite homepage whatsapp gp referrer referring hausarzt
    hausarztin zuweiser huisarts fastlege"""
DOUBTFUL = """[a-z]*videos? images? pictures? photos? photograph foto bild voice stimme cell mobile
    device serial plate records? chart certificate lat lon lng ip mac data relative mother father
    occupation beruf profession examiner assessor provider operator nurse therapist untersucher
    doctor physician surgeon medecin medecins medico medica arzt lekarz lakare lakari laege lege
    account policy road vehicle web via cap deceased death insurance assurance mutuelle sigorta bima
    naslov doktor doktori doktors dokter daktari hekim hekimi zdravnik lijecnik lekar lekarka orvos
    orvosa arst arsts gydytojas mjeku laeknir metge medic meddyg dochtuir sendagile tabib doktorka
    likita dokita udokotela dhakhtar[a-z]* ism"""

PHRASES = (
    "ho (?:va )?ten|ten benh nhan|ngay sinh|dia chi|dien thoai|so ho so|ma (?:benh nhan|benh "
    "an|bao hiem)|so bao hiem|thu dien tu|bac si|barua pepe|imeyili|data "
    "(?:di|de|da|d|urodzenia|nascita|narozeni|nasterii|naixement|rojstva|gimimo|wizyty)|e mail|e "
    "post[a-z]*|e past[a-z]*|el past[a-z]*|el post[a-z]*|device id|serial n\\w+|vehicle id|plate "
    "n\\w+|n(?:ume?ro?)?(?: o)? (?:de |di |da |do "
    ")?(?:dossier|securite|secu|historia|cartella|telefono|telefone|processo|utente|fis[ae]i?|"
    "foaie|expediente|afiliado|seguro|prontuario|cartao)|historia clinica|medecin traitant|medico "
    "(?:di base|de cabecera|curante)|codigo postal|codice postale|cod(?:ul)? "
    "(?:postal|numeric)|codi postal|kod pocztowy|lekarz prowadzacy|asmens kodas|personas "
    "kods|rekam medis|no rm|kad pengenalan|postni (?:broj|stevilka)|postanski broj|maticni "
    "broj|irsz|posta kodu"
)

PARTS = (
    # Chinese, Japanese, Korean
    "姓名|名前|氏名|患者名|患者番号|患者编号|患者編號|患者id|名字|苗字|姓氏|曾用名|签名|簽名|署名|ふりがな|フリガナ|电话|電話|手机|手機|携帯|联系方式|聯絡方式|联系人|聯絡人|連絡先|地址"
    "|住址|住所|籍贯|户籍|戶籍|番地"
    "|身份证|身分證|身份證|证件|證件|护照|護照|旅券|パスポート|マイナンバー|生年月日|出生|(?<![发發発])生日|病历|病歷|病案|住院号|住院號|门诊号|門診號|就诊卡|就診卡|カルテ|診察券"
    "|診療録|医保|醫保|健保|社保|保险号|保險號|保险单|保险卡"
    "|保険証|保険者|郵便番号|邮编|郵編|邮政编码|郵遞區號|邮箱|邮件|郵件|信箱|微信|メール|日付|日期|主治医|主治醫|担当医|监护人|監護人|保護者|工作单位|工作單位|勤務先"
    "|이름|성명|성함|환자명|환자번호|생년월일|(?<!발)생일|전화|휴대폰|핸드폰|연락처|주소(?!증)|우편번호|주민|병록번호|차트번호|등록번호|보험번호|보험증|여권|메일|담당의|주치의"
    "|보호자|날짜"
    # Cyrillic
    "|фамили|отчеств|(?<!в)рожд|телефон|адрес|паспорт|снилс|дата|прізвищ|ім['’]я|народж|почт|пошт|"
    "пощ|врач|лікар|подпис|підпис|страхов|осигур|датум|презим|рођ|(?<![а-я])раѓа|(?<![а-я])роден|"
    "матични|картона|номер (?:карт|истории|телефон)|истори[яи] болезни|по "
    "батькові|прозвішч|нараджэ|адрас|тэлефон|имейл|туған|мекенжай|дәрігер|туулган|туғилган|манзил|"
    "таваллуд|суроға|төрсөн"
    # Greek, Armenian, Georgian
    "|ονομα(?!σι)|επωνυμο|επιθετο|γεννησ|τηλεφ|διευθυνσ|αμκα|ημερομηνια|ιατρος|γιατρ|ταχυδρομ|ταυτοτητ"
    "|διαβατηρι|μητρωο|ασφαλισ|անուն|ծննդ|հասցե|հեռախոս|բժիշկ|անձնագ|ամսաթիվ|փոստ"
    "|სახელი|დაბადებ|მისამართ|ტელეფონ|მობილურ|პირადი ნომ|ექიმ|ელფოსტ|თარიღ|სადაზღვ"
    # Hebrew, Arabic, Persian, Urdu, Kurdish, Pashto
    "|שם|טלפון|כתובת|לידה|תאריך|זהות|ת[.]ז|רופא|דואר|דוא.?ל|מייל|פלאפון|קופת "
    "חולים|דרכון|ביטוח|מספר "
    "תיק|اسم|تاريخ|هاتف|عنوان|ميلاد|هوية|طبيب|تليفون|تلفون|جوال|موبايل|(?<!ت)بريد|رقم "
    "(?:ال)?(?:ملف|مريض|بطاقة|تأمين)|جواز|تأمين|خانوادگی|تاریخ|تولد|نشانی|آدرس|تلفن|موبایل|ایمیل|"
    "پرونده|پزشک|بیمه|کد ملی|شناسنامه|پتہ|پیدائش|ڈاکٹر|ای میل|شناختی|ناونیشان|لەدایک|مۆبایل|زېږ"
    # Devanagari, Bengali, Gujarati, Gurmukhi, Odia
    "|नाम|जन्म|फोन|फ़ोन|मोबाइल|मोबाईल|दूरभाष|पता(?!क)|पत्ता|ठेगाना|दिनांक|तारीख|ईमेल|ई-मेल|चिकित्सक|डॉक्टर"
    "|बीमा|विमा|आधार (?:नंबर|संख्या|कार्ड|क्रमांक)|आडनाव|पंजीकरण"
    "|নাম|জন্ম|ঠিকানা|ফোন|মোবাইল|তারিখ|ইমেইল|ইমেল|চিকিৎসক|ডাক্তার|বীমা|নিবন্ধন|નામ|જન્મ|ફોન|મોબાઇલ|તારીખ|ઈમેલ"
    "|ઇમેઇલ|ડૉક્ટર|ડોક્ટર|અટક|વીમા|ਨਾਮ|ਜਨਮ|ਪਤਾ|ਫੋਨ|ਫ਼ੋਨ|ਮੋਬਾਈਲ|ਤਾਰੀਖ|ਡਾਕਟਰ|ਬੀਮਾ"
    "|ନାମ|ଜନ୍ମ|ଠିକଣା|ଫୋନ|ମୋବାଇଲ|ତାରିଖ|ଡାକ୍ତର|ବୀମା"
    # Tamil, Telugu, Kannada, Malayalam, Sinhala
    "|பெயர்(?![சவ])|முகவரி|பிறந்த|பிறப்பு|தொலைபேசி|கைபேசி|அலைபேசி|மொபைல்|மின்னஞ்சல்|மருத்துவர்|தேதி|காப்பீ"
    "|పేరు|చిరునామా|పుట్టిన|జనన|ఫోన్|మొబైల్|తేదీ|వైద్యు|డాక్టర్|ఇమెయిల్|బీమా"
    "|ಹೆಸರು|ವಿಳಾಸ|ಜನ್ಮ|ಹುಟ್ಟಿದ|ಫೋನ್|ದೂರವಾಣಿ|ಮೊಬೈಲ್|ದಿನಾಂಕ|ವೈದ್ಯರ|ಇಮೇಲ್|ವಿಮೆ|പേര്|പേരും|നാമം|വിലാസ|ജനന|ഫോൺ"
    "|മൊബൈൽ|തീയതി|തിയതി|ഡോക്ടർ|ഇമെയിൽ|ഇൻഷുറൻസ്|ලිපිනය|උපන්|දුරකථන|වාසගම"
    # Thai, Lao, Khmer, Burmese, Ethiopic
    "|ชื่อ|สกุล|วันเกิด|(?<!เล็ก)โทร|มือถือ|ที่อยู่|วันที่|อีเมล|เลขประจำตัว|บัตรประชาชน|เวชระเบียน"
    "|หมายเลข hn|เลขที่ hn|แพทย์ผู้|แพทย์เจ้าของ|ประกันสังคม|ประกันสุขภาพ|ไปรษณีย์|ຊື່|ນາມສະກຸນ|ວັນເກີດ"
    "|ປີເກີດ|ທີ່ຢູ່"
    "|ໂທລະສັບ|ເບີໂທ|ឈ្មោះ|នាមត្រកូល|កំណើត|អាសយដ្ឋាន|ទូរស័ព្ទ|គ្រូពេទ្យ|អ៊ីមែល|အမည်|နာမည်|မွေး|လိပ်စာ|ဖုန်း"
    "|ဆရာဝန်|ስም(?!ም)|አድራሻ|ስልክ|ትውልድ|ልደት|ኢሜይል|ሐኪም|ሀኪም|ካርድ ቁጥር"
)
WHOLE = """姓 名 имя имени имена фио ф.и.о піб п.і.б полис полиса омс снилс инн іпн име егн лнч јмбг
    ембг імя аты тегі жсн исм исем ном насаб нэр утас овог регистр эмч лекар лекаря лекуващ улица
    κινητο οδος τ.κ გვარი გვარ نام فون ناو لقب كنية עיר רחוב נייד מגורים מיקוד नाव नांव थर मिति ਨਾਂ ନାଁ
    නම tên họ"""

# names and numbers in some language, if nothing else stands beside them and the cells look so
ALONE = "ad aha hn van ten ho"

THINGS = """maneuver manoeuvre test drug medication site column sheet file variable field table
    canal diagnosis study group exercise code device treatment manoeuvres maneuvers tests manover
    maniobra maniobras manovra manobra manobras manewr zabieg teste testes prueba pruebas prova
    essai examen examens esame exame exam medicament medicaments medikament medicamento medicamentos
    farmaco farmaci farmacos lek leku arzneimittel wirkstoff diagnostic diagnose diagnosi
    diagnostico etude estudio studio estudo studie groupe grupo gruppo gruppe groep grupp exercice
    ejercicio esercizio exercicio ubung gerat appareil dispositivo apparaat enhet traitement
    tratamiento trattamento tratamento behandlung syndrome sindrome syndrom maladie enfermedad
    malattia doenca krankheit canale centre centro klinik kanal"""
NAMING = """name names nom noms nome nomes nombre nombres naam namen namn navn nimi nazwa nazev
    nazov naziv adi isim nume ime nama"""  # also of things
COUNTED = (  # French "nombre" is a number: of several of a kind, or by a word that tells of numbers
    r"\bnombre (?:total|moyen|median|maximal|minimal|maximum|minimum|max|min|cumule|exact|"
    r"approximatif)\b(?: de?\b)?"
    r"|\bnombre de? (?!(?:les|los|las|pacientes|medicos|medicas|doctores|padres|familiares|"
    r"contactos|testigos|hijos|hijas|profesionales)\b)[a-z]{2,}[sx]\b"
)
OWNERS = """patient patients pat pt hospital medical record chart file case admission encounter
    account health insurance social national personal medicare medicaid member subscriber person
    client clinic registration paciente pacientes paziente pazienti pacjent pacjenta expediente
    klinik spital sygehus sjukhus karty karta kartoteki kartoteka kartoteke kartona karton kartes
    karte kortele korteles dosya protokol hasta potilas potilaan patsient patsiendi pacients
    pacienta pacientas paciento bolesnik bolesnika bolnik bolnika pacijent pacijenta pasien pesakit
    mgonjwa sjukling sykehus haigus pojistence poistenca pacient zdravstvene chorobopis chorobopisu
    fisa fisei foaie beteg krankenakte faili rejestracyjny ksiegi utente afiliado seguro convenio
    cartao carte expedient dosar dosarul sigorta bima"""
COUNTING = """no nr num number numbers nummer id ids numero nro numer cislo broj stevilka stev numar
    numarul numurs numeris nomor nombor namba nambari szam szama numri numerua rhif uimhir lambar
    nomba"""
AGES = """age ages alter edad idade eta leeftijd alder ika wiek vek kor eletkor varsta yas yasi
    vanus vecums amzius starost moshe mosha aldur oed aois adina umur usia umri edat yosh tuoi
    ouderdom iminyaka возраст вік жасы ηλικια възраст старост узраст 年龄 年齡 年齢 나이 연령 อายุ
    العمر عمر سن גיל उम्र आयु वय வயது వయస్సు వయసు ವಯಸ್ಸು വയസ്സ് বয়স ઉંમર ਉਮਰ ასაკი տարիք ዕድሜ"""
