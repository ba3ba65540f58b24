"""What the rows count that follow treatment: sessions, the choice after a failed one, and paths."""

import re

from tests.attack.groups import Sum, add, count, read_stratum
from tests.attack.readings import EVER, Reading, find_day, read_class, read_own
from tests.attack.released import Release, Row

HORIZON = "30"  # the day up to which mean days are counted: second_line.horizon_day of the plan
WAYS = r"^(naive_|at_once_)"
THEN = " > "


def read_attempts(row: Row, _: Release) -> Reading:
    """Sessions with a test after them: people, sessions and successes, each a group of its own,
    since one person can have several sessions."""
    narrowed = read_stratum(row.stratum)
    narrowed.pop("model", None)
    narrowed.pop("up_to_attempts", None)
    if (
        row.term.startswith(("attempts_to_resolve", "resolved", "success"))
        and row.term != "success_raw"
    ):
        number = narrowed.pop("attempt", "1")
        if number == "1":
            first = "first sessions tested again, in the model"
            return Reading(
                count(first, narrowed),
                count(first, narrowed, success="yes"),
                count(first, narrowed),
            )
        narrowed["attempt_number"] = number
    in_class = read_class(row.term)
    narrowed |= in_class or {}
    if row.stratum.startswith("smaller cells"):
        words = row.stratum.removeprefix("smaller cells: ")
        narrowed = {"cell": "small"} if " x " in words else {f"{words}, small classes": "yes"}
    reference = read_class(row.comparison) if in_class else None
    groups = [_keep_whole(narrowed), _keep_whole(reference) if reference else None]
    raw = row.term == "success_raw"
    # A model may leave out what tells it nothing; a class without a number in it is counted among
    # all.
    part = "" if raw else ", classes" if in_class else ", in the model"
    n, events, attempts = (
        count(base + part, groups[0])
        for base in ("treated and tested again", "successes", "sessions")
    )
    others = [
        count(base + part, groups[1])
        for base in ("treated and tested again", "successes")
        if groups[1]
    ]
    return Reading(n, events, n, attempts if raw else None, others)


def _keep_whole(narrowed: dict[str, str]) -> dict[str, str]:
    """Canal and arm as one word: here nothing tells the one without the other."""
    return {
        "canal and arm" if key == "canal_arm" else key: value for key, value in narrowed.items()
    }


def read_first_choice(row: Row, _: Release) -> Reading:
    """Who of a variant had a first session and a test after it, by family; what models say of them
    is of groups of its own."""
    narrowed = read_stratum(row.stratum)
    tests = count("first tests", narrowed)
    if row.term == "first_session":
        group = count("first sessions", narrowed)
        return Reading(group, group, group)
    if row.term == "first_tested":
        return Reading(tests, tests, tests)
    if row.term == "first_test_positive":
        positive = count("first tests", narrowed, negative="no")
        return Reading(tests, positive, positive)
    if row.term in ("first_test_negative", "days_to_next_test"):
        return Reading(tests, count("first tests", narrowed, negative="yes"), tests)
    return read_own(row)


def read_second_line(row: Row, release: Release) -> Reading:
    """Who stood at the choice after a failed first session, what was chosen,
    and the two arms that are compared."""
    narrowed = read_stratum(row.stratum)
    term, day = re.sub(WAYS, "", row.term), find_day(row.term)
    chosen = [_read_choice(part) for part in term.split("+")]
    if None not in chosen:
        group = add(*(count("stood at a choice", narrowed, **each) for each in chosen))
        return Reading(group, None, group)
    base = "compared"
    weighed = "weight_mean" in release.terms(row)
    if not weighed:  # refused before anybody was left out
        group = count("repeated or changed", narrowed)
        return Reading(group, count("repeated or changed", narrowed, resolved_by=EVER), group)
    if term.startswith(("smd_before:", "smd_after:")):
        in_class = read_class(term.partition(":")[2]) or {}
        return Reading(count(base, narrowed, **_word(in_class)), None, count(base, narrowed))
    arm = re.match(r"(risk|mean_days)_(repeat|change)", term)
    if arm:
        narrowed["arm chosen"] = arm.group(2)
    elif not term.startswith(
        ("risk_", "mean_days_", "e_value", "weight_", "truncated", "effective")
    ):
        return read_own(row)
    when = day or (HORIZON if term.startswith("mean_days") else EVER)
    return Reading(
        count(base, narrowed), count(base, narrowed, resolved_by=when), count(base, narrowed)
    )


