"""Names of months and days of the week, as they are written in dates,
and words for years of age (plain translations, common practice)."""

MONTH_NAME = (  # English, German, French, Spanish, Italian, Portuguese, Dutch, Polish
    r"(?:jan(?:uar[yi]?|vier|eiro)?|jän(?:ner)?|ene(?:ro)?|genn(?:aio)?|feb(?:ruar[yi]?|rero|braio)?|f[eé]v(?:rier|ereiro)?|mar(?:ch|s|zo|ço)?|märz?|mrz"
    r"|maart|mrt|apr(?:ile?)?|a[bv]r(?:il)?|mayo?|maio?|mei|magg(?:io)?|jun(?:e|io?|ho)?|juin|giu(?:gno)?"
    r"|jul(?:y|io?|ho)?|juil(?:let)?|lug(?:lio)?"
    r"|aug(?:ust(?:us)?)?|ao[uû]t|agosto|sep(?:t(?:i?emb(?:er|re))?)?|sett(?:embre)?|setembro"
    r"|o[ck]t(?:ob(?:er|re)|ubre)?|ott(?:obre)?|outubro"
    r"|nov(?:i?embr[eo]|ember)?|d[eé][cz](?:emb(?:er|r[eo]))?|dic(?:i?embre)?"
    r"|stycz(?:eń|nia)|sty|lut(?:y|ego)?|marz?ec|marca|kwie(?:cień|tnia)|kwi|maja?|czerw(?:iec|ca)|cze"
    r"|lip(?:iec|ca)?|sierp(?:ień|nia)|sie"
    r"|wrze(?:sień|śnia)|wrz|pa[zź]dziernika?|pa[zź]|listopada?|lis|grud(?:zień|nia)|gru)\.?"
)
WEEKDAY = (
    r"(?:mon|tues?|wed(?:nes)?|thur?s?|fri|satur|sun)day|mo|di|mi|do|fr|sa|so"
    r"|(?:mon|diens|donners|frei|sams|sonn)tag|mittwoch"
    r"|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lunes|martes|mi[eé]rcoles|jueves|viernes|s[aá]bado"
    r"|domingo"
    r"|(?:lune|marte|mercole|giove|vener)d[iì]|sabato|domenica|(?:maan|dins|woens|donder|vrij|zater|zon)dag"
    r"|(?:segunda|ter[cç]a|quarta|quinta|sexta)-feira|poniedziałek|wtorek|środa|czwartek|piątek|sobota"
    r"|niedziela"
)
WEEKDAY = rf"(?:{WEEKDAY})"
FURTHER_NAMES = """janvār\\w* februār\\w* mart[saā]? aprīl\\w* maij\\w jūnij\\w jūlij\\w august[saā]
    septembr\\w* oktobr\\w* novembr\\w* decembr\\w* saus(?:io|is) vasar(?:io|is) kov(?:o|as)
    baland(?:žio|is) gegužės? birželi(?:o|s) liep(?:os|a) rugpjū(?:čio|tis) rugsėj(?:o|is)
    spal(?:io|is) lapkri(?:čio|tis) gruod(?:žio|is) jaanuar\\w* veebruar\\w* märts\\w* aprill\\w*
    juuni\\w* juuli\\w* oktoob\\w+ detsemb\\w+
    (?:tammi|helmi|maalis|huhti|touko|kesä|heinä|elo|syys|loka|marras|joulu)kuu\\w* január\\w*
    február\\w* március\\w* április\\w* május\\w* június\\w* július\\w* augusztus\\w* szeptember\\w*
    október\\w* november\\w* december\\w* led(?:en|na) únor\\w? březen března duben dubna
    květ(?:en|na) červ(?:en|na|enec|ence) srp(?:en|na) září říj(?:en|na) listopadu? prosin(?:ec|ce)
    mar(?:ec|ca) apríla? mája? júna? júla? januarj?a? februarj?a? aprila? maja? junij?a? julij?a?
    avgusta? siječ(?:anj|nja) veljač[ae] ožuj(?:ak|ka) trav(?:anj|nja) svib(?:anj|nja)
    lip(?:anj|nja) srp(?:anj|nja) kolovoza? ruj(?:an|na) studen(?:i|og) prosin(?:ac|ca) ianuarie
    februarie martie aprilie iunie iulie septembrie octombrie noiembrie decembrie ocak şubat mart
    nisan mayıs haziran temmuz ağustos eylül ekim kasım aralık janúar febrúar apríl maí júní júlí
    ágúst nóvember desember januari februari maj augusti gener febrer març maig juny juliol agost
    setembre octubre novembre desembre urtarril\\w* otsail\\w* martxo\\w* apiril\\w* maiatz\\w*
    ekain\\w* uztail\\w* abuztu\\w* irail\\w* azaro\\w* abendu\\w* muharram safar rajab sha.?ban
    ramadan ramazan shawwal محرم صفر رجب شعبان رمضان شوال janar shkurt prill qershor korrik gusht
    shtator tetor nëntor dhjetor machi aprili julai agosti septemba oktoba novemba desemba maret
    ogos agustus disember pebrero marso hunyo hulyo setyembre oktubre nobyembre disyembre janairu
    fabrairu maris afrilu mayu yuni yuli agusta satumba nuwamba disamba янв(?:ар\\w+)?
    фев(?:рал\\w+)? мар(?:та?)? апр(?:ел\\w+)? ма[йя] июн\\w? июл\\w? авг(?:уста?)?
    сент?(?:ябр\\w+)? окт(?:ябр\\w+)? ноя(?:бр\\w+)? дек(?:абр\\w+)? січ(?:ень|ня) лют(?:ий|ого)
    берез(?:ень|ня) квіт(?:ень|ня) трав(?:ень|ня) черв(?:ень|ня) лип(?:ень|ня) серп(?:ень|ня)
    верес(?:ень|ня) жовт(?:ень|ня) листопада? груд(?:ень|ня) януари февруари априла? юни юли
    септември октомври ноември декември јануара? фебруара? маја? јуна? јула? септембра? октобра?
    новембра? децембра? јануари студзен[ья] лютага сакавіка? красавіка? мая чэрвен[ья] ліпен[ья]
    жніўн[ья] верасн[ья] кастрычніка? лістапада? снежн[ья] қаңтар ақпан наурыз сәуір мамыр маусым
    шілде тамыз қыркүйек қазан қараша желтоқсан ιαν\\w+ φεβ\\w+ μ[αά]ρτ\\w+ απρ\\w+ μα[ΐϊί]ου μάιος
    ιο[υύ][νλ]\\w+ α[υύ]γο[υύ]στ\\w+ σεπτ\\w+ οκτ\\w+ νο[εέ]μβ\\w+ δεκ\\w+ يناير فبراير مارس أبريل
    ابريل مايو يونيو يوليو أغسطس اغسطس سبتمبر أكتوبر اكتوبر نوفمبر ديسمبر كانون شباط آذار نيسان أيار
    حزيران تموز آب أيلول تشرين فروردین اردیبهشت خرداد تیر مرداد شهریور مهر آبان آذر دی بهمن اسفند
    ב?ינואר ב?פברואר ב?מרץ ב?מרס ב?אפריל ב?מאי ב?יוני ב?יולי ב?אוגוסט ב?ספטמבר ב?אוקטובר ב?נובמבר
    ב?דצמבר जनवरी फरवरी फ़रवरी मार्च अप्रैल मई जून जुलाई अगस्त सितंबर सितम्बर अक्टूबर अक्तूबर नवंबर नवम्बर दिसंबर
    दिसम्बर জানুয়ারি ফেব্রুয়ারি মার্চ এপ্রিল মে জুন জুলাই আগস্ট সেপ্টেম্বর অক্টোবর নভেম্বর ডিসেম্বর ஜனவரி பிப்ரவரி
    மார்ச் ஏப்ரல் மே ஜூன் ஜூலை ஆகஸ்ட் செப்டம்பர் அக்டோபர் நவம்பர் டிசம்பர் มกราคม กุมภาพันธ์ มีนาคม เมษายน พฤษภาคม
    มิถุนายน กรกฎาคม สิงหาคม กันยายน ตุลาคม พฤศจิกายน ธันวาคม იანვ\\w+ თებერვ\\w+ მარტ\\w+ აპრილ\\w+
    მაის\\w+ ივნის\\w+ ივლის\\w+ აგვისტ\\w+ სექტემბ\\w+ ოქტომბ\\w+ ნოემბ\\w+ დეკემბ\\w+ հունվար\\w*
    փետրվար\\w* մարտ\\w* ապրիլ\\w* մայիս\\w* հունիս\\w* հուլիս\\w* օգոստոս\\w* սեպտեմբեր\\w*
    հոկտեմբեր\\w* նոյեմբեր\\w* դեկտեմբեր\\w* tháng"""
