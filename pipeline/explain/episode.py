"""One stored episode in words: its tests in order, which criterion each test meets and why near
ones do not, the verdict and its sources."""

from collections.abc import Iterator, Mapping

import pandas as pd

from pipeline.adjudication.lateral_side import tell_side
from pipeline.adjudication.maneuvers import judge_maneuver
from pipeline.adjudication.misfits import list_doubts, list_missing
from pipeline.adjudication.readings import FIRM
from pipeline.adjudication.rolls import pair_rolls
from pipeline.adjudication.turning_points import find_turning_points, list_undecided
from pipeline.adjudication.variants import match_variants
from pipeline.explain.lines import say_pair, say_test, wrap
from pipeline.warehouse import Warehouse
from schemas import codes
from schemas.criteria import Criteria, Criterion, Flag, Sourced
from schemas.failure import EVIDENCE, REASON, VIEW
from schemas.maneuver import FIT
from schemas.study import Config

MOST_MISFITS = 2  # a criterion that fails on more than this many points is not told of


class NoSuchEpisode(LookupError):
    """The warehouse holds no such episode in a current delivery."""


def explain_episode(warehouse: Warehouse, site: str, episode_id: str, config: Config) -> str:
    """The explanation as text for a terminal.

    It quotes the record, so it stays where the record is. Raises NoSuchEpisode.
    """
    delivered = {
        name: _pick(warehouse.read(name, current=True), site, episode_id)
        for name in ("episodes", "examinations", "treatments", "followups")
    }
    derived = {
        name: _pick(warehouse.read(name), site, episode_id)
        for name in ("findings", "adjudications", "spells", "later_flags", "failure_reasons")
    }
    if delivered["episodes"].empty:
        raise NoSuchEpisode(f"no current delivery of {site} holds this episode")
    key = ["day", "examination", "test", "side"]
    examined = delivered["examinations"].merge(
        derived["findings"].drop(columns=["site", "episode_id"]), on=key
    )
    examined = examined.sort_values(key, ignore_index=True)
    before = examined["before_treatment"]
    verdict = derived["adjudications"].iloc[0]
    parts = [
        [f"{site}  {episode_id}", ""],
        _say_verdict(verdict, delivered["episodes"].iloc[0], config.criteria),
        _say_turning_points(verdict, delivered, config.criteria),
        ["", "Tests before the first attempt: what each meets, and what it nearly meets"],
        _say_tests(
            examined[before].reset_index(drop=True),
            set(verdict["criteria"].split()),
            config.criteria,
        ),
        ["", "What followed"],
        _say_course(examined[~before], delivered["treatments"], verdict["variants"], config),
        ["", "What only time showed (the verdict stays that of the first attempt)"],
        _say_later(derived["later_flags"], config.criteria),
        ["", "Why the first session may have failed (evidence, not a verdict)"],
        _say_reasons(derived["failure_reasons"]),
        ["", "Resolution"],
        _say_spells(derived["spells"]),
    ]
    return "\n".join(line for part in parts for line in part)


def _pick(rows: pd.DataFrame, site: str, episode_id: str) -> pd.DataFrame:
    return rows[rows["site"].eq(site) & rows["episode_id"].eq(episode_id)].reset_index(drop=True)


def _say_verdict(verdict: pd.Series, episode: pd.Series, criteria: Criteria) -> Iterator[str]:
    yield wrap(
        "Verdict",
        f"{codes.POSITIONAL[verdict['positional']]}; {codes.CERTAINTY[verdict['certainty']]}",
    )
    yield wrap(
        "",
        f"canal {verdict['canal']}, side {verdict['side']}, arm {verdict['arm']}, debris "
        f"{verdict['mechanism']}",
    )
    yield wrap("Decided by", _say_precedence(verdict, criteria))
    if verdict["variants"]:
        yield wrap("Allowed", " or ".join(verdict["variants"].split()))
    if verdict["side_signs"]:
        yield wrap("Side", f"of the lateral canal by {verdict['side_by']}: {verdict['side_signs']}")
    if pd.notna(verdict["known_day"]):
        yield wrap("Known", f"on day {verdict['known_day']} at the earliest")
    if pd.notna(verdict["reclassified_day"]):
        yield wrap("", f"found to be something else on day {verdict['reclassified_day']}")
    yield from _say_rules("For", verdict["criteria"], criteria.criteria)
    yield from _say_rules(
        "Against", verdict["reasons_against"], {**criteria.flags, **criteria.other_causes}
    )
    if history := _say_history(episode):
        yield wrap("History", history)
    recorded = ", ".join(
        f"{part} {episode[f'recorded_{part}']}" for part in ("canal", "side", "arm", "mechanism")
    )
    yield wrap("Recorded", f"{recorded}; other diagnosis: {episode['other_diagnosis']}")


