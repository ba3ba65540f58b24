"""What must hold between counts of single analyses: first events, paths, choices,
tables of two diagnoses, and pools of sites."""

import itertools
from collections import defaultdict

from tests.attack.groups import JOINED, RESTS, Sum, add, count, name_group, read_name, read_stratum
from tests.attack.identities import gather
from tests.attack.readings_choices import split_steps
from tests.attack.released import Release
from tests.attack.system import EVERYBODY, System

CAUSES = ("resolved", "switched", "reclassified", "lost")
ENDS = (
    "resolved_at_next_test",
    "resolved_at_later_test",
    "no_further_session",
    "never_tested_again",
)
THEN = " > "
DIFFERENCE = "difference of two groups"


def add_special(system: System, release: Release) -> None:
    """The equations of single analyses."""
    members = gather(system)
    for base in ("complete", "informative"):
        _add_first_events(system, base, members[base])
    _add_paths(system, members["complete"], list_next(release))
    _add_first_families(system, members["treated"], members["complete"])
    for part in ("canal", "side", "arm", "mechanism"):
        _add_table(system, part, members[f"{part} named twice"])
    _add_first_tests(system, members["first tests"])
    _add_choices(system, members["stood at a choice"], members["compared"])
    _add_pooled_sites(system, release)
    _add_sessions(system)


def _add_first_events(system: System, base: str, members: list[dict[str, str]]) -> None:
    """Events of each kind add up to those of any kind; one that came first is one that came."""
    seen = sorted(
        {
            (narrowed.get("canal", ""), narrowed["first"])
            for narrowed in members
            if "first" in narrowed
        }
    )
    for canal, first in seen:
        kind, _, day = first.rpartition(" by ")
        within = {"canal": canal} if canal else {}
        if kind in ("any", "any but lost"):
            causes = CAUSES if kind == "any" else CAUSES[:3]
            parts = add(*(count(base, within, first=f"{cause} by {day}") for cause in causes))
            system.equal(
                count(base, within, first=first), parts, f"first events by day {day} {canal}"
            )
        elif kind == "resolved":
            after = count("followed", within, resolved_by=day)
            system.within(
                count(base, within, first=first),
                after,
                f"resolved first by day {day} {canal}",
                DIFFERENCE,
            )
        if base == "informative" and kind in CAUSES:
            pair = count(base, within, first=first), count("complete", within, first=first)
            if kind == "switched":  # also seen in those who were not tested again
                system.within(*pair, f"switched by day {day} {canal}", DIFFERENCE)
            else:
                system.equal(*pair, f"{kind} by day {day} {canal}, known and seen")
    for (canal, one), (other_canal, other) in itertools.product(seen, seen):
        kind, _, day = one.rpartition(" by ")
        next_days = [
            int(f.rpartition(" by ")[2])
            for c, f in seen
            if c == canal and f.startswith(f"{kind} by ")
        ]
        later = min((d for d in next_days if d > int(day)), default=None)
        if canal == other_canal and other == f"{kind} by {later}":
            within = {"canal": canal} if canal else {}
            pair = (count(base, within, first=one), count(base, within, first=other))
            system.within(*pair, f"{kind} by day {day} and by day {later} {canal}", DIFFERENCE)


def list_next(release: Release) -> dict[tuple[str, str], set[str]]:
    """The families that a table lists as next, by canal and path."""
    listed: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in release.among("sequence_paths"):
        narrowed = read_stratum(row.stratum)
        point = narrowed.get("canal", ""), narrowed.get("path", "").removeprefix("start")
        for step in split_steps(row.term):
            if step.startswith("next="):
                listed[point].update(step.removeprefix("next=").split(JOINED))
    return listed


def _add_paths(
    system: System, members: list[dict[str, str]], listed: dict[tuple[str, str], set[str]]
) -> None:
    """Who reached a point of a path ends there in one of four ways, or goes on to a listed family
    or to a rarer one; paths that other tables tell of, but whose family is not listed, are among
    the rarer."""
    kept = [
        narrowed
        for narrowed in members
        if set(narrowed) <= {"canal", "path", "end", "next"}
        and (set(narrowed) & {"path", "end", "next"})
    ]
    points = {
        (narrowed.get("canal", ""), narrowed.get("path", ""))
        for narrowed in kept
        if "next" in narrowed or "end" in narrowed
    }
    for canal, path in sorted(points):
        here = {"canal": canal} if canal else {}
        here |= {"path": path} if path else {}
        on = [
            narrowed["path"]
            for narrowed in kept
            if narrowed.get("canal", "") == canal and _comes_next(narrowed.get("path", ""), path)
        ]
        known = [name for name in set(on) if _is_listed(name, listed.get((canal, path), set()))]
        next_paths = add(*(count("complete", here | {"path": name}) for name in sorted(known)))
        rarer = count("complete", here, next="rarer")
        unlisted = add(
            *(count("complete", here | {"path": name}) for name in sorted(set(on) - set(known)))
        )
        if unlisted:
            system.within(
                unlisted, rarer, f"rarer after {name_group('complete', here)}", DIFFERENCE
            )
        going = add(next_paths, rarer)
        ending = add(*(count("complete", here, end=end) for end in ENDS)) if path else {}
        system.equal(
            count("complete", here),
            add(going, ending),
            f"what followed {name_group('complete', here)}",
        )
        if path:
            system.within(
                count("complete", here, next="without a test"),
                going,
                f"went on from {path}",
                DIFFERENCE,
            )
    for canal, path in sorted(points):
        if not canal and path:
            parts = add(
                *(count("complete", canal=c, path=p) for c, p in sorted(points) if c and p == path)
            )
            system.within(
                parts, count("complete", path=path), f"canals of {path}", "hidden cells together"
            )


