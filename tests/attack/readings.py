"""What the counts of a row count: its episodes, its events,
and the group whose sites `n_sites` counts.

Each analysis has a function from a row to a `Reading`; what the words of a row mean is said on the
technical page and in the plan. A row that no function understands counts groups of its own, so that
nothing is claimed of it but what it prints.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.attack.groups import RESTS, Sum, add, count, read_stratum
from tests.attack.released import Release, Row

EVER = "ever"
RECOGNISED = "recognised_before_treatment|recognised_after_treatment"
TREATED_UNRECOGNISED = "recognised_after_treatment|never_recognised_treated"


@dataclass(frozen=True)
class Reading:
    """The groups behind a row.

    `others` are named beside them and are not counted in the row, as a reference class.
    """

    n: Sum | None = None
    events: Sum | None = None
    sites: Sum | None = None
    attempts: Sum | None = None
    others: list[Sum] = field(default_factory=list)


Reader = Callable[[Row, Release], Reading | None]


def read_class(term: str) -> dict[str, str] | None:
    """A class `term=value` of a covariate; classes counted together as others are a key of their
    own, since what they hold is not said."""
    key, equals, value = term.partition("=")
    if not equals:
        return None
    return {f"{key}, small classes": "yes"} if value == "other classes" else {key: value}


def find_day(term: str) -> str | None:
    """The day that a term ends with."""
    match = re.search(r"_day_(\d+)$", term)
    return match.group(1) if match else None


def read_own(row: Row) -> Reading:
    """Groups of the row's own, of which nothing else is known."""
    base = f"row {row.name}"
    return Reading(count(base), count(base, event="yes"), count(base))


def read_flow(row: Row, _: Release) -> Reading:
    """Each term is a group; some are counted together."""
    group = add(*(count(term) for term in row.term.split("+")))
    return Reading(group, None, group)


BASES = {  # bases of the ledger by what they are called in other tables; others are called as there
    "apart": "probable_non_positional",
    "taken_for_failed": "first maneuver failed",
    "failed": "stood at a choice",
    "compared": "repeated or changed",
    **{
        f"followed_{name}": f"followed, {name}"
        for name in ("every_canal", "strict", "patient_reported", "composite")
    },
}


def read_ledger(row: Row, _: Release) -> Reading:
    """A base, or those of the larger base who are not in it; of sessions,
    the people who had them."""
    if row.term == "sites" or row.term.endswith(("sessions", "_tested")):
        return read_own(row)
    base = row.term.removeprefix("without_")
    group = (
        count(BASES.get(base, base))
        if base == row.term
        else count(f"not in {BASES.get(base, base)}")
    )
    return Reading(group, None, group)


def read_description(row: Row, _: Release) -> Reading:
    """Shares of all stored, of the positional and of the treated ones."""
    narrowed = read_stratum(row.stratum)
    base = "treated" if "first_maneuver" in narrowed else row.population
    base = "positional, arm by a definition" if "arm_basis" in narrowed else base
    return (
        Reading(count(base), count(base, narrowed), count(base, narrowed))
        if narrowed
        else Reading(count(base), None, None)
    )


def read_apart(row: Row, _: Release) -> Reading:
    """Reasons overlap, so that they do not add up."""
    narrowed = read_stratum(row.stratum)
    if row.population == "positional":
        return Reading(count("treated"), count("treated", narrowed), count("treated"))
    base = "probable_non_positional"
    if row.term.startswith("reclassified_"):
        return Reading(count("reclassified_later"), None, count("reclassified_later"))
    if row.term == "recognised_day_median":
        return Reading(count(base, recognised_by=EVER), None, count(base, recognised_by=EVER))
    if row.term.startswith("sessions_before_recognition_"):
        treated = count(base, recognition=TREATED_UNRECOGNISED)
        return Reading(treated, None, treated)
    if row.term == "on_record_by_day_0":
        noted = count(base, narrowed, on_record="0")
        return Reading(count(base, narrowed), noted, noted)
    day = re.fullmatch(r"recognised_(by|after)_day_(\d+)", row.term)
    if day:
        narrowed = {f"recognised_{day.group(1)}": day.group(2)}
    elif row.term == "recognised_by_site":
        narrowed = {"recognised_by": EVER}
    elif row.term == "treated_before_recognition":
        narrowed = {"recognition": TREATED_UNRECOGNISED}
    elif not narrowed:
        narrowed = {"recognition": row.term}
    return Reading(count(base), count(base, narrowed), count(base, narrowed))