def _say_history(episode: pd.Series) -> str:
    """What the patient said of the attacks, as far as it was recorded."""
    provoked, seconds = episode["provoked_by_lying_or_turning"], episode["attack_s"]
    said = [
        "" if pd.isna(provoked) else f"attacks on lying down or turning over: {provoked}",
        "" if pd.isna(seconds) else f"an attack lasts {seconds:g} s",
    ]
    return "; ".join(filter(None, said))


def _say_turning_points(
    verdict: pd.Series, delivered: Mapping[str, pd.DataFrame], criteria: Criteria
) -> Iterator[str]:
    """Which answer alone would bring back a case set apart, and what cannot be decided."""
    if verdict["positional"] == "probable_non_positional":
        found = find_turning_points(**delivered, criteria=criteria)
        points = " or ".join(found["column"])
        yield wrap("Back with", f"another answer to: {points or 'no single one'}")
    for name, missing in list_undecided(delivered["episodes"].iloc[0], criteria).items():
        yield wrap("Undecided", f"{name}: not recorded: {', '.join(missing)}")


def _say_precedence(verdict: pd.Series, criteria: Criteria) -> str:
    """Which step of the order of the rules decided; pipeline/adjudication/adjudicate.py has the
    order."""
    against = verdict["reasons_against"].split()
    decisive = [
        name
        for name in against
        if name in criteria.flags and criteria.flags[name].weight == "decisive"
    ]
    if verdict["positional"] == "probable_non_positional":
        central = {n for n, c in criteria.other_causes.items() if c.diagnosis == "central"}
        if decisive or {"other_diagnosis=central", *central} & set(against):
            return "a decisive reason against, which outweighs every criterion"
        return "the reasons against: no established criterion is met"
    if verdict["positional"] == "undetermined":
        open_ = "what is met fits another cause alike"
        return f"nothing: {open_ if verdict['criteria'] else 'no criterion is met'}"
    if verdict["certainty"] == "resolved_before":
        return "the site, or the history, while no test is positive any more"
    if any(criteria.criteria[name].certainty in FIRM for name in verdict["criteria"].split()):
        return "criteria that are firm: only a decisive reason would outweigh them"
    return "criteria that are not firm, while the reasons against are too few to outweigh them"


def _say_rules(label: str, names: str, rules: Mapping[str, Sourced]) -> Iterator[str]:
    """Each rule with what it says, its weight if it has one, its standing and its source."""
    for name in names.split() or ["nothing"]:
        rule = rules.get(name)
        weight = f" ({rule.weight})" if isinstance(rule, Flag) else ""
        yield wrap(label, name + weight)
        if rule is not None:
            yield wrap("", rule.says)
            yield wrap("", f"[{rule.standing}: {rule.source}]")


def _say_tests(before: pd.DataFrame, left: set[str], criteria: Criteria) -> Iterator[str]:
    """The tests of each day in their order, then its roll test as a pair;
    under each what it meets and nearly meets.

    `left` are the criteria of the verdict.
    """
    pairs = pair_rolls(before, across_days=True)
    kept = (
        match_variants(before, pairs, criteria).groupby("test_id")["criterion"].agg(set).to_dict()
    )
    pairs = pairs.join(tell_side(pairs))
    for day in before["day"].unique():
        for candidates, paired in ((before, False), (pairs, True)):
            for row in candidates.index[candidates["day"].eq(day)]:
                test = candidates.loc[[row]]
                yield wrap("", say_pair(test.iloc[0]) if paired else say_test(test.iloc[0]), 2)
                shows = test["horizontal"].iloc[0] != "none" if paired else test["positive"].iloc[0]
                if shows:
                    eligible = {
                        name: c for name, c in criteria.criteria.items() if c.both_sides == paired
                    }
                    met = kept.get(row + len(before) * paired, set())
                    yield from _say_criteria(test, before, eligible, met, left)


