"""What must hold between the counts of groups, whatever the data: parts add up,
parts are no larger than wholes, days do not run back."""

import itertools
from collections import defaultdict
from collections.abc import Iterator, Mapping

from tests.attack.groups import RESTS, Sum, add, count, name_group, read_name
from tests.attack.readings import EVER, RECOGNISED
from tests.attack.readings_courses import KNOWN
from tests.attack.system import EVERYBODY, System

FLOW = (
    ("handed_in", ("refused", "set_aside", "stored")),
    ("stored", ("positional", "probable_non_positional", "undetermined")),
    ("positional", ("untreated", "treated")),
    ("treated", ("incomplete_record", "never_positive", "complete")),
    ("complete", ("not_tested_again", "followed")),
    (
        "first maneuver failed or unseen",
        ("first maneuver failed", "first maneuver failed or unseen[reason=never_tested_again]"),
    ),
)
OUTSIDE = {  # each base, and that of which it is a part
    "stored": "handed_in",
    "patients": "stored",
    "positional": "stored",
    "treated": "positional",
    "complete": "treated",
    "followed": "complete",
    "first maneuver failed": "treated",
    "stood at a choice": "first maneuver failed",
    "repeated or changed": "stood at a choice",
}
# Of a base: the words (and those with which it must stand beside) whose values are all listed, so
# that they add up.
SPREAD = {
    "stored": {(): ("sex", "age", "cause")},
    "probable_non_positional": {(): ("recognition",)},
    "positional": {(): ("canal", "side", "arm", "mechanism", "certainty")},
    "treated": {(): ("first_maneuver", "setting", "site")},
    "complete": {(): ("canal",)},
    "informative": {(): ("canal",)},
    "followed": {
        (): (
            "canal",
            "arm",
            "mechanism",
            "first_maneuver",
            "sex",
            "onset",
            "prior",
            "cause",
            "site",
        ),
        ("canal",): ("arm", "mechanism"),
        ("arm",): ("canal",),
        ("mechanism",): ("canal",),
    },
    "first sessions tested again": {(): ("site",)},
    "first sessions tested again, in the model": {(): ("canal",)},
    "successes": {(): ("attempt_number", "fit", "previous")},
    "sessions": {(): ("attempt_number", "fit", "previous")},
    "stood at a choice": {(): ("choice",), ("variant",): ("choice",)},
    "resolved, then seen again": {(): ("canal",)},
    **{f"with a total near day {day}": {(): ("canal", "resolution")} for day in (0, 7, 30, 90)},
    **{f"{part} named twice": {(): ("site",)} for part in ("canal", "side", "arm", "mechanism")},
}
COVARIATES = {"followed": ("sex", "onset", "prior", "cause")}
EVENTS = (
    *KNOWN.values(),
    "at_risk",
    "tested_by",
    "first",
    "returned_by",
    "seen",
    "agree",
    "success",
)
# Whoever is in the first base is in the second, whatever else holds of them.
INSIDE = (
    ("treated", "positional"),
    ("complete", "treated"),
    ("informative", "complete"),
    ("followed", "informative"),
    ("followed", "complete"),
    ("followed", "treated"),
    ("followed", "positional"),
    ("followed", "followed, undetermined_included"),
    ("followed, suspected_left_out", "followed"),
    ("followed", "followed, probable_non_positional_included"),
    ("reclassified_later", "positional"),
    ("first maneuver failed", "treated"),
    ("resolved, then seen again", "followed"),
)
# each comparison leaves out by itself who has next to no probability of a choice
TRIMMED = ("variant", "change_to")
NOT_READ_ALIKE = (
    "first_maneuver",
    "path",
    "end",
    "next",
    "first",
    "fits",
    "later_flag",
    "compared",
    "pooled",
)
RISING = ("recognised_by", "resolved_by", "tested_by", "untested_from", "returned_by", "below")
FALLING = ("recognised_after", "at_risk", "positive_from", "fell")


