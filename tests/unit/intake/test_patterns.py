"""What looks like an identifier and what does not.

Numbers, names and addresses are those that are kept for fiction or documentation.
"""

import pytest

from pipeline.intake.identifiers import (
    find_identifier,
)
from pipeline.intake.patterns import DATE_CELL
from schemas.delivery import TABLES

# example.org: RFC 2606. 192.0.2.0/24: RFC 5737. 2001:db8::/32: RFC 3849. 202-555-01xx and 020 7946
# 0xxx: numbers kept for drama by the North American numbering plan and by Ofcom. 987-65-4320 to
# 4329: social security numbers kept for
# advertisements (all from memory).
IDENTIFIERS = {
    "calendar_date": [
        "2024-03-14",
        "2024/3/14",
        "14.03.2024",
        "3/14/2024",
        "14/3/24",
        "14. 3. 2024",
        "2024-03-14T10:30:00",
        "20240314",
        "14 March 2024",
        "March 14, 2024",
        "14. März",
        "le 14 août 2024",
        "14 de marzo de 2024",
        "Mar-24",
        "12-Dec-2023",
        "2024-03",
        "03/2024",
        "2024-W11",
        "2024年3月14日",
        "١٤/٠٣/٢٠٢٤",
        *(
            "2024. 3. 17.",
            "2024. gada 17. marts",
            "2024 m. kovo 17 d.",
            "17. ožujka 2024",
            "17 марта 2024 г.",
            "17 березня 2024",
            "17. března 2024",
            "2024. március 17.",
        ),
        *(
            "17 Mart 2024",
            "17. maaliskuuta 2024",
            "17 martie 2024",
            "17 Μαρτίου 2024",
            "17 Machi 2024",
            "17 มีนาคม 2567",
            "17/03/2567",
            "1403/12/27",
            "१७ मार्च २०२४",
            "17 মার্চ 2024",
        ),
        *(
            "ngày 17 tháng 3 năm 2024",
            "2024년 3월 17일",
            "二〇二四年三月十七日",
            "17. Mrz. 24",
            "2024W117",
            "март 2024",
            "7 Ramadan 1445",
        ),
        DATE_CELL,
    ],
    "telephone_number": [
        "202-555-0143",
        "(202) 555-0143",
        "+44 20 7946 0958",
        "020 7946 0958",
        "555-0143",
        "+442079460958",
        "tel 555 0143",
        *(
            "8 (495) 482-13-90",
            "8-800-482-13-90",
            "(061) 482-1390",
            "tel. 22 482 139",
            "tlf 48 21 39 07",
            "моб. 067 482 13 90",
            "0(212) 482 13 90",
        ),
    ],
    "email_address": ["a.person@example.org", "write to a.person@example.org now"],
    "web_address": [
        "https://example.org/p/1",
        "www.example.org",
        "example.org",
        "records.example.com",
    ],
    "ip_address": ["192.0.2.17", "from 192.0.2.17", "2001:db8:0:0:0:0:0:17", "2001:db8::17"],
    "long_number": [
        *("4471992", "MRN4471992", "987-65-4320", "MRN 482133", "ID 4711", "001234"),
        *(
            "NHC 482139",
            "cod. 482139-B",
            "HC nº 482139",
            "dossier 48213",
            "cartella n. 48213",
            "kartoteka 48213",
            "č. karty 4821/24",
            "dosya no 4821",
            "карта № 4821",
            "история болезни 4821",
        ),
        *(
            "UHID 482139",
            "OPD/4821/24",
            "病历号 48213",
            "カルテ番号 48213",
            "차트번호 48213",
            "Reg.nr 482139",
            "AMKA 48213",
            "fișă nr. 4821",
            "kortelė Nr. 4821",
            "210852-482X",
            "525821/482",
            "14.821.390-7",
        ),
    ],
    "postcode": [
        *("SW1A 1AA", "sw1a1aa", "K1A 0B1", "D-10115", "10115 Berlin"),
        *(
            "MA 02482",
            "IL 60614-4821",
            "LV-4821",
            "LT-48213",
            "SE-482 13",
            "〒482-1390",
            "postnr 4821",
            "PLZ 4821",
            "CEP 48213",
            "Τ.Κ. 48213",
            "邮编 482139",
            "C4821KVA",
        ),
    ],
    "age_above_89": [
        "91 Jahre",
        "93 ans",
        "94 años",
        "97 vuotta",
        "91 lat",
        "94 yaşında",
        "94세",
        "93 साल",
        "101a 3m",
        "92-jährig",
        "95 year old",
        "age: 97",
        "вік 94",
        "91 год",
    ],
    "free_text": [
        "Mr Person",
        "Dr. med. Example",
        "patient: Example",
        "Examplestraße 12",
        "x" * 201,
    ],
}
PLAIN = [
    *(
        "7",
        "-3",
        "12.5",
        "12,5",
        "2024",
        "9999",
        "0.30000000000000004",
        "1e-05",
        "90+",
        ".1234567",
        "001",
        "S03",
        "yes",
        "femal",
        "20 s",
        "10-20",
    ),
    *(
        "Epley maneuver",
        "half Dix-Hallpike test",
        "head trauma",
        "01:30:00",
        "true",
        "#N/A",
        "3 sets",
        "n/a",
        "-",
        "?",
    ),
    *(
        "phone call",
        "fell at home",
        "2021-2026",
        "100-1200",
        "30-60-90-120",
        "45 90 90 45",
        "3/10",
        "1/2",
        "12/03",
        "yes.no",
        "120 ms max",
        "2000 steps",
    ),
    *(
        "250 500 1000 Hz",
        "500 1000 2000 4000",
        "12 (34) 56",
        "120-45-90",
        "30 (2) 10",
        "89 Jahre",
        "90 days",
        "90 years and older",
        "18-99 years",
        "up to 99 years",
        "90+ Jahre",
        "over 90 years",
    ),
    *(
        "journal 2024",
        "kod 12",
        "cod. 3",
        "code 1234",
        "reg 12",
        "4821KV",
        "4821 KV",
        "5 episodes 2024",
        "mart test",
        "2.1.",
        "7. mart",
        "карта 2024",
        "индекс 4821",
        "OK 10000",
    ),
    *(
        "mobile 3",
        "phone 2 times",
        "tel 12",
        "post 12",
        "zip lock",
        "Office for Mac 2019",
        "Spalte 2024",
        "interval 10",
        "aralık 10",
    ),
    *(
        "Patient Declined",
        "as PT-0031",
        "RO-0042",
        "week 4",
        "10115",
        "1012 AB",
        "12-345",
        "45365",
        "10000",
        "no 123456",
        "Example Person",
        "x" * 41,
        "1.2.3",
        "2x 60 sec",
    ),
]


@pytest.mark.parametrize(
    ("kind", "text"), [(kind, text) for kind, texts in IDENTIFIERS.items() for text in texts]
)
def test_identifiers_are_recognised(kind, text):
    assert find_identifier(text) == kind


@pytest.mark.parametrize("text", PLAIN)
def test_plain_cells_are_not(text):
    assert find_identifier(text) is None


def test_no_code_column_name_or_example_of_the_dictionary_is_an_identifier():
    columns = [column for model in TABLES.values() for column in model.describe().values()]
    texts = [text for column in columns for text in (column.name, *(column.codes or ()))]
    texts += [column.example for column in columns if not column.name.endswith("_id")]
    assert [text for text in texts if find_identifier(text)] == []
