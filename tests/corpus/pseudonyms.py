"""Pseudonyms that carry what they should hide, and columns of identifiers of invented persons."""

import csv
import random
from pathlib import Path

from tests.corpus.base import Tables, make_tables
from tests.corpus.case import Case, draw_for
from tests.corpus.delivery import Delivery
from tests.corpus.half import DATA, read_entries

WHERE = ("patient of every row", "patient of one row", "episode of every row")


def read_persons() -> list[dict[str, str]]:
    """The invented persons; the same for both halves."""
    with (DATA / "persons.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def list_pseudonym_cases(held_out: Path | None) -> list[Case]:
    """Every pattern as the pseudonym of all patients, of one patient, and of all episodes."""
    return [
        _case(row["text"], row["what"], place)
        for row in read_entries("pseudonyms", held_out)
        for place in WHERE
    ]


def fill_pattern(pattern: str, person: dict[str, str], number: int, draw: random.Random) -> str:
    """A pseudonym of that pattern for a person: parts of the name, of the birth date,
    and random digits."""
    year, month, day = person["born"].split("-")
    given, family = person["given"], person["family"]
    parts = {
        **{
            "FAMILY": family,
            "GIVEN": given,
            "F": family[0],
            "G": given[0],
            "FAM": family[:3],
            "FAM4": family[:4],
        },
        **{
            "GIV": given[:3],
            "AILYF": family[::-1],
            "yyyy": year,
            "mm": month,
            "dd": day,
            "yy": year[2:],
        },
        **{
            "ddmmyy": day + month + year[2:],
            "ddmmyyyy": day + month + year,
            "yyyymmdd": year + month + day,
        },
        **{
            "yymmdd": year[2:] + month + day,
            "yyyy2": str(draw.randint(2021, 2025)),
            "age": str(2024 - int(year)),
        },
        **{"n": number, "A": draw.choice("ABCDEGHK")},
        **{
            f"n{size}": str(draw.randint(10 ** (size - 1), 10**size - 1))
            for size in (2, 3, 4, 6, 7, 8, 9, 10)
        },
    }
    return pattern.format(**parts)[:24]


def _case(pattern: str, what: str, place: str) -> Case:
    persons, draw = read_persons(), draw_for(pattern + place)
    filled = [fill_pattern(pattern, persons[n % len(persons)], n + 1, draw) for n in range(12)]
    if place == WHERE[1]:
        filled = filled[:1]
    if len(set(filled)) < len(filled):
        filled = [f"{text}-{n}"[:24] for n, text in enumerate(filled, start=1)]

    def build(site: str) -> list[Delivery]:
        tables = make_tables(site)
        if place == WHERE[2]:
            rename_episodes(tables, filled)
        else:
            for row, text in enumerate(filled, start=5 if place == WHERE[1] else 2):
                tables.put("episodes", row, "patient_id", text)
        return [Delivery(tables, "csv" if len(pattern) % 2 else "xlsx")]

    name = f"pseudonym/{place}/{pattern}"
    return Case("identifiers", name, f"pseudonym: {place}", build, tuple(filled), detail=what)


def rename_episodes(tables: Tables, names: list[str]) -> None:
    """Give the episodes other names, in all tables."""
    old = [row[0] for row in tables.rows["episodes"][1:]]
    new = dict(zip(old, names, strict=True))
    for table in ("episodes", "examinations", "treatments", "followups"):
        tables.fill(table, "episode_id", lambda name: new[name])


def make_values(holds: str, seed: str) -> list[str]:
    """Twelve values of that kind, of the invented persons."""
    draw, made = draw_for(seed), []
    for person in read_persons()[:12]:
        year, month, day = person["born"].split("-")
        family = person["family"].capitalize()
        made.append(
            {
                "name": family,
                "initials": f"{person['given'][0]}{person['family'][0]}{draw.randint(10, 99)}X",
                "number": str(draw.randint(100000, 9999999)),
                "date": draw.choice(
                    [f"{day}.{month}.{year}", f"{year}{month}{day}", f"{day}{month}{year[2:]}"]
                ),
                "telephone": f"0{draw.randint(10, 99)} {draw.randint(100000, 999999)}",
                "address": f"{family}weg",
                "postcode": str(draw.randint(10000, 99999)),
                "email": f"{family.lower()}@example.org",
                "remark": f"kennt {family}",
                "position": f"{draw.randint(40, 60)}.{draw.randint(1000, 9999)}",
                "network": f"198.51.100.{draw.randint(10, 250)}",
            }[holds]
        )
    return made