def _say_criteria(
    test: pd.DataFrame,
    before: pd.DataFrame,
    criteria: dict[str, Criterion],
    kept: set[str],
    left: set[str],
) -> Iterator[str]:
    """What a test meets of the criteria of its test, what replaces or rules out what it meets,
    and why it fails those that it nearly meets."""
    shown = test.iloc[0]
    missing = {
        name: list_missing(test, before, c)
        for name, c in criteria.items()
        if shown["test"] in c.tests
    }
    for name, points in missing.items():
        if points:
            continue
        doubts = list_doubts(test, criteria[name])
        finer = [
            other for other in missing if criteria[other].refines == name and not missing[other]
        ]
        if name not in kept and finer:
            yield wrap(
                "      met",
                f"{name}, but the more particular {' and '.join(finer)} replaces it",
                14,
            )
        elif name not in kept:
            yield wrap("      met", f"{name}, but nystagmus of another test decides", 14)
        elif name not in left:
            yield wrap("      met", f"{name}, but another test of the same place rules it out", 14)
        else:
            yield wrap(
                "      meets",
                name + (f", with less certainty: {'; '.join(doubts)}" if doubts else ""),
                14,
            )
    for name, points in missing.items():
        if 0 < len(points) <= MOST_MISFITS:
            yield wrap("      not", f"{name}: {'; '.join(points)}", 14)


def _say_course(
    later: pd.DataFrame, treatments: pd.DataFrame, variants: str, config: Config
) -> list[str]:
    """Attempts and later tests by day; on one day a test comes after the attempt that it says it
    follows."""
    lines = []
    for row in treatments.itertuples(index=False):
        maneuver = config.maneuvers[row.maneuver]
        side = "" if row.side == "none" else f", {row.side}"
        how = f"{row.setting}, {row.performed_by}" + (
            "" if row.completed == "yes" else ", not completed"
        )
        if pd.notna(row.cycles) and pd.notna(row.cycles_planned):
            how += f", {row.cycles} of {row.cycles_planned} planned repetitions"
        fit = FIT[judge_maneuver(maneuver, row.side, variants)["fit"]]
        text = f"day {row.day}, attempt {row.attempt}: {maneuver.name}{side}; {how}; {fit}"
        lines.append((row.day, row.attempt, 0, wrap("", text, 2)))
    for _, test in later.iterrows():
        after = 0 if pd.isna(test["after_attempt"]) else test["after_attempt"]
        lines.append((test["day"], after, test["examination"], wrap("", say_test(test), 2)))
    return [line for *_, line in sorted(lines)] or ["  nothing"]


def _say_later(flags: pd.DataFrame, criteria: Criteria) -> Iterator[str]:
    if flags.empty:
        yield "  nothing"
    for row in flags.sort_values(["known_day", "flag"]).itertuples(index=False):
        rule = criteria.later_flags[row.flag]
        sessions = f", through {row.sessions} fitting sessions" if rule.sessions_least else ""
        yield wrap(
            "",
            f"{row.flag}: known on day {row.known_day}, shown since day {row.since_day}{sessions}",
            2,
        )
        yield wrap("", rule.says, 6)
        yield wrap("", f"[{rule.standing}: {rule.source}]", 6)


def _say_reasons(reasons: pd.DataFrame) -> Iterator[str]:
    if reasons.empty:
        yield "  nothing: it did not fail, moved nothing, or the record has a gap"
    for view, rows in reasons.groupby("view"):
        yield f"  {VIEW[view]}"
        for row in rows.itertuples(index=False):
            evidence = (
                ""
                if pd.isna(row.evidence)
                else ": " + "; ".join(EVIDENCE[c] for c in row.evidence.split())
            )
            yield wrap("", REASON[row.reason] + evidence, 6)


def _say_spells(spells: pd.DataFrame) -> Iterator[str]:
    for row in spells.itertuples(index=False):
        between = (
            f": after {row.left_days:g} days, at or before {row.right_days:g}"
            if row.status == "resolved"
            else ""
        )
        yield (
            f"  {row.endpoint:17} spell {row.spell}, from day {row.start_day}: "
            f"{codes.SPELL_STATUS[row.status]}{between}"
        )