def add_identities(system: System) -> None:
    """All equations that follow from what the names mean."""
    for whole, parts in FLOW:
        system.equal(
            count(whole) if "[" not in whole else {whole: 1},
            add(*({part: 1} for part in parts)),
            "flow",
        )
    for part, whole in OUTSIDE.items():
        system.equal(count(whole), add(count(part), count(f"not in {part}")), f"{part} and others")
    members = gather(system)
    for base, words in SPREAD.items():
        for beside, keys in words.items():
            for key in keys:
                if _is_whole(system, members[base], base, key):
                    _spread(system, members[base], base, beside, key)
    system.equal(
        count("probable_non_positional", recognised_by=EVER),
        count("probable_non_positional", recognition=RECOGNISED),
        "recognised before or after a maneuver",
    )
    for day in find_recognised_days(system):
        system.equal(
            count("probable_non_positional", recognised_by=EVER),
            add(
                count("probable_non_positional", recognised_by=day),
                count("probable_non_positional", recognised_after=day),
            ),
            f"recognised by day {day} or after it",
        )
    _order_days(system)
    for part, whole in INSIDE:
        _put_inside(system, part, whole)
    _put_under_fewer_words(system)


def find_recognised_days(system: System) -> list[str]:
    """The days after which it is told how many more were recognised."""
    days = (read_name(name)[1].get("recognised_after") for name in system.names)
    return sorted({day for day in days if day})


def gather(system: System) -> dict[str, list[dict[str, str]]]:
    """Of each base what holds of its groups."""
    members = defaultdict(list)
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        members[base].append(narrowed)
    return members


def _is_whole(system: System, members: list[dict[str, str]], base: str, key: str) -> bool:
    """Whether all values of a word are named: of a covariate the reference too,
    and none of them only together as small."""
    referred = (base, key) in system.referred or key not in COVARIATES.get(base, ())
    return referred and not any(f"{key}, small classes" in narrowed for narrowed in members)


def _spread(
    system: System, members: list[dict[str, str]], base: str, beside: tuple[str, ...], key: str
) -> None:
    """The values of a word add up to the group without the word, and so do their events."""
    values, events = defaultdict(set), defaultdict(set)
    for narrowed in members:
        event = tuple((word, value) for word, value in narrowed.items() if word in EVENTS)
        kept = {word: value for word, value in narrowed.items() if word not in EVENTS}
        value = kept.pop(key, None)
        context = tuple(sorted(kept.items()))
        if set(kept) == set(beside):
            events[context].add(event)
            if value is not None:
                values[context].add(value)
    for context, listed in values.items():
        listed = listed | (
            {"short"} if key == "arm" and base == "followed" and not beside else set()
        )
        for event in events[context]:
            narrowed = dict(context) | dict(event)
            parts = [{name_group(base, narrowed | {key: value}): 1} for value in sorted(listed)]
            why = f"{key} of {name_group(base, dict(context))} adds up"
            system.equal({name_group(base, narrowed): 1}, add(*parts), why)
            _ask_rest(system, {name_group(base, narrowed): 1}, parts, why)


def _ask_rest(system: System, whole: Sum, parts: list[Sum], why: str) -> None:
    """The parts that are not printed, together."""
    hidden = [part for part in parts if not set(part) <= system.printed]
    if len(hidden) > 1:
        system.ask(add(*hidden), "hidden cells together", why)


