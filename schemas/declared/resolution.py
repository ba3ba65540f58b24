"""What is declared of the analyses in pipeline/analyses/resolution."""

from schemas import codes
from schemas.analysis import (
    ALL,
    EXACT,
    FOLLOWED,
    JACKKNIFE,
    ON_DAY_0,
    TESTS_AS_GIVEN,
    TURNBULL,
    Analysis,
    Text,
    count,
)
from schemas.identities import KNOWN
from schemas.quantities import DIAGNOSTICS, VARIANCES, People, Quantity

# strata of which it is told what is known on a day
COARSE = ("all", "canal={canal}", "mechanism={mechanism}")
EVENTS = ("resolved", "switched", "reclassified")
BOUNDS = (("resolved", "negative"), ("unresolved", "positive"))  # and what tests had shown
RESOLVED_BY_DAY = "share resolved by day {day}"
HALF_NEGATIVE = "day by which the tests of half had turned negative"
NEGATIVE_BY_DAY = "share whose tests had turned negative by day {day}"


def _know(part: str, stratum: str, **more: object) -> Quantity:
    """The part of a curve of whom the same is known on a day."""
    people = People(f"known {part} {{endpoint}}", fields={"day": "{day}"})
    words = f"known on day {{day}}: {codes.KNOWN_ON_DAY[part]}"
    return count(
        f"known_{part}_day_{{day}}", words, people, FOLLOWED, stratum=stratum, worth=3, **more
    )


RESOLUTION_CURVES = Analysis(
    "pipeline.analyses.resolution.curves:estimate_resolution_curves",
    Text(
        "The days on which tests turned negative",
        "The share whose tests had turned negative by each day, and the day by which those of half "
        "had: no estimate of the day of resolution, which is earlier.",
        "First spells of positional episodes that were tested again.",
        ON_DAY_0,
        f"Non-parametric maximum likelihood for interval-censored times; {JACKKNIFE}.",
        "When people are tested does not depend on the course, given the stratum. This is "
        "doubtful in the first days: those with symptoms come early. Loss to follow-up does not "
        f"depend on the outcome. {TESTS_AS_GIVEN}",
        TURNBULL,
    ),
    (
        Quantity(
            "median_days",
            "days",
            HALF_NEGATIVE,
            People("named by response", ALL),
            stratum="arm=short,basis=treatment_response",
        ),
        Quantity(
            "unresolved_{edge}_day_{day}",
            "probability",
            "share whose tests had not turned negative by day {day}, {edge} curve",
            FOLLOWED,
            worth=7,
        ),
        Quantity("resolved_by_day_{day}", "probability", NEGATIVE_BY_DAY, FOLLOWED, worth=8),
        Quantity("median_days", "days", HALF_NEGATIVE, FOLLOWED, worth=7),
        *(_know(part, stratum) for part in KNOWN for stratum in COARSE),
        *(_know(part, "", stays=True) for part in KNOWN),
    ),
)
RESOLUTION_REGRESSION = Analysis(
    "pipeline.analyses.resolution.regression:estimate_resolution_regression",
    Text(
        "Time ratios",
        "By how much each covariate stretches the time to resolution, the others alike; 2 means "
        "twice the time.",
        "First spells of positional episodes that were tested again.",
        ON_DAY_0,
        "Interval-censored accelerated-failure regression, the distribution of least Akaike "
        f"criterion; {JACKKNIFE}.",
        "The distribution fits (checked against the curve); covariates act by stretching time; no "
        "interactions. The intervals leave out the choice of the distribution. Shares "
        "standardised by "
        "first maneuver are not given: without an interaction of maneuver and variant they would "
        "put the same maneuver first in every variant; shares for each variant by itself are to "
        f"take their place. {TESTS_AS_GIVEN}",
        "Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, 2002, chapters 3 "
        "and 7; Holm, Scand J Stat 1979;6:65-70",
    ),
    (
        Quantity(
            "aic_{distribution}",
            "criterion",
            "Akaike information criterion: {distribution}",
            among=DIAGNOSTICS,
        ),
        Quantity("effect_of_{variable}", "statistic", "test of all classes at once: {variable}"),
        Quantity(
            "fitted_share_less_observed_by_day_{day}",
            "difference of shares",
            "fitted less observed share resolved by day {day}",
            sized=False,
            among=DIAGNOSTICS,
        ),
        Quantity("scale", "spread", "scale of the error distribution", among=VARIANCES),
        Quantity(
            "{variable}={class}", "ratio", "{variable}: {class}", direction="above 1: takes longer"
        ),
        Quantity(
            "{variable}", "ratio", "{variable}", direction="above 1: takes longer with more of it"
        ),  # a number, or of one class only
    ),
)
COMPETING_EVENTS = Analysis(
    "pipeline.analyses.resolution.competing_events:estimate_competing_events",
    Text(
        "What comes first",
        "The cumulative incidence of resolution, switch to another canal, reclassification and "
        "loss, each as the first event.",
        "First spells of positional episodes.",
        ON_DAY_0,
        "Cause-specific hazards on test intervals; by the day on which it was seen, "
        f"Aalen-Johansen; {JACKKNIFE}.",
        "Loss censors where events are dated between tests: those lost are like those still seen. "
        f"A switch can be missed where another canal was not tested. {TESTS_AS_GIVEN}",
        "Aalen & Johansen, Scand J Stat 1978;5:141-150",
    ),
    (
        *(
            Quantity(
                f"incidence_{event}_day_{{day}}",
                "probability",
                f"cumulative incidence by day {{day}}: {event}",
                People("informative"),
                sized=False,
            )
            for event in EVENTS
        ),
        Quantity(
            "event_free_day_{day}",
            "probability",
            "share without any event by day {day}",
            People("informative"),
            sized=False,
        ),
        *(
            Quantity(
                f"seen_{event}_day_{{day}}",
                "probability",
                f"share in whom it was seen by day {{day}}: {event}",
                People("on path"),
                sized=False,
            )
            for event in (*EVENTS, "lost")
        ),
        Quantity(
            "nothing_seen_day_{day}",
            "probability",
            "share in whom nothing was seen by day {day}",
            People("on path"),
            sized=False,
        ),
    ),
)
PUBLISHED_COMPARISON = Analysis(
    "pipeline.analyses.resolution.published_comparison:compare_published",
    Text(
        "Beside published trials",
        "The pool's share resolved for the canal, maneuver and day of a published trial, beside "
        "the trial's own.",
        "First spells of positional episodes of that canal that began with that maneuver.",
        ON_DAY_0,
        "As the curves; for the trial its exact interval; published pools of trials by "
        "Mantel-Haenszel.",
        "The populations differ: a trial chooses its patients and tests them by protocol. No "
        f"difference is claimed or tested. {TESTS_AS_GIVEN}",
        f"The trial named in each row; {EXACT}",
    ),
    (
        Quantity("resolved_by_day_{day}", "probability", NEGATIVE_BY_DAY, FOLLOWED),
        Quantity(
            "odds_ratio",
            "ratio",
            "odds ratio",
            direction="above 1: more resolved after the maneuver than without",
        ),
    ),
)


