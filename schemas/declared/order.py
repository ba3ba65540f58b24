"""What is declared of the analyses in pipeline/analyses/order."""

from dataclasses import replace

from schemas import codes
from schemas.analysis import (
    ALL,
    DESCRIPTION,
    EXACT,
    FAILED,
    JACKKNIFE,
    TESTS_AS_GIVEN,
    Analysis,
    Text,
    count,
)
from schemas.quantities import DIAGNOSTICS, People, Quantity

COMPARED = People("compared")
CHOSEN = People("compared", fields={"choice": "{arm}"})
PATH = ("canal", "path")
# one step on, and one step back
NEXT, BEFORE = {"path": "{path} > {family}"}, {"path": "{path} > .."}
ON_PATH = People("on path", PATH)
ARMS = ("repeat", "change")
WEIGHTS = {
    "mean": "mean weight",
    "max": "greatest weight",
    "max_before_cut": "greatest weight before the cut",
}
WAYS = {
    "": "{}",
    "naive_": "naive {}",
    "at_once_": "{}, if sessions act at once",
}  # how arms are compared, and in words
ENDED = {
    "resolved_at_next_test": ("resolved at the next test", 5),
    "resolved_at_later_test": ("resolved at a later test", 2),
    "no_further_session": ("no further session", 2),
    "never_tested_again": ("not tested again", 4),
    "next_without_test": ("had another session before any test", 1),
}
PATHS = (
    count("treated", "treated for positional vertigo", People("treated", ALL), worth=7),
    count(
        "incomplete_record",
        "record incomplete",
        People("incomplete record", ALL),
        People("treated", ALL),
    ),
    count(
        "never_positive",
        "no test that could turn negative",
        People("never positive", ALL),
        People("treated", ALL),
    ),
    count(
        "reached",
        "came to this point of the path",
        ON_PATH,
        People("on path", PATH, BEFORE),
        worth=6,
    ),
    count("next={family}", "next: {family}", People("on path", PATH, NEXT), ON_PATH, worth=4),
    *(
        count(term, words, People(f"on path, {term}", PATH), ON_PATH, worth=worth)
        for term, (words, worth) in ENDED.items()
    ),
    Quantity(
        "share_resolved_at_next_test",
        "share",
        "share resolved at the next test, of those tested then",
        People("on path, tested again", PATH),
        People("on path, resolved_at_next_test", PATH),
        worth=6,
    ),
)
BY_CANAL = tuple(replace(path, stratum="canal={canal},path={path}", stays=True) for path in PATHS)


def _compare(way: str) -> tuple[Quantity, ...]:
    """What became of repeating and changing, compared in one way."""

    def say(words: str) -> str:
        return WAYS[way].format(words)

    more, longer = "above 0: more resolved after changing", "above 0: changing took longer"
    return (
        Quantity(
            f"{way}risk_{{arm}}_day_{{day}}",
            "probability",
            say("share resolved by day {day} had all chosen: {arm}"),
            CHOSEN,
            worth=5,
        ),
        Quantity(
            f"{way}risk_difference_day_{{day}}",
            "difference of shares",
            say("difference of shares resolved by day {day}, change minus repeat"),
            COMPARED,
            worth=5,
            direction=more,
        ),
        Quantity(
            f"{way}risk_ratio_day_{{day}}",
            "ratio",
            say("ratio of shares resolved by day {day}, change to repeat"),
            direction="above 1: more resolved after changing",
        ),
        Quantity(
            f"{way}mean_days_{{arm}}",
            "days",
            say("mean days to resolution, up to the horizon, had all chosen: {arm}"),
            CHOSEN,
            worth=3,
        ),
        Quantity(
            f"{way}mean_days_difference",
            "difference of days",
            say("difference of mean days to resolution, change minus repeat"),
            COMPARED,
            worth=3,
            direction=longer,
        ),
    )


SECOND_LINE = Analysis(
    "pipeline.analyses.order.second_line:estimate_second_line",
    Text(
        "After a failed first session: repeat or change",
        "The share resolved by each day, and mean days to resolution, had all repeated the same "
        "maneuver and had all changed, whatever followed.",
        "Positional episodes whose first session was followed by a positive deciding test and that "
        "had a second session.",
        "The day of the second session.",
        "Inverse-probability weights on what was known at the choice, weighted non-parametric "
        f"curves; {JACKKNIFE}, or, where these reach further, exact ones at the effective number; "
        "for differences and ratios those that follow from score limits of both shares. Naive "
        "numbers leave out the weights. Among what was known is how strong the vertigo and the "
        "nystagmus still were at the failed examination.",
        "No unmeasured confounding (the E-value says how strong it would have to be); either "
        "choice was possible for everybody; those lost to follow-up are like the others. "
        f"{TESTS_AS_GIVEN}",
        "Hernán & Robins, Am J Epidemiol 2016;183:758-764; VanderWeele & Ding, Ann Intern Med "
        "2017;167:268-274; Austin, Stat Med 2009;28:3083-3107; Zou & Donner, Stat Med "
        "2008;27:1693-1702; Newcombe, Stat Med 1998;17:873-890",
    ),
    (
        count("failed_first_session", "first session failed", FAILED, worth=7),
        *(
            count(
                f"choice_{choice}",
                f"next: {words}",
                People(FAILED.name, fields={"choice": choice}),
                worth=6 if choice in ARMS else 3,
            )
            for choice, words in codes.CHOICE.items()
        ),
        count(
            "not_seen_again_{arm}",
            "not seen again after the choice: {arm}",
            People("unseen", fields={"choice": "{arm}"}),
        ),
        count(
            "changed_to_{family}",
            "changed to: {family}",
            People(FAILED.name, fields={"choice": "change", "to": "{family}"}),
        ),
        *(quantity for way in WAYS for quantity in _compare(way)),
        Quantity("e_value_day_{day}", "ratio", "E-value of the estimate, day {day}"),
        Quantity(
            "e_value_limit_day_{day}", "ratio", "E-value of the nearer confidence limit, day {day}"
        ),
        *(
            Quantity(f"weight_{which}", "statistic", words, among=DIAGNOSTICS)
            for which, words in WEIGHTS.items()
        ),
        Quantity("truncated_share", "probability", "share whose weights were cut", COMPARED),
        Quantity(
            "effective_n_{arm}", "size", "effective number of episodes: {arm}", among=DIAGNOSTICS
        ),
        Quantity(
            "smd_{when}:{level}",
            "coefficient",
            "standardised difference {when} weighting: {level}",
            direction="above 0: more of it, or more often, among those who changed",
        ),
    ),
)
SEQUENCE_PATHS = Analysis(
    "pipeline.analyses.order.paths:describe_sequences",
    Text(
        "Paths that were taken",
        "Which maneuver followed which, and how many were seen to be resolved after each step.",
        "Treated positional episodes with a complete record.",
        DESCRIPTION,
        "Counts; shares with exact intervals, or those by leaving out each site where they are "
        "wider.",
        "Paths differ in who takes them; whole paths are never compared by outcome.",
        EXACT,
    ),
    BY_CANAL + PATHS,
)
