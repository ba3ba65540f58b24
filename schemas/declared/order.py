"""What is declared of the analyses in pipeline/analyses/order."""

from dataclasses import replace

from schemas import codes
from schemas.analysis import (
    ALL,
    DESCRIPTION,
    EXACT,
    FAILED,
    JACKKNIFE,
    ON_DAY_0,
    TESTS_AS_GIVEN,
    Analysis,
    Text,
    count,
)
from schemas.quantities import DIAGNOSTICS, VARIANCES, People, Quantity

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


VARIANT = ("variant",)
CELL = ("variant", "family")
TESTED = People("first tested", CELL)
NEGATIVE_TEST = "share whose next test was negative"
NEEDS = (
    Quantity("further_episodes_needed", "number", "further episodes needed, about"),
    Quantity(
        "years_at_this_pace",
        "number",
        "years in which they come, if as many come a year as did, about",
    ),
)
FIRST_CHOICE = Analysis(
    "pipeline.analyses.order.first_choice:estimate_first_choice",
    Text(
        "Which first maneuver cleared which variant",
        "The share whose next deciding test was negative, by variant and family of the first "
        "maneuver: as it is, as if all patients of the variant had been given each family, and "
        "pooled with the other variants and families.",
        "Positional episodes not known to be resolved before their first session, which was of "
        "one family of maneuvers and followed by a deciding test before any other session.",
        "The first session.",
        f"Shares; {JACKKNIFE}, or exact ones where these reach further. Standardised: "
        "inverse-probability weights on what was known at the choice. Pooled: logistic "
        "regression with crossed normal effects of variant, family, both together and site; the "
        "intervals take into account how far the standard deviations are known.",
        "Whoever was tested before another session is like the others of the cell. Standardised: "
        "no unmeasured confounding, and either choice was possible. Pooled: effects are normal, "
        "and case mix is as it was. The days of tests are taken as given here, and the median "
        "days to the test stand beside each share: the later it comes, the more have recovered "
        "by themselves.",
        "Breslow & Clayton, J Am Stat Assoc 1993;88:9-25; Röver et al., Res Synth Methods "
        "2021;12:448-474; Rosenbaum & Rubin, Biometrika 1983;70:41-55",
    ),
    (
        count("first_session", "had a first session", People("first session", VARIANT), worth=3),
        count(
            "first_tested",
            "tested after it, before another session",
            People("first tested", VARIANT),
            worth=5,
        ),
        count(
            "first_test_positive",
            "still positive at that test",
            People("first test positive", VARIANT),
            People("first tested", VARIANT),
            worth=3,
        ),
        Quantity(
            "first_test_negative",
            "share",
            NEGATIVE_TEST,
            TESTED,
            People("first test negative", CELL),
            worth=7,
        ),
        Quantity(
            "days_to_next_test",
            "days",
            "median days from the first session to the next test",
            TESTED,
            worth=3,
        ),
        Quantity(
            "standardised_first_test_negative",
            "probability",
            f"{NEGATIVE_TEST}, had all patients of the variant been given this family",
            People("first tested, compared", CELL),
            sized=False,
            worth=5,
        ),
        Quantity(
            "overlap",
            "probability",
            "share of a variant's patients who could have been given this family or another",
            People("first tested, of a family compared", VARIANT),
            sized=False,
            among=DIAGNOSTICS,
        ),
        Quantity("effective_n", "size", "effective number of episodes", among=DIAGNOSTICS),
        Quantity(
            "pooled_first_test_negative",
            "modelled share",
            f"{NEGATIVE_TEST}, pooled with other variants and families",
        ),
        Quantity(
            "learned_from_own_records",
            "statistic",
            "part of what is known of the pooled share that the cell's own records tell",
        ),
        *NEEDS,
        Quantity(
            "{factor}_sd",
            "spread",
            "spread of log-odds by {factor} (standard deviation)",
            among=VARIANCES,
        ),
    ),
)
STARTED = People("first spell began with", CELL)
COURSE_NUMBERS = (
    ("resolved_by_day_{day}", "probability", "share resolved by day {day}"),
    ("mean_days_with_vertigo", "days", "mean days with vertigo, up to the horizon"),
)
FIRST_COURSES = Analysis(
    "pipeline.analyses.order.first_courses:estimate_first_courses",
    Text(
        "What became of vertigo after each first maneuver",
        "The share resolved by each day, and mean days with vertigo, by variant and family of the "
        "first maneuver, whatever followed: as they are, and as if all patients of the variant had "
        "been given each family first.",
        "First spells of treated positional episodes whose first session was of one family, tested "
        "again or not.",
        ON_DAY_0,
        "Each episode's probability of having been resolved by a day, given all that was seen of "
        "it, by the model of resolution and of tests with rates by variant and jumps by family and "
        "kind of session; means of these, plain and with inverse-probability weights on what was "
        f"known at the first session; {JACKKNIFE}, or how well as many people would tell it where "
        "wider.",
        "The model of resolution and of tests holds. Standardised: no unmeasured confounding, and "
        "either choice was possible. Of an episode of which little is seen the model says what is "
        "true of its variant and family, so that weights move a share the less the less is seen.",
        "Rosenbaum & Rubin, Biometrika 1983;70:41-55; Royston & Parmar, BMC Med Res Methodol "
        "2013;13:152 (both from memory)",
    ),
    tuple(
        Quantity(
            f"{prefix}{term}",
            kind,
            f"{words}{had}",
            STARTED,
            sized=False,
            worth=5,
        )
        for prefix, had in (
            ("", ""),
            ("standardised_", ", had all patients of the variant begun with this family"),
        )
        for term, kind, words in COURSE_NUMBERS
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
        "Inverse-probability weights on what was known at the choice, calibrated so that both arms "
        "have the means of all (Hainmueller, Polit Anal 2012;20:25-46); weighted non-parametric "
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

SWITCHED = People("kept to an order until its second maneuver, or the second session of the same")
RAREST = People("given the rarest session of a strategy")
HARMED = People("harmed in the kind of session of a strategy in which the fewest were")
STRATEGY_NUMBERS = (
    ("resolved_by_day_{day}", "modelled share", "share resolved by day {day}"),
    ("resolved_after_{number}_sessions", "modelled share", "share resolved after session {number}"),
    ("mean_days_with_vertigo", "days", "mean days with vertigo, up to the horizon"),
    ("mean_sessions", "statistic", "mean number of sessions"),
)
# by the g-formula and by weights; planted in the demonstration pool too
TOLD_BOTH_WAYS = ("resolved_by_day_{day}", "mean_days_with_vertigo")
DIFFERENCE_KINDS = {
    "modelled share": "difference of shares",
    "days": "difference of days",
    "statistic": "statistic",
}
STRATEGIES = Analysis(
    "pipeline.analyses.order.strategies:estimate_strategies",
    Text(
        "Which maneuver in which order",
        "What would become of the patients of a variant under each order of maneuvers, with a test "
        "every week and a further session while it is positive, and how that differs from the "
        "usual order: the same maneuver again until the test is negative.",
        "First spells of treated positional episodes.",
        ON_DAY_0,
        "g-formula from the model of resolution and of tests; intervals leave out one site at a "
        "time, or are by the information of the model where wider.",
        "Those who failed under the same sessions are alike, whatever was done next; a session "
        "acts on the next day, a course of exercises on each of its days until the next session; "
        "the model of resolution and of tests holds. Maneuvers that were changed because the "
        "vertigo was strong look worse than they are.",
        "Robins JM. Math Modelling 1986;7:1393-1512",
    ),
    (
        count("rarest_session", "given the rarest kind of session of this order", RAREST, worth=2),
        *NEEDS,
        Quantity(
            "mean_sessions_with_adverse_event",
            "statistic",
            "mean number of sessions with an adverse event",
            HARMED,
            sized=False,
            worth=3,
        ),
        Quantity(
            "difference_mean_sessions_with_adverse_event",
            "statistic",
            "mean number of sessions with an adverse event, less that of the usual order",
            HARMED,
            sized=False,
            worth=3,
            direction="above 0: more than with the usual order",
        ),
        *(
            quantity
            for term, kind, words in STRATEGY_NUMBERS
            for quantity in (
                Quantity(term, kind, words, sized=False, worth=4),
                Quantity(
                    f"difference_{term}",
                    DIFFERENCE_KINDS[kind],
                    f"{words}, less that of the usual order",
                    sized=False,
                    worth=4,
                    direction="above 0: more than with the usual order",
                ),
            )
        ),
    ),
)
WEIGHTED_STRATEGIES = Analysis(
    "pipeline.analyses.order.weighted_strategies:estimate_weighted_strategies",
    Text(
        "Which maneuver in which order, by weights",
        "By how much each order of maneuvers would differ from the usual one, estimated another "
        "way: from those whose sessions kept to an order.",
        "First spells of treated positional episodes.",
        ON_DAY_0,
        "Clones of everybody in each order, censored at the first departure from it, with "
        "inverse-probability weights on what was known at each choice, and weighted "
        "non-parametric curves. Intervals leave out one site at a time, or follow from both "
        "shares at their effective numbers where wider.",
        "No unmeasured confounding at any choice; each choice was possible for everybody; those "
        "lost to follow-up are like those whom other choices censor. Tests come when clinics "
        f"test. {TESTS_AS_GIVEN}",
        "Robins & Finkelstein, Biometrics 2000;56:779-788; Hernán & Robins, Am J Epidemiol "
        "2016;183:758-764",
    ),
    tuple(
        Quantity(
            f"difference_{term}",
            DIFFERENCE_KINDS[kind],
            f"{words}, less that of the usual order",
            SWITCHED,
            sized=False,
            worth=4,
            direction="above 0: more than with the usual order",
        )
        for term, kind, words in STRATEGY_NUMBERS
        if term in TOLD_BOTH_WAYS
    ),
)
PLANTED_ANSWERS = Analysis(
    "pipeline.analyses.description.planted_answers:compare_answers",
    Text(
        "Planted and found",
        "What each order of maneuvers would truly have done for a variant, beside the released "
        "answer and the naive one: the share whose next test was negative, whenever it came and "
        "whoever was given the maneuver.",
        "The demonstration pool only: a real one has no such truth. Nothing is hidden, since "
        "nobody in it exists.",
        ON_DAY_0,
        "The hidden course of each patient, run anew under each order.",
        "The truth is of those who had the variant, the answer of those whose tests were read as "
        "having it.",
        "The generator in synthetic_data, with its sources",
    ),
    tuple(
        Quantity(
            f"{{source}}_{prefix}{term}",
            DIFFERENCE_KINDS[kind] if prefix else kind,
            f"{{source}}: {words}{less}",
            sized=False,
        )
        for term, kind, words in STRATEGY_NUMBERS
        if term in TOLD_BOTH_WAYS
        for prefix, less in (("", ""), ("difference_", ", less that of the usual order"))
    ),
    of_the_demonstration=True,
)