def _bound_by(state: str, part: str, stratum: str) -> Quantity:
    """The share of whom so much is known on a day, of all treated, tested again or not."""
    return Quantity(
        f"known_{state}_by_day_{{day}}",
        "share",
        f"share known to be {state} on day {{day}}",
        People("on path"),
        People(f"known {part} objective", fields={"day": "{day}"}),
        stratum=stratum,
        worth=3,
    )


JOINT_RESOLUTION = Analysis(
    "pipeline.analyses.resolution.joint:estimate_joint",
    Text(
        "When it resolved, with the days of testing as evidence",
        "The share resolved by each day under the care that was given, whoever was tested and "
        "whenever; and the shares known to be resolved, and to be unresolved, whatever became of "
        "all others.",
        "First spells of treated positional episodes with a record without gaps, tested again or "
        "not.",
        ON_DAY_0,
        "A hidden state with the days of tests and what patients say as evidence, by the greatest "
        "penalised likelihood; hazards by variant and band of days, jumps on the day after a "
        "session by variant and family of maneuver, each drawn to its canal's; planned tests by "
        "each site's "
        "own habit, and tests that symptoms bring about, told apart by recorded reasons; "
        f"{JACKKNIFE}. Where the records do not tell how often tests are misread, the limits reach "
        "over all rates of the plan.",
        "Given the site, the days since the last session or test, and what that test showed, a "
        "planned test depends on the course only in that whoever is well may keep appointments "
        "less or more often, alike on every day and at every site; so may they stay away for good "
        "without a word, and tests that symptoms bring about come as often on every day. Recorded "
        "loss does not depend on the course. Misreading is near what the plan says, unless tests "
        "of one episode contradict each other. "
        "Where only the form of the hazard would tell a share, there is none.",
        "Grüger, Kay & Schumacher, Biometrics 1991;47:595-605; Lange et al., Biometrics "
        "2015;71:90-101; Byrd, Lu, Nocedal & Zhu, SIAM J Sci Comput 1995;16:1190-1208 (all three "
        "from memory); Louis, J R Stat Soc B 1982;44:226-233 (from memory)",
    ),
    (
        Quantity(
            "resolved_by_day_{day}",
            "probability",
            RESOLVED_BY_DAY,
            People("on path"),
            worth=8,
            sized=False,
        ),
        Quantity(
            "resolved_by_day_{day}_{end}_misread",
            "modelled share",
            "share resolved by day {day}, {end} under other rates of misreading",
        ),
        *(_bound_by(*known, stratum) for known in BOUNDS for stratum in COARSE),
        Quantity(
            "tests_that_tell_misreading_{state}",
            "size",
            "number of tests that would tell as much of misreading while {state}",
            among=DIAGNOSTICS,
        ),
        Quantity(
            "unplanned_tests_more_while_unresolved",
            "statistic",
            "unplanned tests per day while unresolved, more than while resolved",
            among=DIAGNOSTICS,
        ),
        Quantity(
            "tests_positive_{state}",
            "modelled share",
            "share of tests that are positive while {state}",
            among=DIAGNOSTICS,
        ),
        Quantity(
            "reported_{state}",
            "modelled share",
            "share of contacts that report symptoms while {state}",
            among=DIAGNOSTICS,
        ),
    ),
)

