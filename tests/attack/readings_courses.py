"""What the rows count that follow spells: curves, their regression, first events, sites,
published trials and variations."""

import re

import yaml

from tests.attack.groups import Sum, count, read_stratum
from tests.attack.readings import EVER, Reading, find_day, read_class, read_own
from tests.attack.released import PLAN, Release, Row

# public: what is compared with what
TRIALS = yaml.safe_load((PLAN / "published.yaml").read_text("utf-8"))["trials"]

# the parts of what is known on a day, as words; who tested negative by then is who is resolved by
# then
KNOWN = {
    "negative": "resolved_by",
    "between": "between_tests_on",
    "positive": "positive_from",
    "untested": "untested_from",
}


def name_followed(endpoint: str) -> str:
    """First spells of positional episodes of which something is known, by an endpoint."""
    return "followed" if endpoint in ("", "objective") else f"followed, {endpoint}"


def read_course(base: str, narrowed: dict[str, str], row: Row, release: Release) -> Reading:
    """A row on one group of spells: how many are known to be resolved by its day, or were still at
    risk on it. Where there is no curve for too few episodes or resolutions, the events are those
    ever resolved."""
    day = find_day(row.term)
    part = re.fullmatch(r"known_([a-z]+)_day_\d+", row.term)
    if part:
        known = count(base, narrowed, **{KNOWN.get(part.group(1), part.group(1)): day})
        return Reading(count(base, narrowed), known, known)
    if row.analysis in ("resolution_curves", "sensitivity") and not _has_curve(row, release):
        return Reading(count(base, narrowed), None, count(base, narrowed))
    if row.term.startswith("at_risk"):
        return Reading(count(base, narrowed, at_risk=day), None, count(base, narrowed))
    if row.term.startswith("unresolved_") and row.events is None:
        return Reading(count(base, narrowed), None, count(base, narrowed))
    return Reading(
        count(base, narrowed), count(base, narrowed, resolved_by=day or EVER), count(base, narrowed)
    )


def _has_curve(row: Row, release: Release) -> bool:
    if row.analysis == "resolution_curves":
        return any(term.startswith(("at_risk", "unresolved")) for term in release.terms(row))
    return (
        row.status == "ok"
        or row.note.startswith("fewer than 5 episodes known")
        or release.any_usable(row)
    )


def read_curves(row: Row, release: Release) -> Reading:
    """By canal, arm, mechanism and first maneuver.

    An arm without its canal is one that was named by a response, among all positional.
    """
    narrowed = read_stratum(row.stratum)
    if "arm" in narrowed and "canal" not in narrowed:
        group = count("positional, arm named by the site", narrowed)
        return Reading(group, None, group)
    return read_course(name_followed(row.endpoint), read_stratum(row.stratum), row, release)


def read_regression(row: Row, release: Release) -> Reading:
    """The classes of covariates; each is compared with a reference class, which is a group too."""
    base = name_followed(row.endpoint)
    narrowed = read_class(row.term) if row.stratum in ("", "all") else read_stratum(row.stratum)
    if row.term.startswith("fitted_share"):
        return read_course(base, {}, row, release)
    reference = read_class(row.comparison)
    others = [count(base, reference)] if narrowed and reference else []
    events = count(base, narrowed, resolved_by=EVER)
    return Reading(count(base, narrowed), events, count(base, narrowed), others=others)


def read_events(row: Row, _: Release) -> Reading:
    """What came first, as known between tests (of those who were tested)
    or on the day on which it was seen (of all)."""
    narrowed = read_stratum(row.stratum)
    match = re.fullmatch(
        r"(incidence|seen)_(\w+)_day_(\d+)|(event_free|nothing_seen)_day_(\d+)", row.term
    )
    if not match:
        return read_own(row)
    kind, cause, day, free, free_day = match.groups()
    seen = (kind or free) in ("seen", "nothing_seen")
    first = f"{cause} by {day}" if kind else f"{'any' if seen else 'any but lost'} by {free_day}"
    base = "complete" if seen else "informative"
    return Reading(count(base, narrowed), count(base, narrowed, first=first), count(base, narrowed))