def _word(narrowed: dict[str, str]) -> dict[str, str]:
    return {
        f"{key} then" if key in ("canal_arm", "first_family") else key: value
        for key, value in narrowed.items()
    }


def _read_choice(term: str) -> dict[str, str] | None:
    """What was chosen, in the words of the groups; None for a term that is no choice."""
    if term == "failed_first_session":
        return {}
    match = re.fullmatch(r"(choice|not_seen_again|changed_to)_(.+)", term)
    if not match:
        return None
    kind, value = match.groups()
    if kind == "choice":
        return {"choice": value}
    return (
        {"choice": value, "again": "no"}
        if kind == "not_seen_again"
        else {"choice": "change", "to": value}
    )


def read_paths(row: Row, _: Release) -> Reading:
    """Those who took a path so far, and how it went on: `end` of a path that ends there,
    the next path, or a test that nobody took."""
    narrowed, term = read_stratum(row.stratum), row.term
    if not narrowed:
        group = count(term) if term in ("treated", "incomplete_record", "never_positive") else None
        return Reading(count("treated"), group, group) if group else read_own(row)
    if narrowed.get("path") == "start":
        del narrowed["path"]
    here = count("complete", narrowed)
    if term == "reached":
        return Reading(_come_from(narrowed), here, here)
    if term == "share_resolved_at_next_test":
        return Reading(
            _tested_again(narrowed),
            count("complete", narrowed, end="resolved_at_next_test"),
            _tested_again(narrowed),
        )
    steps = [_read_step(narrowed, step) for step in split_steps(term)]
    if None in steps:
        return read_own(row)
    group = add(*steps)
    return Reading(here, group, group)


def split_steps(term: str) -> list[str]:
    """The steps that a term counts together; families of one session are joined by + too."""
    return re.split(r"\+(?=next=|resolved_at|no_further|never_tested_again|next_without)", term)


def _read_step(narrowed: dict[str, str], step: str) -> Sum | None:
    """Those who ended here in one way, or went on to some families, or without a test;
    None for a term that is no step."""
    if re.fullmatch(r"resolved_at_\w+_test|no_further_session|never_tested_again", step):
        return count("complete", narrowed, end=step)
    if step.startswith("next="):
        return _go_on(narrowed, step.removeprefix("next="))
    return (
        count("complete", narrowed, next="without a test") if step == "next_without_test" else None
    )


def _come_from(narrowed: dict[str, str]) -> Sum:
    """Those of whom a path is a part: who had taken it but for its last step."""
    before = narrowed.get("path", "").rpartition(THEN)[0]
    kept = {key: value for key, value in narrowed.items() if key != "path"}
    return count("complete", kept | ({"path": before} if before else {}))


def _go_on(narrowed: dict[str, str], families: str) -> Sum:
    """Those who took one of these families next."""
    parts = []
    for family in families.split("|"):
        following = (
            {"next": "rarer"}
            if family == "rarer"
            else {"path": THEN.join(filter(None, [narrowed.get("path"), family]))}
        )
        parts.append(count("complete", narrowed | following))
    return add(*parts)


def _tested_again(narrowed: dict[str, str]) -> Sum:
    """Those who were tested after the last session of the path, before another one."""
    unseen = add(
        count("complete", narrowed, end="never_tested_again"),
        count("complete", narrowed, next="without a test"),
    )
    return add(count("complete", narrowed), (unseen, -1))