PREDICTED = {  # what is predicted, in words
    "tests": "days with a test",
    "positive_tests": "positive tests among tests",
    "reports": "reports of symptoms among those asked",
}
MORE_SEEN = "above 1: more were seen than the model expects"


def _predict(outcome: str, words: str) -> tuple[Quantity, ...]:
    """What is told of one thing that the model predicts."""
    ratio = f"{outcome}_seen_to_expected_day_{{day}}"
    return (
        *(
            Quantity(term, "ratio", f"{words} {when}, seen beside expected", direction=MORE_SEEN)
            for term, when in (
                (ratio, "on day {day}"),
                (f"{ratio}_to_{{last}}", "on days {day} to {last}"),
            )
        ),
        Quantity(
            f"{outcome}_parts_judged",
            "number",
            f"{words}: bands of days of sites that are judged",
            among=DIAGNOSTICS,
        ),
        Quantity(
            f"{outcome}_parts_beyond_2",
            "number",
            f"{words}: of these bands, beyond two standard deviations (by chance 4.6 %)",
            among=DIAGNOSTICS,
        ),
        Quantity(
            f"{outcome}_largest_deviation",
            "statistic",
            f"{words}: largest deviation of these bands, in standard deviations (p-value by "
            "Bonferroni)",
            among=DIAGNOSTICS,
        ),
        Quantity(f"{outcome}_sites_judged", "number", f"{words}: sites that are judged"),
        Quantity(
            f"{outcome}_sites_beyond_chance",
            "number",
            f"{words}: of these sites, beyond chance (p below .05 for all bands of a site)",
        ),
    )


JOINT_PREDICTION = Analysis(
    "pipeline.analyses.resolution.prediction:estimate_prediction",
    Text(
        "Whether the model with the days of testing fits",
        "Tests, positive tests among tests and reports of symptoms among those asked, as many "
        "times as the model expects, by band of days; and at how many sites they are further from "
        "it than chance puts them.",
        "First spells of treated positional episodes with a record without gaps, tested again or "
        "not.",
        ON_DAY_0,
        "Each day is predicted from the days before it by the fitted model, with the sessions, the "
        "watch and who was asked as they were; the variance of what is seen less what is expected "
        "is the sum of p (1 - p), less what the estimated habits take up. Judged is what has a "
        "variance of 5 at least; p-values are by the normal distribution.",
        "Besides habits the rates are taken as known, which makes deviations look smaller. A good "
        "fit does not show that the shares resolved are right: other courses might give the same "
        "tests. A bad one does not show by how much they are wrong.",
        "Dawid, J R Stat Soc A 1984;147:278-292; Pierce, Ann Stat 1982;10:475-478 (both from "
        "memory)",
    ),
    tuple(quantity for each in PREDICTED.items() for quantity in _predict(*each)),
)