# some of them mean something else without a year beside them
FURTHER_MONTH = rf"(?:{'|'.join(FURTHER_NAMES.split())})"
AGE_UNIT = (
    r"(?:years?|yrs?|y\.? ?o\.?|jahren?|ans?|años|anos|anni|anys|ani|jaar|jr|år|ára|vuotta|vuotias|"
    r"aastat?|aastane"
    r"|gadi|gadus|metų|metai|lat|let|rokov|roků|godina|godine|god|év|éves|vjeç|urte|yaş(?:ında)?|"
    r"yıl|bliadhna|mlwydd"
    r"|лет|год[аи]?|років|рок[иів]+|години|година|жаста|жас|ετών|χρονών|წლის|տարեկան|سنة|سنه|عاما?|"
    r"ساله|سال"
    r"|שנים|שנה|साल|वर्ष|বছর|வயது|tahun|tuổi|taong gulang|miaka|shekaru|岁|歳|歲|才|세|살|ปี)"
)
AGED = (
    r"(?:-?year-?olds?|j[aä]hrige?[rns]?|-?årig\w*|-?vuotia\w+|-?aasta\w+|-?letn\w+|-?лет\w+|-?éves|-?jarige?"
    r"|-?gadīg\w+|-?річн\w+)"
)
AGE_SAID = (
    r"(?:ages?|aged|alter|edad|idade|età|eta|âge|leeftijd|ålder|alder|ikä|wiek|věk|vek|kor|életkor|vârst[aă]|yaş"
    r"|ηλικία|возраст|вік|възраст|usia|umur|umri|年龄|年齢|年齡|나이|อายุ|العمر|גיל)"
)
SAID_ABOVE_89 = (
    r"ninet(?:y|ies)|(?<!\w)(?:a |one )?hundred|nonagen|centen|neunzig|hundert|quatre-vingt-dix|"
    r"noventa|(?<!\w)cien|novanta"
    r"|(?<!\w)cento|negentig|(?<!\w)honderd|dziewięćdziesi|devadesát|deväťdesiat|devetdeset|"
    r"kilencven|nouăzeci|nitti"
    r"|halvfems|yhdeksänkymmen|doksan|девян|девет|ενεν"
)
