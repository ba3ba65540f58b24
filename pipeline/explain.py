"""One stored episode in words: its looks in order, which criterion each look meets and why others not, the verdict and its sources."""

from collections.abc import Iterator

import pandas as pd

from pipeline.clinic.patterns import are_silent, check_pattern, find_pattern
from pipeline.clinic.rolls import pair_rolls, tell_side
from pipeline.warehouse import Warehouse
from schemas import codes
from schemas.criteria import Criteria, Sourced
from schemas.study import Config


class NoSuchEpisode(LookupError):
    """The warehouse holds no such episode in a current delivery."""


def explain_episode(warehouse: Warehouse, site: str, episode_id: str, config: Config) -> str:
    """The explanation as text for a terminal. It quotes the record, so it stays where the record is. Raises NoSuchEpisode."""
    delivered = {
        name: _pick(warehouse.read(name, current=True), site, episode_id)
        for name in ("episodes", "examinations", "treatments")
    }
    derived = {name: _pick(warehouse.read(name), site, episode_id) for name in ("findings", "adjudications", "spells")}
    if delivered["episodes"].empty:
        raise NoSuchEpisode(f"no current delivery of {site} holds this episode")
    key = ["day", "look", "test", "side"]
    looks = delivered["examinations"].merge(derived["findings"].drop(columns=["site", "episode_id"]), on=key)
    looks = looks.sort_values(key, ignore_index=True)
    verdict = derived["adjudications"].iloc[0]
    parts = [
        [f"{site}  {episode_id}", ""],
        _say_verdict(verdict, delivered["episodes"].iloc[0], config.criteria),
        ["", "Looks before the first attempt, and the criteria they could meet"],
        _say_looks(looks[looks["before_treatment"]].reset_index(drop=True), config.criteria),
        ["", "What followed"],
        _say_course(looks[~looks["before_treatment"]], delivered["treatments"], config),
        ["", "Resolution"],
        _say_spells(derived["spells"]),
    ]
    return "\n".join(line for part in parts for line in part)


def _pick(rows: pd.DataFrame, site: str, episode_id: str) -> pd.DataFrame:
    return rows[rows["site"].eq(site) & rows["episode_id"].eq(episode_id)].reset_index(drop=True)


def _say_verdict(verdict: pd.Series, episode: pd.Series, criteria: Criteria) -> Iterator[str]:
    yield f"Verdict    {codes.POSITIONAL[verdict['positional']]}; {codes.CERTAINTY[verdict['certainty']]}"
    yield f"           canal {verdict['canal']}, side {verdict['side']}, arm {verdict['arm']}, debris {verdict['mechanism']}"
    if verdict["variants"]:
        yield f"           the looks allow: {verdict['variants'].replace(' ', ' or ')}"
    if verdict["side_signs"]:
        yield f"           side of the lateral canal by {verdict['side_by']}: {verdict['side_signs']}"
    if pd.notna(verdict["known_day"]):
        yield f"           could be known on day {verdict['known_day']}"
    if pd.notna(verdict["reclassified_day"]):
        yield f"           found to be something else on day {verdict['reclassified_day']}"
    yield from _say_rules("For", verdict["criteria"], criteria.criteria)
    yield from _say_rules("Against", verdict["reasons_against"], criteria.flags | criteria.other_causes)
    recorded = ", ".join(str(episode[f"recorded_{part}"]) for part in ("canal", "side", "arm", "mechanism"))
    yield f"Recorded   {recorded}; other diagnosis: {episode['other_diagnosis']}"


def _say_rules(label: str, names: str, rules: dict[str, Sourced]) -> Iterator[str]:
    """Each rule with what it says, its standing and its source."""
    for name in names.split() or ["nothing"]:
        yield f"{label:10} {name}"
        if name in rules:
            yield f"           {rules[name].says}"
            yield f"           [{rules[name].standing}: {rules[name].source}]"


def _say_looks(before: pd.DataFrame, criteria: Criteria) -> Iterator[str]:
    """Each look with the criteria it meets, and for each other criterion of its test the keys that do not fit."""
    pairs = pair_rolls(before, criteria.duration)
    pairs = pairs.join(tell_side(pairs))
    for candidates, paired in ((before, False), (pairs, True)):
        for number in range(len(candidates)):
            look = candidates.iloc[[number]]
            yield "  " + (_say_pair(look.iloc[0]) if paired else _say_look(look.iloc[0]))
            for name, criterion in criteria.criteria.items():
                if criterion.both_sides == paired and look["test"].iloc[0] in criterion.tests:
                    missing = _list_missing(look, before, criterion)
                    yield f"      meets  {name}" if not missing else f"      not    {name}: {', '.join(missing)}"


def _list_missing(look: pd.DataFrame, before: pd.DataFrame, criterion) -> list[str]:
    """What keeps a look from meeting a criterion of its test, in words."""
    held = check_pattern(look, criterion, unmeasured=True).iloc[0]
    missing = [key.replace("_", " ") for key, fits in held.items() if not fits]
    if criterion.silent_tests and not are_silent(before, criterion.silent_tests, look)[0]:
        missing.append(f"no silent {' or '.join(codes.TEST[test] for test in criterion.silent_tests)}")
    if criterion.also_seen is not None and not find_pattern(before, criterion.also_seen, unmeasured=False).any():
        missing.append(f"{' or '.join(codes.TEST[test] for test in criterion.also_seen.tests)} does not show the rest")
    return missing


def _say_look(look: pd.Series) -> str:
    side = "" if look["side"] == "none" else f", {look['side']}"
    parts = [f"{part} {look[part]}" for part in ("vertical", "torsion", "horizontal") if look[part] != "none"]
    timing = [
        f"{look[c]:g} {unit}"
        for c, unit in (("latency_s", "s latency"), ("duration_s", "s"), ("peak_spv", "deg/s"))
        if pd.notna(look[c])
    ]
    seen = "; ".join([" ".join(parts) or "no nystagmus", *timing, f"vertigo {look['vertigo']}"])
    return f"day {look['day']}, look {look['look']}: {codes.TEST[look['test']]}{side}: {seen}"


def _say_pair(pair: pd.Series) -> str:
    return f"day {pair['day']}: supine roll test, both sides together: {pair['horizontal']}, {pair['duration_class']}, side {pair['ear']}"


def _say_course(later: pd.DataFrame, treatments: pd.DataFrame, config: Config) -> list[str]:
    """Attempts and later looks by day; on one day a look comes after the attempt that it says it follows."""
    lines = []
    for row in treatments.itertuples(index=False):
        name = config.maneuvers[row.maneuver].name
        lines.append(
            (
                row.day,
                row.attempt,
                0,
                f"  day {row.day}, attempt {row.attempt}: {name}, {row.side}; {row.setting}, {row.performed_by}",
            )
        )
    for _, look in later.iterrows():
        after = 0 if pd.isna(look["after_attempt"]) else look["after_attempt"]
        lines.append((look["day"], after, look["look"], "  " + _say_look(look)))
    return [line for *_, line in sorted(lines)] or ["  nothing"]


def _say_spells(spells: pd.DataFrame) -> Iterator[str]:
    for row in spells.itertuples(index=False):
        between = f": after {row.left_days:g} days, at or before {row.right_days:g}" if row.status == "resolved" else ""
        yield f"  {row.endpoint:17} spell {row.spell}, from day {row.start_day}: {codes.SPELL_STATUS[row.status]}{between}"
