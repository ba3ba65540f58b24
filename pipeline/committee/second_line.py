"""After a failed first maneuver: the same again, or another. The comparison that the pool exists for, and how far it carries."""

import pandas as pd

from pipeline.committee.picture import state_share
from pipeline.committee.readings import Reading, Readings, read_estimates
from pipeline.committee.section import draw_shares, make_range, make_section, say_points, say_sites
from pipeline.committee.standing import CHOICE
from pipeline.committee.wording import (
    begin_sentence,
    count_words,
    join_words,
    name_maneuver,
    say_count,
    say_why_missing,
)
from pipeline.figures.ranges import Range
from schemas.study import Config

POPULATION = "positional, first session failed"
TOGETHER = 2  # whole pool and variants that stand in one figure
CAPTION = (
    "Dot: the same again. Hollow square: another maneuver. Weighted so that those treated in either way are alike in what was recorded "
    "before: canal and arm, first maneuver, age, time since onset and more. What was not recorded may still differ."
)
VARIANTS = {
    "posterior_long_arm": "posterior canal, long arm",
    "short_arm_by_sitting_up": "short arm by findings on sitting up",
    "short_arm_by_half_dix_hallpike": "short arm by half Dix-Hallpike pattern",
    "short_arm_by_treatment_response": "short arm by response to a maneuver",
    "adherent_debris": "adherent debris",
    "lateral_geotropic": "lateral canal, geotropic",
    "lateral_apogeotropic_free": "lateral canal, apogeotropic, free debris",
}