def _is_listed(path: str, families: set[str]) -> bool:
    """Whether the last family of a path is listed; where no table lists any, all are."""
    return not families or path.rpartition(THEN)[2] in families


def _comes_next(path: str, before: str) -> bool:
    return path.rpartition(THEN)[0] == before and path != before and bool(path)


def _add_first_families(
    system: System, treated: list[dict[str, str]], complete: list[dict[str, str]]
) -> None:
    """A first session of some families began with the first of them."""
    for family in sorted(
        {narrowed["first_maneuver"] for narrowed in treated if set(narrowed) == {"first_maneuver"}}
        - {*RESTS}
    ):
        begun = [
            t["path"]
            for t in complete
            if set(t) == {"path"} and THEN not in t["path"] and _begins(t["path"], family)
        ]
        if begun:
            parts = add(*(count("complete", path=path) for path in sorted(begun)))
            system.within(
                parts, count("treated", first_maneuver=family), f"began with {family}", DIFFERENCE
            )


def _begins(path: str, family: str) -> bool:
    return path.replace("+", " ").split()[:1] == [family]


def _add_table(system: System, part: str, members: list[dict[str, str]]) -> None:
    """The cells of recorded against adjudicated add up to all of whom both name the part;
    the diagonal to those who agree."""
    base = f"{part} named twice"
    cells = [narrowed for narrowed in members if set(narrowed) == {"recorded", "adjudicated"}]
    if not cells:
        return
    rest = count(base, pair=RESTS[-1]) if any("pair" in narrowed for narrowed in members) else {}
    system.equal(
        count(base), add(*(count(base, narrowed) for narrowed in cells), rest), f"table of {part}"
    )
    same = add(
        *(
            count(base, narrowed)
            for narrowed in cells
            if narrowed["recorded"] == narrowed["adjudicated"]
        )
    )
    if rest:
        system.within(same, count(base, agree="yes"), f"diagonal of {part}", DIFFERENCE)
        system.bound(
            add(count(base, agree="yes"), (same, -1), (rest, -1)),
            -EVERYBODY,
            0,
            f"rest of {part} on its diagonal",
        )
    else:
        system.equal(count(base, agree="yes"), same, f"diagonal of {part}")
    for value in sorted({narrowed["adjudicated"] for narrowed in cells}):
        column = add(
            *(count(base, narrowed) for narrowed in cells if narrowed["adjudicated"] == value)
        )
        system.within(
            column, count("positional", {part: value}), f"column {value} of {part}", DIFFERENCE
        )


def _add_first_tests(system: System, members: list[dict[str, str]]) -> None:
    """Negative and positive tests add up, families are parts of their variant and of whoever was
    tested after a path of that family, and a positive test is a choice."""
    base = "first tests"
    for cell in {tuple(sorted((k, v) for k, v in m.items() if k != "negative")) for m in members}:
        narrowed = dict(cell)
        both = add(*(count(base, narrowed, negative=answer) for answer in ("yes", "no")))
        system.equal(count(base, narrowed), both, f"first tests of {cell}")
        system.ask(count(base, narrowed, negative="no"), "the others of a share", f"of {cell}")
        if set(narrowed) == {"variant"}:
            families = [m for m in members if m.keys() == {"variant", "family"}]
            parts = add(*(count(base, m) for m in families if m["variant"] == narrowed["variant"]))
            system.within(parts, count(base, narrowed), f"families of {cell}", DIFFERENCE)
            sessions, failed = (count(b, narrowed) for b in ("first sessions", "stood at a choice"))
            system.within(count(base, narrowed), sessions, f"tested of {cell}", DIFFERENCE)
            system.within(sessions, count("treated"), f"treated of {cell}", DIFFERENCE)
            positive = count(base, narrowed, negative="no")
            system.within(positive, failed, f"failed of {cell}", DIFFERENCE)
        elif set(narrowed) == {"variant", "family"}:
            unseen = add(
                count("complete", path=narrowed["family"], end="never_tested_again"),
                count("complete", path=narrowed["family"], next="without a test"),
            )
            whole = add(count("complete", path=narrowed["family"]), (unseen, -1))
            system.within(count(base, narrowed), whole, f"path of {cell}", DIFFERENCE)
    wide, narrow = "short_arm_by_sitting_up", "short_arm_by_nystagmus_on_sitting_up"
    for narrowed in members:
        if narrowed.get("variant") == narrow:
            whole = count(base, narrowed | {"variant": wide})
            system.within(count(base, narrowed), whole, "with the merely suspected", DIFFERENCE)