def read_delays(row: Row, _: Release) -> Reading:
    """Treated episodes by the setting of the first session and by site: who is tested by a day,
    as far as everybody was seen for as long."""
    narrowed, day = read_stratum(row.stratum), find_day(row.term)
    whole = count("treated", narrowed)
    return Reading(whole, count("treated", narrowed, tested_by=day) if day else None, whole)


def read_joint(row: Row, _: Release) -> Reading:
    """Episodes with a complete record, and of how many it is known that they are resolved, or not;
    how many resolved by a day is an answer of a model."""
    narrowed, day = read_stratum(row.stratum), find_day(row.term)
    whole = count("complete", narrowed)
    known = {"known_resolved": "resolved_by", "known_unresolved": "positive_from"}
    for term, event in known.items():
        if row.term.startswith(term):
            return Reading(
                whole, count(name_followed(row.endpoint), narrowed, **{event: day}), whole
            )
    return Reading(whole, None, whole)


def read_pooling(row: Row, _: Release) -> Reading:
    """Sites under letters, and the pool of those that have a number."""
    narrowed = read_stratum(row.stratum)
    match = re.match(r"(resolved|smoothed)_by_day_(\d+)", row.term)
    if match:
        base, day = name_followed(row.endpoint), match.group(2)
        pooled = narrowed or {"pooled": f"{match.group(1)} by {day}"}
        return Reading(
            count(base, pooled), count(base, pooled, resolved_by=day), count(base, pooled)
        )
    if "first_session_success" in row.term:
        base = "first sessions tested again"
        pooled = narrowed or ({} if "one_stage" in row.term else {"pooled": "yes"})
        return Reading(count(base, pooled), count(base, pooled, success="yes"), count(base, pooled))
    return read_own(row)


def read_monitoring(row: Row, _: Release) -> Reading:
    """Sites under letters beside the mean, the sites that are compared, and those that are too
    small for it."""
    narrowed = read_stratum(row.stratum)
    if narrowed:
        return Reading(count("complete", narrowed), None, count("complete", narrowed))
    compared = "never" if row.term == "sites_below_minimum" else "as large enough"
    whole = count("complete", compared=compared)
    return Reading(whole, None, whole)


def read_published(row: Row, release: Release) -> Reading | None:
    """The pool's episodes of a trial's canal that began with its maneuver;
    two trials of one kind ask of the same group."""
    narrowed = read_stratum(row.stratum)
    trial = TRIALS.get(narrowed.pop("trial", ""))
    if row.population == "published" or not trial:
        return None
    narrowed["canal"], arms = trial["canal"], trial.get("canal_arms")
    narrowed |= {"arm": "|".join(arms)} if arms else {}
    return read_course(name_followed(row.endpoint), narrowed, row, release)


def read_variation(row: Row, release: Release) -> Reading:
    """The primary answers, and the same under other choices: other groups of people,
    of which those that are meant to hold others do."""
    narrowed = read_stratum(row.stratum)
    variation = narrowed.pop("variation", "")
    if "second" in row.population or row.term.startswith("risk_difference"):
        return _read_second_line(variation, find_day(row.term))
    if variation in ("primary", "endpoint_strict"):
        return read_course(name_followed(row.endpoint), narrowed, row, release)
    if variation.startswith("without_one_site"):
        return Reading(count("followed"), count("followed", resolved_by=EVER), count("followed"))
    return read_course(f"followed, {variation}", narrowed, row, release)


def _read_second_line(variation: str, day: str | None) -> Reading:
    base = (
        "compared"
        if variation in ("primary", "") or variation.startswith("without_one")
        else f"compared, {variation}"
    )
    events: Sum = count(base, resolved_by=day or EVER)
    return Reading(count(base), events, count(base))