def describe_second_line(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Shares resolved after repeating and after changing, whole and by variant, weighted; the difference in words."""
    endpoint = config.study.resolution.primary
    readings = read_estimates(estimates, "second_line", POPULATION, endpoint)
    compared = read_estimates(estimates, "second_line", POPULATION, endpoint, "repeat")
    title = "After a failed first maneuver: repeat or change"
    day = config.study.second_line.primary_day
    rows, missing = {}, []
    for stratum in readings.strata():
        name = _name_stratum(stratum, config)
        repeat, change = (readings[stratum, f"risk_{arm}_day_{day}"] for arm in ("repeat", "change"))
        if name is None:
            continue
        if not (repeat.usable and change.usable):
            missing.append((say_why_missing(change if repeat.usable else repeat), name))
            continue
        rows[stratum] = (
            make_range(f"The same again{_say_size(repeat)}", repeat, heading=begin_sentence(name)),
            make_range(f"{_name_change(stratum, config)}{_say_size(change)}", change, kind="other"),
        )
    failed = readings["all", "failed_first_session"]
    sentences = [_say_choices(readings, failed), _say_effective(readings), _say_e_value(compared, day), CHOICE]
    notes = [f"{begin_sentence(why)}: {'; '.join(names)}." for why, names in _group(missing).items()]
    if not rows:
        return make_section("second-line", title, [*sentences, "No comparison can be made in this pool."], notes=notes)
    strata = list(rows)
    first = strata if len(strata) <= TOGETHER else strata[:1]
    figure = _draw(rows, first, "figure-second-line", _say_headline(readings, compared, day), day)
    rest = strata[len(first) :]
    parts = [rest[start : start + TOGETHER] for start in range(0, len(rest), TOGETHER)]
    return make_section(
        "second-line",
        title,
        sentences,
        finding=_say_difference(compared["all", f"risk_difference_day_{day}"], day),
        figure=figure,
        notes=notes,
        panels=[_draw_variants(number, part, rows, compared, day) for number, part in enumerate(parts, 1)],
    )


def _draw(rows: dict[str, tuple[Range, Range]], strata: list[str], name: str, title: str, day: int) -> dict:
    unit = f"resolved within {day} days of the second session"
    return draw_shares([row for s in strata for row in rows[s]], name=name, title=title, unit=unit, caption=CAPTION)


def _draw_variants(number: int, part: list[str], rows: dict, compared: Readings, day: int) -> dict:
    """Some variants in a figure of their own; its title counts in how many the two are told apart."""
    differences = [compared[stratum, f"risk_difference_day_{day}"] for stratum in part]
    apart = sum(_is_apart(difference) for difference in differences)
    title = f"Repeating and changing are told apart in {apart or 'none'} of {count_words(len(part), 'variant')}"
    return {"name": title, "size": "", "figure": _draw(rows, part, f"figure-second-line-{number}", title, day)}


def _is_apart(difference: Reading) -> bool:
    """Whether the range of a difference leaves out none, in whole percentage points."""
    if not difference.usable or difference.lower is None or difference.upper is None:
        return False
    return not round(100 * difference.lower) <= 0 <= round(100 * difference.upper)


def _say_difference(difference: Reading, day: int) -> str:
    if not difference.usable or difference.lower is None:
        return ""
    low, high = round(100 * difference.lower), round(100 * difference.upper)
    size = (
        ""
        if difference.n_episodes is None
        else f" ({count_words(difference.n_episodes, 'episode')}{say_sites(difference)})"
    )
    if not _is_apart(difference):
        return (
            f"After a failed first maneuver{size} the pool does not tell repeating from changing: the difference in the share resolved "
            f"within {day} days may lie anywhere from {_say_side(difference.lower)} to {_say_side(difference.upper)}."
        )
    more = "followed by another" if difference.estimate > 0 else "repeated"
    return (
        f"Where a failed first maneuver was {more}, {say_points(difference.estimate)} more were resolved within {day} days "
        f"({min(abs(low), abs(high))} to {max(abs(low), abs(high))}){size}. That is an association; it does not show why."
    )


def _say_headline(readings: Readings, compared: Readings, day: int) -> str:
    """What the figure shows of all variants: an order only where the range of the difference allows one."""
    repeat, change = (readings["all", f"risk_{arm}_day_{day}"] for arm in ("repeat", "change"))
    if not (repeat.usable and change.usable):
        return f"Repeating and changing in single variants, resolved within {day} days; for all together there is no number"
    beside = f"{state_share(repeat, 'after the same again')}, {state_share(change, 'after another')}"
    difference = compared["all", f"risk_difference_day_{day}"]
    if not _is_apart(difference):
        return f"Repeating and changing are not told apart by day {day}: {beside}"
    more = "after another maneuver" if difference.estimate > 0 else "after the same again"
    return f"More were resolved {more} by day {day}, an association: {beside}"


def _say_size(reading: Reading) -> str:
    return "" if reading.n_episodes is None else f": {count_words(reading.n_episodes, 'episode')}"


def _say_side(difference: float) -> str:
    if round(100 * difference) == 0:
        return "none"
    return f"{say_points(difference)} more after {'changing' if difference > 0 else 'repeating'}"


def _say_choices(readings: Readings, failed: Reading) -> str:
    if not failed.usable:
        return f"How many first sessions failed cannot be told: {say_why_missing(failed)}."
    if failed.estimate == 0:
        return "After no first session a look was still positive, so nothing could be repeated or changed."
    chosen = {arm: readings["all", f"choice_{arm}"] for arm in ("repeat", "change")}
    told = [
        f"{say_count(r.estimate)} had {what}"
        for r, what in zip(chosen.values(), ("the same again", "another maneuver"), strict=True)
        if r.usable
    ]
    after = f": {join_words(told)} next on the same side" if told else ""
    return f"In {say_count(failed.estimate)} episodes{say_sites(failed)} the look after the first session was still positive{after}."


def _say_effective(readings: Readings) -> str:
    """How many the weights leave, for those who would take them for nothing."""
    sizes = [readings["all", f"effective_n_{arm}"] for arm in ("repeat", "change")]
    if not all(size.usable for size in sizes):
        return ""
    told = " and ".join(f"{size.estimate:,.0f}" for size in sizes)
    return f"After weighting the two groups tell as much as {told} unweighted episodes."


def _say_e_value(readings: Readings, day: int) -> str:
    value = readings["all", f"e_value_day_{day}"]
    limit = readings["all", f"e_value_limit_day_{day}"]
    if not (value.usable and limit.usable) or limit.estimate <= 1:
        return ""
    return (
        f"Something unrecorded that goes with both the choice and the outcome {value.estimate:.1f} times as often could make up all of the "
        f"difference (E-value; {limit.estimate:.1f} times for the end of the range)."
    )


def _name_stratum(stratum: str, config: Config) -> str | None:
    """What the rows of a stratum are called; None for those that are in the technical report only."""
    if stratum == "all":
        return "all variants"
    parts = dict(part.split("=", 1) for part in stratum.split(","))
    if set(parts) == {"variant"}:
        return VARIANTS.get(parts["variant"], parts["variant"].replace("_", " "))
    return None


def _name_change(stratum: str, config: Config) -> str:
    parts = dict(part.split("=", 1) for part in stratum.split(",") if "=" in part)
    return f"Changed to {name_maneuver(parts['change_to'], config)}" if "change_to" in parts else "Another maneuver"


def _group(missing: list[tuple[str, str]]) -> dict[str, list[str]]:
    grouped: dict[str, list[str]] = {}
    for why, name in missing:
        grouped.setdefault(why, []).append(name)
    return grouped
