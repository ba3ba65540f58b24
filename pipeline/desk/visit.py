"""One episode as it is typed on the page, in the order of a visit: the fields, which are those of
the dictionary, and the rows that are made of them."""

from collections.abc import Iterable, Mapping
from typing import Any

from pipeline.coordinator.append import Rows
from pipeline.coordinator.entry_rules import write_hint
from schemas.delivery import MIDLINE_TESTS, SIGNS, TABLES
from schemas.dictionary import Entry
from schemas.maneuver import Maneuver

# what an ordinary episode needs, in the order of a visit; all other columns follow under "more"
HISTORY = (
    *("episode_id", "patient_id", "age_years", "sex", "index_year", "onset_day"),
    *("prior_episodes", "cause", "provoked_by_lying_or_turning", "attack_s"),
)
# no to all of them is one answer; the fall of the blood pressure must have been measured
OTHER_CAUSES = (
    *("focal_neurological_sign", "spontaneous_vertical_nystagmus"),
    *("spontaneous_horizontal_nystagmus", "gaze_evoked_nystagmus", "cannot_stand"),
    *("severe_headache_or_neck_pain", "new_hearing_change", "symptoms_only_on_standing"),
    *("continuous_24h", "attacks_over_2min", "migraine_features_with_attacks"),
)
DIAGNOSIS = ("recorded_canal", "recorded_side", "recorded_mechanism", "recorded_arm", "arm_basis")
ENDING = ("other_diagnosis", "other_diagnosis_day")
OF_ROW = {
    "examinations": ("test", "side", "result", *SIGNS),
    "treatments": ("maneuver", "side", "setting", "performed_by", "completed", "adverse"),
    "followups": ("day", "contact", "positional_symptoms", "end_of_followup"),
}
OF_VISIT = ("day", "reason")  # once for all rows of a visit
# what follows from where a row stands
NUMBERED = {
    "examinations": ("episode_id", "examination", "after_attempt", *OF_VISIT),
    "treatments": ("episode_id", "attempt", "day"),
    "followups": ("episode_id",),
}
MOST_LETTERS, MOST_ROWS = 200, 200

Fields = list[dict[str, Any]]


class NoVisit(Exception):
    """What came is not what the page sends."""


def describe_visit(
    entries: Iterable[Entry], labels: Mapping[str, str], maneuvers: Mapping[str, Maneuver]
) -> dict[str, Any]:
    """Describe the fields for `reports/desk_visit.html.j2`.

    Parameters
    ----------
    entries
        The current dictionary.
    labels
        Short labels of columns whose meaning is too long for one.
    maneuvers
        The plan's list, of which the side follows.

    Returns
    -------
    dict
        The fields of each part, and what follows from what.
    """
    known = {(entry.table, entry.column): entry for entry in entries}

    def pick(table: str, columns: Iterable[str]) -> Fields:
        return [describe_field(known[table, column], labels) for column in columns]

    def pick_others(table: str, *named: tuple[str, ...]) -> Fields:
        taken = {column for columns in named for column in columns}
        return pick(table, (c for t, c in known if t == table and c not in taken))

    return {
        "history": pick("episodes", HISTORY),
        "more_history": pick_others("episodes", HISTORY, OTHER_CAUSES, DIAGNOSIS, ENDING),
        "other_causes": pick("episodes", OTHER_CAUSES),
        "diagnosis": pick("episodes", DIAGNOSIS),
        "ending": pick("episodes", ENDING),
        "of_visit": pick("examinations", OF_VISIT),
        "rows": {
            table: {
                "fields": pick(table, columns),
                "more": pick_others(table, columns, NUMBERED[table]),
            }
            for table, columns in OF_ROW.items()
        },
        "midline": MIDLINE_TESTS,
        "signs": SIGNS,
        "unsided": [code for code, m in maneuvers.items() if m.treats and not m.sided],
        "one_ear": [code for code, m in maneuvers.items() if m.treats == "one_ear"],
    }


