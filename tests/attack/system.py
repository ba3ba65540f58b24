"""What is known of the counts of a release: bounds of sums of them,
and lists of what some of them can be together."""

from dataclasses import dataclass, field

from tests.attack.groups import Sum, less, read_name
from tests.attack.readings import (
    Reader,
    Reading,
    read_adverse,
    read_agreement,
    read_apart,
    read_description,
    read_failures,
    read_flow,
    read_handicap,
    read_ledger,
    read_measures,
    read_own,
    read_recurrence,
)
from tests.attack.readings_choices import (
    read_attempts,
    read_first_choice,
    read_paths,
    read_second_line,
)
from tests.attack.readings_courses import (
    read_curves,
    read_delays,
    read_events,
    read_joint,
    read_monitoring,
    read_pooling,
    read_published,
    read_regression,
    read_variation,
)
from tests.attack.released import Range, Release, Row

READERS: dict[str, Reader] = {
    "episode_flow": read_flow,
    "denominators": read_ledger,
    "pool_description": read_description,
    "non_positional": read_apart,
    "diagnosis_agreement": read_agreement,
    "failure_reasons": read_failures,
    "resolution_curves": read_curves,
    "resolution_regression": read_regression,
    "attempt_success": read_attempts,
    "first_choice": read_first_choice,
    "adverse_events": read_adverse,
    "technique": lambda row, _: read_own(row),
    "second_line": read_second_line,
    "first_courses": lambda row, _: read_own(row),
    "strategies": lambda row, _: read_own(row),
    "weighted_strategies": lambda row, _: read_own(row),
    "sequence_paths": read_paths,
    "handicap_change": read_handicap,
    "recurrence": read_recurrence,
    "competing_events": read_events,
    "site_pooling": read_pooling,
    "first_test_delay": read_delays,
    "quality_measures": read_measures,
    "joint_resolution": read_joint,
    "joint_prediction": lambda row, _: read_own(row),
    "site_monitoring": read_monitoring,
    "published_comparison": read_published,
    "sensitivity": read_variation,
    "model_agreement": lambda row, _: read_own(row),
}
SMALL, ENOUGH = 10, 5
STATUSES = (
    ("resolution_curves", "fewer than 11 episodes", "n", SMALL),
    ("resolution_curves", "fewer than 5 resolutions", "events", ENOUGH - 1),
    ("diagnosis_agreement", "fewer than 11 episodes", "n", SMALL),
    ("failure_reasons", "fewer than 11 episodes", "n", SMALL),
    ("published_comparison", "fewer than 11 episodes", "n", SMALL),
    ("sequence_paths", "fewer than 11 episodes", "events", SMALL),
    ("competing_events", "fewer than 5 events", "events", ENOUGH - 1),
)
EVERYBODY = 10**6


@dataclass(frozen=True)
class Rule:
    """A sum of counts that lies between `low` and `high`, and why."""

    total: dict[str, float]
    low: float
    high: float
    why: str


@dataclass(frozen=True)
class Choice:
    """Counts that are together one of the `rows`, and why."""

    names: tuple[str, ...]
    rows: tuple[tuple[int, ...], ...]
    why: str


@dataclass(frozen=True)
class Question:
    """A group of people of which is asked how many they are;
    `kind` says where an answer of 1 to 10 would come from."""

    total: Sum
    kind: str
    source: str


@dataclass
class System:
    """Everything that is known, and everything that is asked. Counts are whole and not negative.

    `referred` has the base and the word of each covariate whose reference class was named, so that
    all of its classes are.
    """

    rules: dict[tuple, Rule] = field(default_factory=dict)
    printed: set[str] = field(default_factory=set)
    referred: set[tuple[str, str]] = field(default_factory=set)
    choices: list[Choice] = field(default_factory=list)
    questions: dict[tuple, Question] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    readings: list[tuple[Row, Reading]] = field(default_factory=list)

    def bound(self, total: Sum | dict[str, float], low: float, high: float, why: str) -> None:
        """A sum of counts lies between two numbers; of two such statements on one sum both hold."""
        total = {name: times for name, times in total.items() if times}
        if not total:
            return
        key = tuple(sorted(total.items()))
        known = self.rules.get(key)
        if known:
            tighter = low > known.low or high < known.high
            low, high, why = (
                max(low, known.low),
                min(high, known.high),
                why if tighter else known.why,
            )
        else:
            self.names.update(total)
        self.rules[key] = Rule(dict(total), low, high, why)

    def equal(self, one: Sum, other: Sum, why: str) -> None:
        """Two sums are the same."""
        self.bound(less(one, other), 0, 0, why)

    def within(self, part: Sum, whole: Sum, why: str, kind: str | None = None) -> None:
        """All of a part belong to the whole; with a `kind` the rest is asked for."""
        self.bound(less(whole, part), 0, EVERYBODY, why)
        if kind:
            self.ask(less(whole, part), kind, why)

    def ask(self, total: Sum, kind: str, source: str) -> None:
        """How many are these? Each sum is asked for once."""
        if total and any(number > 0 for number in total.values()):
            self.names.update(total)
            self.questions.setdefault(tuple(sorted(total.items())), Question(total, kind, source))


def build_system(release: Release) -> System:
    """The counts that the rows print, and questions for those that are blank."""
    system = System()
    for row in release.rows:
        reading = READERS.get(row.analysis, lambda row, _: read_own(row))(row, release)
        if reading:
            system.readings.append((row, reading))
            _take_in(system, row, reading)
    return system


def _take_in(system: System, row: Row, reading: Reading) -> None:
    for value, group, kind in (
        (row.n, reading.n, "episodes"),
        (row.events, reading.events, "events"),
    ):
        if group is None:
            continue
        system.names.update(group)
        if value:
            system.bound(group, value.low, value.high, f"printed: {kind} of {row.name}")
            system.printed.update(group if len(group) == 1 else ())
            _ask_open(system, row, value, group)
        else:
            system.ask(group, "hidden cell", f"{kind} of {row.name}")
    once = row.analysis != "attempt_success" or row.stratum in (
        "attempt_number=1",
        "attempt_number=2",
        "attempt_number=3",
    )
    if reading.n and reading.events and once:
        system.within(
            reading.events, reading.n, f"episodes without event of {row.name}", "rest of a row"
        )
    for other in reading.others:
        system.bound(other, 0, EVERYBODY, f"named beside {row.name}")
        system.referred.update(
            (read_name(name)[0], word) for name in other for word in read_name(name)[1]
        )
    if reading.sites is not None and row.sites is not None:
        high = EVERYBODY if row.sites else 0
        system.bound(reading.sites, row.sites, high, f"at least one of each site of {row.name}")
    _read_status(system, row, reading)


def _ask_open(system: System, row: Row, value: Range, group: Sum) -> None:
    if value.low >= 1 and value.high <= SMALL:
        system.ask(group, "open cell", f"printed in {row.name}")


def _read_status(system: System, row: Row, reading: Reading) -> None:
    """What a status says of the counts behind it: the guards are public."""
    for analysis, words, what, high in STATUSES:
        group = getattr(reading, what)
        if (
            row.analysis == analysis
            and row.status == "too_few"
            and row.note.startswith(words)
            and group
        ):
            system.bound(group, 0, high, f"status of {row.name}")