def _add_choices(
    system: System, choices: list[dict[str, str]], compared: list[dict[str, str]]
) -> None:
    """Changes to single families are changes; the two arms add up,
    and so do the classes of each covariate."""
    variants = sorted({narrowed.get("variant", "") for narrowed in choices})
    for variant in variants:
        within = {"variant": variant} if variant else {}
        to = [
            narrowed
            for narrowed in choices
            if narrowed.get("variant", "") == variant and "to" in narrowed
        ]
        change = count("stood at a choice", within, choice="change")
        system.within(
            add(*(count("stood at a choice", t) for t in to)),
            change,
            f"changed {variant}",
            "hidden cells together",
        )
        whole = add(count("stood at a choice", within, choice="repeat"), change)
        system.equal(count("repeated or changed", within), whole, f"choices compared {variant}")
        system.within(
            count("compared", within), whole, f"left out of the comparison {variant}", DIFFERENCE
        )
    for narrowed in compared:
        events = {key: value for key, value in narrowed.items() if key == "resolved_by"}
        stratum = {key: value for key, value in narrowed.items() if key in ("variant", "change_to")}
        if "arm chosen" in narrowed and narrowed["arm chosen"] == "repeat":
            arms = add(
                *(
                    count("compared", stratum | events, **{"arm chosen": arm})
                    for arm in ("repeat", "change")
                )
            )
            system.equal(count("compared", stratum | events), arms, "both arms")
    _add_classes(system, compared)


def _add_classes(system: System, compared: list[dict[str, str]]) -> None:
    classes: dict[tuple, list[Sum]] = defaultdict(list)
    for narrowed in compared:
        stratum = {key: value for key, value in narrowed.items() if key in ("variant", "change_to")}
        classes_of_row = [
            key
            for key in narrowed
            if key not in ("variant", "change_to", "arm chosen", "resolved_by")
        ]
        if len(classes_of_row) == 1 and set(narrowed) == {*stratum, *classes_of_row}:
            classes[tuple(sorted(stratum.items())), classes_of_row[0]].append(
                count("compared", narrowed)
            )
    for (stratum, key), parts in classes.items():
        system.equal(
            count("compared", dict(stratum)),
            add(*parts),
            f"classes of {key}, compared {dict(stratum)}",
        )


def _add_pooled_sites(system: System, release: Release) -> None:
    """A pool of sites holds those that have a number, and its episodes are theirs."""
    rows = [row for row in release.among("site_pooling") if row.stratum.startswith("site=")]
    for term in sorted({row.term for row in rows if row.term.startswith("resolved_by_day")}):
        day = term.rpartition("_")[2]
        usable = [
            row.stratum.removeprefix("site=")
            for row in rows
            if row.term == term and row.status == "ok"
        ]
        unsure = any(row.status == "suppressed" for row in rows if row.term == term)
        if usable and not unsure:
            whole = count("followed", pooled=f"resolved by {day}")
            system.equal(
                whole,
                add(*(count("followed", site=site) for site in usable)),
                f"sites pooled by day {day}",
            )

    sizes = [count("followed", compared=size) for size in ("never", "as large enough")]
    if all(set(size) <= system.names for size in sizes):
        system.equal(count("followed"), add(*sizes), "sites by their size")


def _add_sessions(system: System) -> None:
    """The cells of family, variant and mechanism add up with the small ones;
    first sessions are counted in two analyses."""
    for base in ("successes", "sessions"):
        cells = [name for name in sorted(system.names) if _is_cell(name, base)]
        if name_group(base, {"cell": "small"}) in cells:
            system.equal(count(base), add(*({name: 1} for name in cells)), f"cells of {base}")
    first, won = (
        count("first sessions tested again"),
        count("first sessions tested again", success="yes"),
    )
    system.equal(first, count("treated and tested again", attempt_number="1"), "first sessions")
    system.equal(
        won, count("successes", attempt_number="1"), "first sessions followed by a negative test"
    )


def _is_cell(name: str, base: str) -> bool:
    its_base, narrowed = read_name(name)
    return its_base == base and (
        set(narrowed) == {"family", "canal and arm", "mechanism"} or narrowed == {"cell": "small"}
    )
