"""What the declared quantities (schemas/declared.py) tell of each other: sums, sets within sets,
chains.

Beyond what stands here, a set of people is divided by any variable of its strata: the parts by one
variable add up to their whole, and what is left over is a group of people too. So nothing need be
said of a table by canal, and a new variable is no way around the audit.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from schemas.adverse import EVENTS

FIXED = ("path", "day", "points", "variation")  # variables that tell sets apart and divide none
# one may be in several of their values
OVERLAPPING = ("reason", "measure", "later_flag", "view", "variant", "change_to")
ENDPOINTS = (
    "objective",
    "every_canal",
    "strict",
    "patient_reported",
    "composite",
    "same_visit",
)


@dataclass(frozen=True)
class Sum:
    """The people called `whole` are those called any of `parts`, none twice,
    under whatever narrows them alike."""

    whole: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Within:
    """Those called `inner` are among those called `outer`, under whatever narrows them alike.

    Attributes
    ----------
    inner, outer
        Names of people.
    loses
        Variables that narrow the inner ones alone.
    gains
        Variables with values that narrow the outer ones too; a value may name a variable of the
        inner ones, as "{family}", and then tells only of those that it narrows.
    """

    inner: str
    outer: str
    loses: tuple[str, ...] = ()
    gains: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Chain:
    """People with a value of a variable are among those with the value before it.

    Attributes
    ----------
    name
        Name of the people.
    variable
        Whose values are in order.
    order
        The values, the widest first, others being in no order with them; empty: as numbers, the
        least first.
    rises
        Whether, of numbers, the greatest is first.
    only, but
        Values of other variables: of which alone, and of which not.
    """

    name: str
    variable: str
    order: tuple[str, ...] = ()
    rises: bool = False
    only: Mapping[str, str] = field(default_factory=dict)
    but: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class ShareSum:
    """Shares of the same people that add up to one, by the pattern of their terms;
    what the pattern names twice is alike in all of them."""

    analysis: str
    terms: tuple[str, ...]


@dataclass(frozen=True)
class Contrast:
    """Terms that compare two arms, and the terms of the arms:
    who has one of each has the other arm."""

    analysis: str
    terms: tuple[str, ...]
    arms: tuple[str, ...]


OUTSIDE = (  # of a base, those who are not in the next one
    ("handed in", "stored"),
    ("stored", "patients"),
    ("stored", "positional"),
    ("positional", "treated"),
    ("treated", "on path"),
    ("on path", "followed objective"),
    ("treated", "first session a failure"),
    ("first session a failure", "first session failed"),
    ("first session failed", "repeated or changed"),
)
SUMS = (
    Sum("handed in", ("refused", "set aside", "stored")),
    Sum("stored", ("positional", "apart", "undetermined")),
    Sum(
        "apart",
        (
            "apart, recognised",
            "apart, never recognised, treated",
            "apart, never recognised, untreated",
        ),
    ),
    Sum(
        "apart, recognised",
        ("apart, recognised before treatment", "apart, recognised after treatment"),
    ),
    Sum(
        "apart, treated unrecognised",
        ("apart, recognised after treatment", "apart, never recognised, treated"),
    ),
    Sum("positional", ("untreated", "treated")),
    Sum("treated", ("incomplete record", "never positive", "on path")),
    Sum("on path", ("not tested again", "followed objective")),
    Sum(
        "on path",
        ("on path, tested again", "on path, never_tested_again", "on path, next_without_test"),
    ),
    *(Sum(whole, (part, f"outside {part}")) for whole, part in OUTSIDE),
    Sum("first session failed or unseen", ("first session a failure", "first session unseen")),
    Sum("first tested", ("first test negative", "first test positive")),
)
KNOWN = ("negative", "between", "positive", "untested")  # on a day
DIVIDED = {
    f"followed {endpoint}": tuple(f"known {part} {endpoint}" for part in KNOWN)
    for endpoint in ENDPOINTS
} | {"apart, recognised": ("apart, recognised by", "apart, recognised after")}  # by day
PATH = "on path"
CELL = ("variant", "family")  # of a first maneuver
ENDS = tuple(  # a path ends in one of these ways or goes on
    f"on path, {end}"
    for end in (
        "resolved_at_next_test",
        "resolved_at_later_test",
        "no_further_session",
        "never_tested_again",
    )
)
# variants, and then the same without the merely suspected
WITH_SUSPECTED = ("short_arm_by_sitting_up", "short_arm_by_nystagmus_on_sitting_up")
WITHIN = (
    Within("reclassified later", "treated"),
    Within("apart, on record by", "apart", ("day",)),
    Within("apart, recognised by", "apart, recognised", ("day",)),
    Within("apart, recognised after", "apart, recognised", ("day",)),
    Within("informative", PATH),
    Within("followed objective", "informative"),
    Within("followed composite", "followed objective"),
    *(Within(f"followed {endpoint}", "treated") for endpoint in ENDPOINTS),
    *(Within(f"resolved {endpoint}", f"followed {endpoint}") for endpoint in ENDPOINTS),
    *(Within(f"free {endpoint}", f"resolved {endpoint}", ("day",)) for endpoint in ENDPOINTS),
    Within("resolved patient_reported", "resolved objective"),
    Within("first session failed", PATH),
    Within("first session failed or unseen", PATH),
    Within("compared", "first session failed", ("change_to",)),
    Within("first session", "treated", ("variant",)),
    Within("first tested", "first session"),
    Within("first tested", "on path, tested again", CELL, {"path": "{family}"}),
    Within("first tested, compared", "first tested"),
    Within("first tested, of a family compared", "first tested"),
    Within("first test positive", "first session failed"),
    Within("unseen", "first session failed"),
    Within("adverse, any", "treated"),
    *(Within(f"adverse, {name}", "adverse, any") for name in EVENTS if name != "any"),
    *(Within(f"named {part}", "positional") for part in ("canal", "side", "arm", "mechanism")),
    Within("both sides silent", "both sides tested"),
    Within("treated on the first day", "treated"),
    Within("treated, onset recorded", "treated"),
    Within("total", "treated", ("day",)),
    Within("two totals", "total"),
    Within("two totals", "total", ("day",), {"day": "0"}),
)
CHAINS = (
    Chain("apart, recognised by", "day", rises=True),
    Chain("apart, recognised after", "day"),
    *(
        Chain(f"{kept} {endpoint}", "day")
        for kept in ("free", "known positive")
        for endpoint in ENDPOINTS
    ),
    *(
        Chain(f"known {kept} {endpoint}", "day", rises=True)
        for kept in ("negative", "untested")
        for endpoint in ENDPOINTS
    ),
    *(
        Chain(name, "variant", WITH_SUSPECTED)
        for name in ("first session", "first tested", "first test negative", "first test positive")
    ),
    Chain("fell", "points"),
    Chain("total too low", "points", rises=True),
    Chain(
        "first session a failure",
        "view",
        ("in_hindsight", "at_the_time"),
        but={"reason": "undetermined"},
    ),
    Chain(
        "first session a failure",
        "view",
        ("at_the_time", "in_hindsight"),
        only={"reason": "undetermined"},
    ),
)
SHARE_SUMS = (
    ShareSum(
        "competing_events",
        (
            *(
                f"incidence_{event}_day_{{day}}"
                for event in ("resolved", "switched", "reclassified")
            ),
            "event_free_day_{day}",
        ),
    ),
    ShareSum(
        "competing_events",
        (
            *(
                f"seen_{event}_day_{{day}}"
                for event in ("resolved", "switched", "reclassified", "lost")
            ),
            "nothing_seen_day_{day}",
        ),
    ),
)
WAYS = ("", "naive_", "at_once_")
CONTRASTS = (
    Contrast("diagnosis_agreement", ("{part}_kappa",), ("{part}_agreement",)),
    *(
        Contrast(
            "second_line",
            (f"{way}risk_difference_day_{{day}}", f"{way}risk_ratio_day_{{day}}"),
            (f"{way}risk_repeat_day_{{day}}", f"{way}risk_change_day_{{day}}"),
        )
        for way in WAYS
    ),
    Contrast(
        "second_line",
        ("e_value_day_{day}", "e_value_limit_day_{day}"),
        ("risk_repeat_day_{day}", "risk_change_day_{day}"),
    ),
    *(
        Contrast(
            "second_line",
            (f"{way}mean_days_difference",),
            (f"{way}mean_days_repeat", f"{way}mean_days_change"),
        )
        for way in WAYS
    ),
)