def describe_field(entry: Entry, labels: Mapping[str, str]) -> dict[str, Any]:
    """One field: its label, what is said of it, and what may be chosen."""
    short = entry.meaning.partition(";")[0]
    short = short.partition(": ")[2] or short  # without what kind of question it is
    label = labels.get(entry.column) or short[0].upper() + short[1:]
    told = entry.unit and entry.unit not in label
    return {
        "column": entry.column,
        "label": f"{label} ({entry.unit})" if told else label,
        "hint": write_hint(entry),
        "needed": entry.needed,
        "numeric": entry.kind in ("whole number", "number"),
        "several": entry.several,
        "codes": [(code, "" if code == says else says) for code, says in entry.codes.items()],
    }


def make_rows(typed: Any) -> Rows:
    """Make the rows of an episode.

    Parameters
    ----------
    typed
        What the page sends: `episode`, `visits`, each with `day`, `reason` and the rows `before`,
        `attempts` and `after`, and `contacts`. Empty fields are left out.

    Returns
    -------
    dict
        Rows by table, each table in the order in which its rows were typed. A visit's tests before
        its maneuvers are one examination, those after them the next; a test that is repeated
        within one begins another.

    Raises
    ------
    NoVisit
        If it is something else.
    """
    try:
        episode = read_row(typed["episode"], "episodes")
        own = {"episode_id": episode["episode_id"]} if "episode_id" in episode else {}
        tests: list[dict[str, str]] = []
        attempts: list[dict[str, str]] = []
        numbers: dict[str, int] = {}  # of the last examination of each day
        for visit in typed["visits"]:
            of_visit = read_row({n: visit[n] for n in OF_VISIT if n in visit}, "examinations")
            day = {name: text for name, text in of_visit.items() if name == "day"}
            reason = {name: text for name, text in of_visit.items() if name == "reason"}
            before = [read_row(row, "examinations") for row in visit["before"]]
            given = [read_row(row, "treatments") for row in visit["attempts"]]
            after = [read_row(row, "examinations") for row in visit["after"]]
            last = {"after_attempt": str(len(attempts) + len(given) if given else 0)}
            placed = [
                *number_examinations(before, day, numbers, {"after_attempt": "0"}),
                *number_examinations(after, day, numbers, last),
            ]
            tests += [own | row | (reason if n == 0 else {}) for n, row in enumerate(placed)]
            attempts += [
                own | day | {"attempt": str(number)} | row
                for number, row in enumerate(given, len(attempts) + 1)
            ]
        contacts = [own | read_row(row, "followups") for row in typed["contacts"]]
    except (AttributeError, KeyError, TypeError) as fault:
        raise NoVisit from fault
    rows = {
        "episodes": [episode],
        "examinations": tests,
        "treatments": attempts,
        "followups": contacts,
    }
    if max(map(len, rows.values())) > MOST_ROWS:
        raise NoVisit
    return rows


def number_examinations(
    tests: list[dict[str, str]],
    day: dict[str, str],
    numbers: dict[str, int],
    place: dict[str, str],
) -> list[dict[str, str]]:
    """The tests of one examination with their order within the day; `numbers` are raised."""
    on, placed = day.get("day", ""), []
    seen: set[tuple[str | None, str | None]] = set()
    for n, test in enumerate(tests):
        key = (test.get("test"), test.get("side"))
        if n == 0 or key in seen:
            numbers[on] = numbers.get(on, 0) + 1
            seen = set()
        seen.add(key)
        placed.append(day | {"examination": str(numbers[on])} | place | test)
    return placed


def read_row(row: Mapping[str, str], table: str) -> dict[str, str]:
    """The fields of one row; raises NoVisit if one is not of the table, or holds no short text."""
    columns = TABLES[table].describe()
    read = {name: text.strip() for name, text in row.items()}
    if not set(read) <= set(columns) or any(len(text) > MOST_LETTERS for text in read.values()):
        raise NoVisit
    return {name: text for name, text in read.items() if text}
