"""The released tables as rows of numbers, each with what would have been printed like it."""

import csv
import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import yaml

PLAN = Path(__file__).parent.parent.parent / "config"
VALUES = ("estimate", "std_error", "lower", "upper")
STEP = yaml.safe_load((PLAN / "study.yaml").read_text("utf-8"))["disclosure"][
    "round_counts"
]  # public: said on every page
COARSE = 0.05  # step of a share that is rounded more than others
FULL = 7  # decimals from which on a number was not rounded for the reader
NOBODY = (
    "published",
    "demonstration pool",
    "demonstration pool, tests can tell",
)  # printed trials; invented patients' planted truth


@dataclass(frozen=True)
class Range:
    """The least and the greatest value that would be printed so."""

    low: float
    high: float


@dataclass(frozen=True)
class Row:
    """One released estimate; counts and values that are blank are None."""

    analysis: str
    population: str
    endpoint: str
    stratum: str
    term: str
    comparison: str
    n: Range | None
    events: Range | None
    sites: int | None
    values: dict[str, Range]
    method: str
    status: str
    note: str

    @property
    def name(self) -> str:
        """The row as a person would point at it."""
        parts = (
            self.analysis,
            self.population,
            self.endpoint,
            self.stratum,
            self.term,
            self.comparison,
        )
        return " / ".join(part for part in parts if part)

    def value(self, name: str) -> float | None:
        """A value in full, None where it is blank or was rounded for the reader."""
        printed = self.values.get(name)
        return (
            (printed.low + printed.high) / 2
            if printed and printed.high - printed.low < 2 * 10**-FULL
            else None
        )


@dataclass(frozen=True)
class Release:
    """All rows of one release, and the folder they come from."""

    folder: Path
    rows: tuple[Row, ...]

    def among(self, analysis: str) -> list[Row]:
        """The rows of one analysis."""
        return [row for row in self.rows if row.analysis == analysis]

    def terms(self, like: Row) -> set[str]:
        """The terms that stand beside a row, with the same population, endpoint and stratum."""
        return self._terms[_place(like)]

    def any_usable(self, like: Row) -> bool:
        """Whether a number is given anywhere beside a row."""
        return _place(like) in self._usable

    def __post_init__(self) -> None:
        object.__setattr__(self, "_terms", defaultdict(set))
        object.__setattr__(
            self, "_usable", {_place(row) for row in self.rows if row.status == "ok"}
        )
        for row in self.rows:
            self._terms[_place(row)].add(row.term)


def read_release(results: Path, folder: str = "estimates") -> Release:
    """All tables of a results folder that tell of people in the pool;
    a column that is missing counts as blank."""
    texts = [
        text for path in sorted((results / folder).glob("*.csv")) for text in _read_table(path)
    ]
    steps = find_steps(texts)
    return Release(results, tuple(_read_row(text, steps) for text in texts))


def _place(row: Row) -> tuple[str, ...]:
    return (row.analysis, row.population, row.endpoint, row.stratum)


def _read_table(path: Path) -> Iterator[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        for text in csv.DictReader(file):
            if {"stratum", "term"} <= text.keys() and text.get("population") not in NOBODY:
                yield {
                    "analysis": path.stem,
                    **{name: value or "" for name, value in text.items() if name},
                }


def find_steps(texts: list[dict[str, str]]) -> int:
    """The step to which counts are rounded: the greatest of 10, 5, 4, 3,
    2 that divides all of many counts; 1 if none does."""
    numbers = [_whole(text.get(name, "")) for text in texts for name in ("n_episodes", "n_events")]
    counts = [count for count in numbers if count]
    return next(
        (
            step
            for step in (10, 5, 4, 3, 2)
            if len(counts) >= 20 and not any(c % step for c in counts)
        ),
        1,
    )


def _read_row(text: dict[str, str], step: int) -> Row:
    fields = (
        "analysis",
        "population",
        "endpoint",
        "stratum",
        "term",
        "comparison",
        "method",
        "status",
        "note",
    )
    sites = _whole(text.get("n_sites", ""))
    usual = _usual_decimals([text.get(name, "") for name in VALUES])
    values = {name: read_number(text[name], usual) for name in VALUES if text.get(name)}
    if text.get("rounded"):
        coarse = "estimate" in text["rounded"]
        values = {
            name: value and _read_share(text[name], value, coarse=coarse)
            for name, value in values.items()
        }
    return Row(
        **{name: text.get(name, "") for name in fields},
        n=read_count(
            text.get("n_episodes", ""), STEP if "n_episodes" in text.get("rounded", "") else step
        ),
        events=read_count(
            text.get("n_events", ""), STEP if "n_events" in text.get("rounded", "") else step
        ),
        sites=sites,
        values={name: value for name, value in values.items() if value},
    )


def read_count(text: str, step: int = 1) -> Range | None:
    """A count as printed: a whole number, `<11`, `11+` or `11-20`; a number rounded to a step,
    halves upwards, may have been half a step away."""
    count = _whole(text)
    if count is not None:
        return (
            Range(count, count)
            if step == 1 or count == 0
            else Range(max(count - step // 2, 0), count + (step - 1) // 2)
        )
    for pattern, low, high in (
        (r"<\s*(\d+)", 0, -1),
        (r"(\d+)\s*\+", 0, None),
        (r"(\d+)\s*[-–]\s*(\d+)", 0, 0),
    ):
        match = re.fullmatch(pattern, text.strip())
        if match:
            ends = [int(end) for end in match.groups()]
            return Range(
                0 if high == -1 else ends[0] + low, 10**6 if high is None else ends[-1] + high
            )
    return None


def read_number(text: str, usual: int) -> Range | None:
    """A number as printed, to half its last decimal.

    Zeros at the end are left off by who writes tables: a whole number has `usual` decimals, and
    every number of a row in which one was printed in full.
    """
    try:
        value = float(text)
    except ValueError:
        return None
    decimals = _decimals(text)
    half = 0.5 * 10 ** -(usual if usual >= FULL or value == int(value) else decimals)
    return Range(value - half, value + half)


def _read_share(text: str, printed: Range, *, coarse: bool) -> Range:
    """A share of a release that rounds: it has two decimals, be the last one nought,
    and where it is said to be rounded steps of .05."""
    value = float(text)
    half = COARSE / 2 if coarse else 0.005
    return (
        Range(value - half, value + half)
        if abs(value) <= 1 and (coarse or printed.high - printed.low > 2 * half)
        else printed
    )


def _usual_decimals(texts: list[str]) -> int:
    """The fewest decimals of the numbers of a row that are not whole; 1 where there are none."""
    decimals = [
        _decimals(text) for text in texts if _is_number(text) and float(text) != int(float(text))
    ]
    return (
        max(decimals, default=1) if max(decimals, default=0) >= FULL else min(decimals, default=1)
    )


def _decimals(text: str) -> int:
    digits, _, power = text.lower().partition("e")
    return max(len(digits.partition(".")[2]) - int(power or 0), 0)


def _is_number(text: str) -> bool:
    try:
        return abs(float(text)) < 1e12
    except ValueError:
        return False


def _whole(text: str) -> int | None:
    return int(float(text)) if re.fullmatch(r"\d+(\.0+)?", text.strip()) else None