def _order_days(system: System) -> None:
    """Who is resolved by a day is so by the next; who is at risk on a day was so before;
    and nobody is both."""
    chains: Mapping[tuple, list] = defaultdict(list)
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        for word in (*RISING, *FALLING):
            if word in narrowed:
                rest = {key: value for key, value in narrowed.items() if key != word}
                chains[base, tuple(sorted(rest.items())), word].append(narrowed[word])
    for (base, rest, word), values in chains.items():
        narrowed = dict(rest)
        ordered = sorted(values, key=_as_day, reverse=word in FALLING)
        links = [{name_group(base, narrowed | {word: value}): 1} for value in ordered] + [
            {name_group(base, narrowed): 1}
        ]
        for part, whole in itertools.pairwise(links):
            system.within(
                part, whole, f"{word} of {name_group(base, narrowed)}", "difference of two groups"
            )
    _part_resolved_and_at_risk(system, chains)
    _add_up_what_is_known(system, chains)


def _add_up_what_is_known(system: System, chains: Mapping[tuple, list]) -> None:
    """On each day the four parts of what is known make up the whole."""
    for (base, rest, word), days in chains.items():
        if word == "positive_from":
            for day in days:
                narrowed = dict(rest)
                parts = [{name_group(base, narrowed | {known: day}): 1} for known in KNOWN.values()]
                why = f"what is known on day {day} adds up: {name_group(base, narrowed)}"
                system.equal({name_group(base, narrowed): 1}, add(*parts), why)
                _ask_rest(system, {name_group(base, narrowed): 1}, parts, why)


def _part_resolved_and_at_risk(system: System, chains: Mapping[tuple, list]) -> None:
    for (base, rest, word), days in chains.items():
        if word != "at_risk" or base.startswith("resolved, then"):
            continue
        narrowed = dict(rest)
        whole = {name_group(base, narrowed): 1}
        if "0" in days:
            system.equal(
                {name_group(base, narrowed | {"at_risk": "0"}): 1},
                whole,
                "all are at risk on day 0",
            )
        for day in set(days) & set(chains.get((base, rest, "resolved_by"), [])):
            both = add(
                *(
                    {name_group(base, narrowed | {key: day}): 1}
                    for key in ("at_risk", "resolved_by")
                )
            )
            system.within(
                both,
                whole,
                f"gone from sight before day {day}: {name_group(base, narrowed)}",
                "difference of two groups",
            )


def _put_inside(system: System, part: str, whole: str) -> None:
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        alike = (
            base == part
            and not set(narrowed) & {*EVENTS, *NOT_READ_ALIKE}
            and narrowed.get("arm", "")[:5] != "short"
        )
        alike = alike or (
            base == part
            and set(narrowed) == {"first_maneuver"}
            and (part, whole) == ("followed", "treated")
        )
        if alike and name_group(whole, narrowed) in system.names:
            system.within(
                {name: 1},
                {name_group(whole, narrowed): 1},
                f"{part} are of {whole}",
                "difference of two groups",
            )


def _put_under_fewer_words(system: System) -> None:
    """A group of whom more is said is part of each group of whom less is said."""
    for name in sorted(system.names):
        base, narrowed = read_name(name)
        if base.endswith((", in the model", ", classes")):
            continue  # not all of them are counted among the same
        for fewer in _drop_words(narrowed):
            if base.startswith("compared") and (set(narrowed) - set(fewer)) & {*TRIMMED}:
                continue
            whole = name_group(base, fewer)
            if whole in system.names and base not in ("successes", "sessions"):
                system.within({name: 1}, {whole: 1}, f"part of {whole}", "difference of two groups")
            elif whole in system.names:
                system.bound({whole: 1, name: -1}, 0, EVERYBODY, f"part of {whole}")


def _drop_words(narrowed: dict[str, str]) -> Iterator[dict[str, str]]:
    for dropped in itertools.chain(
        itertools.combinations(narrowed, 1), itertools.combinations(narrowed, 2)
    ):
        if any(value in RESTS and key not in dropped for key, value in narrowed.items()):
            continue  # what is rare in a part is another thing than what is rare in the whole
        yield {key: value for key, value in narrowed.items() if key not in dropped}


def _as_day(value: str) -> float:
    return float(value) if value.replace(".", "").isdigit() else float("inf")