def read_adverse(row: Row, _: Release) -> Reading:
    """Treated episodes, those with any adverse event, and those of them with one of a kind."""
    narrowed, kind = read_stratum(row.stratum), row.term.removeprefix("adverse_")
    of_kind = {} if kind == "any" else {f"adverse_{kind}": "yes"}
    whole = count("treated", narrowed)
    return Reading(whole, count("treated", narrowed, adverse="yes", **of_kind), whole)


def read_measures(row: Row, _: Release) -> Reading:
    """What is recorded of the positional and the treated ones; of those asked for a roll test both
    sides had been tested."""
    both = {"both_sides": "yes"}
    silent = count("positional", both, silent="yes")
    groups = {
        "dix_hallpike_both_sides": (count("positional"), count("positional", both)),
        "roll_both_sides": (silent, count("positional", both, silent="yes", rolled="yes")),
        "treated_on_first_day": (count("positional"), count("treated", on_first_day="yes")),
    }
    if row.term.startswith("onset_to_maneuver"):
        known = count("treated", onset_recorded="yes")
        return Reading(known, None, known)
    whole, done = groups.get(row.term) or (count("treated"), count("treated", reassessed="yes"))
    return Reading(whole, done, whole)


def read_agreement(row: Row, _: Release) -> Reading:
    """Episodes of which both the record and the tests name a part; `agree` where it is the same."""
    part, _, rest = row.term.partition(":")
    if rest:
        cell = count(f"{part} named twice", {"pair": rest} if rest in RESTS else read_stratum(rest))
        return Reading(cell, None, cell)
    match = re.fullmatch(r"(\w+)_(agreement|kappa)", row.term)
    if match:
        base, narrowed = f"{match.group(1)} named twice", read_stratum(row.stratum)
        return Reading(
            count(base, narrowed), count(base, narrowed, agree="yes"), count(base, narrowed)
        )
    either_canal = {"canal": "anterior_or_posterior"}
    return Reading(
        count("positional", either_canal),
        count("positional", either_canal, fits="yes"),
        count("positional", either_canal),
    )


def read_failures(row: Row, _: Release) -> Reading:
    """Failed first maneuvers, and with them those of which nobody knows."""
    narrowed = read_stratum(row.stratum)
    if narrowed.get("reason") == "never_tested_again":
        base, event = "first maneuver failed or unseen", {"reason": "never_tested_again"}
    else:
        base, event = "first maneuver failed", {"reason": "", "view": ""} | narrowed
    return Reading(count(base), count(base, event), count(base))


def read_handicap(row: Row, _: Release) -> Reading:
    """Episodes with a total near a day; `seen` where a total there came after resolution."""
    narrowed, day, term = read_stratum(row.stratum), find_day(row.term), row.term
    base = f"with a total near day {day}"
    if term.startswith(("mean_near", "difference_near")):
        resolution = {"resolution": narrowed["resolution_seen_by_then"]} if narrowed else {}
        seen = count(base, resolution="yes") if resolution.get("resolution") != "no" else None
        return Reading(count(base, resolution), seen, count(base, resolution))
    if term.startswith(("mean_day", "change_by_day")):
        return Reading(
            count(base, narrowed), count(base, narrowed, seen="yes"), count(base, narrowed)
        )
    if term.startswith("share_at_zero"):
        return Reading(count(base), count(base, zero="yes"), count(base))
    match = re.fullmatch(r"started_below_(\d+)|fell_by_(\d+)_by_day_\d+", term)
    if match and match.group(1):
        start = "with a total near day 0"
        return Reading(count(start), count(start, below=match.group(1)), count(start))
    if match:
        both = f"with totals on day 0 and near day {day}"
        return Reading(count(both), count(both, fell=match.group(2)), count(both))
    return read_own(row)


def read_recurrence(row: Row, release: Release) -> Reading:
    """First spells that were resolved and tested, or asked, again."""
    narrowed, day = read_stratum(row.stratum), find_day(row.term)
    base = (
        "resolved, then seen again"
        if row.endpoint == "objective"
        else f"resolved, then told again ({row.endpoint})"
    )
    if row.term.startswith("at_risk"):
        return Reading(count(base, narrowed, at_risk=day), None, count(base, narrowed, at_risk=day))
    daily = any(term.startswith("recurrence_free_upper") for term in release.terms(row))
    return Reading(
        count(base, narrowed),
        count(base, narrowed, returned_by=day if daily else EVER),
        count(base, narrowed),
    )
