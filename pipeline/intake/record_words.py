"""The words and letters that stand before the number of a person or record, as in "NHC 482139":
abbreviations of record, insurance and identity numbers in the languages in which clinics keep
records (common practice)."""

LABELS = (  # before four digits, if they are no year
    "nhc|h\\.?c\\.?e?\\.? n|n\\.? ?h\\.? ?c\\.?|historia|hist\\.? cl[ií]n\\w*|historia "
    "cl[ií]nica|expediente|dossier|n° "
    "?dossier|ipp|nda|sns|utente|processo|prontu[aá]rio|cartella|matricola|tessera|nosologico|"
    "kartei|karteikarte|karteinr|krankenakte|aktennr|aktenzeichen|fallnr|patnr|pat-nr|kartoteka|"
    "kartoteki|karty|karta|kartonas|kart[oó]n|kartona|kartica|chorobopis\\w*|[rč]\\. "
    "?karty|kortel[eė]s?|kartes?|haigusl\\w+|potilas|journal|jnr|pnr|hetu|cpr|kennitala|cnp|jmbg|"
    "oib|em[sš]o|egn|taj|amka|nif|dni|nie|rut|curp|c[eé]dula|c[eé]d|nino|dosya|protokol|hasta|tckn|"
    "nik|nric|uhid|opd|ipd|(?:op|ip) no|hosp(?:ital)?\\.? no|file no|folder no|reg(?:istration)? "
    "?no|emr|ehr|rekam medis|no rm|bhyt|cccd|cmnd|m[aã] "
    "bn|kitambulisho|faili|törzssz[aá]m|fi[sș][aă]|foaie|sykehus|matični broj|rodn[eé] "
    "č[ií]slo|personas kods|asmens kodas|isikukood|карта|карты|картка|картки|картон|истори[яи](?: "
    "болезни)?|снилс|омс|полис|егн|лнч|јмбг|ембг|іпн|инн|жсн|αμκα|μητρ[ωώ]ου?|φ[αά]κελος|תיק|"
    "ת\\.?ז\\.?|رقم الملف|رقم المريض|الهوية|کد "
    "ملی|پرونده|病历号?|病歷號?|住院号?|住院號|病案号?|门诊号|門診號|身份证号?|身分證|医保号?|"
    "就诊卡号?|カルテ番号|カルテ|患者番号|患者id|診察券|保険証|등록번호|차트|병록|차트번호|"
    "병록번호|환자번호|เวชระเบียน|เลขประจำตัว|मरीज संख्या|आधार"
)
OTHER_LABELS = (  # of other things as well: before six digits
    "cod|c[oó]d|c[oó]digo|codice|code|kod|k[oó]d|код|reg|ref|registro|rejestr|rg|hc|hist|exp|proc|"
    "matr|doss|rm|tc|hn|vn|kt|hosp|folder|file|admission|ucc|арх|рег|nr "
    "?rej|barcode|strichcode|insurance|versicherung|assurance"
)
COUNTED_AS = (
    "no|nr|n|num|n[uú]mero|numer|number|nummer|id|č|č[ií]slo|št|stevilka|sz[aá]m|br|broj|αρ|numurs|"
    "numeris|№|号|番号|號"
)
