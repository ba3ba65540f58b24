"""What every report says whatever its numbers: how to read it, what to keep in mind, cautions.

One place for the page and the print.
"""

from pipeline.reports.committee.resolved import WHAT_WOULD_END_IT, WHATEVER
from pipeline.reports.figures.fillings import say_fillings
from pipeline.reports.readings import ROUNDED
from pipeline.reports.wording import HIDDEN
from schemas.study import Study

HEADINGS = {  # of the parts that every report has, by their names within the page
    "answer": "In short",
    "variants": "What is known variant by variant?",
    "time": "How soon did vertigo resolve?",
    "since": "What moved since the last release?",
    "flow": "What is in this pool?",
    "meaning": "What does “resolved” mean?",
    "limits": "What is to be kept in mind?",
    "cautions": "Cautions",
    "ledger": "Whom does each number count?",
    "people": "Who is in the pool?",
    "methods": "How was it estimated?",
    "hidden": "What was hidden?",
    "used": "What was used?",
}
FILES = {  # beside the page
    "committee.pdf": "This report on paper (PDF)",
    "technical.html": "Every estimate: the technical report",
    "figures/figures.csv": "Figures for slides, with their words",
    "../estimates/": "Tables of all estimates (.csv)",
}
ANSWER_NOTE = (
    f"“Between” gives the 95 % confidence interval; {ROUNDED} marks a number rounded to protect "
    "small groups. "
    "These are associations in recorded care: they do not show what a maneuver does, and they are "
    "no advice for one patient. A new neurological sign needs urgent assessment by local rules; "
    "local protocols and licensed practice come first. The cautions below say more."
)
CANNOT = (
    "What this pool cannot say: which maneuver to prefer, how many would have become well without "
    "one, or how one patient will fare. Maneuvers were not assigned at random, and resolution is "
    "seen only when a patient is tested."
)
CHOICE = (
    "Which maneuver to give is for the licensed practitioner and the local protocol; these numbers "
    "do not decide it."
)
LATER_SEEN = (
    "A test can only show later what happened earlier, and those who still had symptoms came back "
    "sooner."
)
CURVE_CAPTION = (
    "Days after the first maneuver. Line: share resolved. Band: its 95 % confidence interval. "
    "Dots: share whose tests had turned negative."
)
COMPARED_CAPTION = (
    "Days after the first maneuver. Lines: share resolved, of all who were treated; uprights: 95 % "
    "confidence intervals on the reported days, side by side; one with end marks and no line: the "
    "least and the greatest share that tests alone allow."
)
WITHIN = "Each bar lies within the one it was taken from."
FLOW_CAPTION = f"{WITHIN} {say_fillings(('whole', 'leaves', 'apart'))}"
PATHS_CAPTION = (
    "Each line is all who had the maneuver first, its parts in the order of the words below it. "
    f"{say_fillings(('negative', 'again', 'leaves'))}"
)
HOW_TO_READ = (
    "How to read the figures: the strong line is the estimated share resolved, of all who were "
    "treated; the faint band is its 95 % confidence interval. A line is drawn where its interval "
    "is narrow enough to tell something; the number beside its end is the share on that day. Dots "
    "are the share whose tests had turned negative by a day, of those tested again: when it was "
    "seen, not when it happened. An upright with end marks goes from the least to the greatest "
    "share that tests alone allow, whatever became of all others."
)
SHARES_NOTE = (
    "Shares are of all who were treated. Episodes: those tested again, of all who were treated "
    "where that number is given."
)
BOUNDS_NOTE = (
    "Where a cell gives two numbers “of 100”, no single share can be given: these are bounds that "
    f"hold {WHATEVER}. {WHAT_WOULD_END_IT}"
)
NOT_COMPARED = (
    "Maneuvers were not assigned at random: canal, side, severity and the habits of a site decide "
    "which one is given. A difference between these rows therefore cannot be read as a difference "
    "between maneuvers."
)
RED_FLAGS = (
    "Where a red flag is among the reasons, the local rules for urgent assessment come first."
)
CAUTIONS = (
    "This report describes groups. It is no advice for the care of one patient.",
    "Maneuvers are given by licensed practitioners or under their supervision. Some conditions of "
    "the neck, back, circulation and others ask for caution: the technical report lists them by "
    "maneuver, and the practitioner decides.",
    "Local protocols and licensed practice come first.",
)
METHODS = (
    (
        "Time to resolution",
        "Nobody sees the day of resolution. In a model each episode is resolved or not on each "
        "day; its evidence is what tests showed, on which days clinics tested, and what patients "
        "said of positional symptoms. It assumes that a planned test depends on the clinic, on the "
        "days since the last session or test and on what that test showed; that whoever is "
        "well may keep appointments less often, or stay away for good without a word, alike at "
        "every clinic; that a test which symptoms bring about comes as often on every day; that "
        "being recorded as lost does not depend on the course; and that tests are misread about as "
        "often as the plan says. Confidence "
        "intervals come from leaving out one clinic at a time (jackknife), or are exact where "
        "these reach further. Where only the form of the model would tell a share, there is none; "
        "bounds take its place: the share known to be resolved, and all but the share known not to "
        "be.",
    ),
    (
        "The days on which tests turned negative",
        "A test turns negative between the last positive and the first negative one. The dots, and "
        "the shares by other meanings of “resolved”, use just that, of those tested again "
        "(non-parametric maximum likelihood for interval-censored times; jackknife).",
    ),
    (
        "Attempt by attempt",
        "Shares of tested sessions with a negative test; a model in which patients and "
        "clinics differ (complementary log-log, integrated numerically) tells how many sessions it "
        "takes.",
    ),
    (
        "Which maneuver first",
        "The share of first sessions of one family of maneuvers whose next test was negative, by "
        "variant (intervals by leaving out one clinic at a time, or exact ones). Where the records "
        "of a cell tell too little, a model in which variants, maneuvers and clinics differ lends "
        "it strength from the others.",
    ),
    (
        "In which order",
        "Each order of maneuvers is followed in the model of resolution and of tests, as if all "
        "patients of the variant had been treated in it (g-formula).",
    ),
    (
        "Repeat or change",
        "Each episode is weighted by one over the probability of its own choice, given what was "
        "recorded before it (stabilised inverse-probability weights, truncated at the extremes, "
        "then calibrated: both groups have the same means of all of it); each group has its "
        "interval-censored curve. Every step is repeated without each clinic.",
    ),
    (
        "Why first maneuvers may have failed",
        "Patterns in the record that published work, or common practice, names as a reason. “At "
        "the time” uses only what was known on the day on which the failure was seen.",
    ),
    (
        "Handicap and recurrence",
        "A linear mixed model of all totals over days; the share free of recurrence among those "
        "resolved, interval-censored again.",
    ),
    (
        "What is positional vertigo",
        "All criteria are applied to every test before the first maneuver; what they leave "
        "possible is the diagnosis. Signs of another cause set a case apart, in a fixed order of "
        "precedence. Every rule has its source in the plan.",
    ),
    (
        "The plan",
        "Endpoints, days, subgroups and the rules for giving no number were fixed before the "
        "analysis. The technical report lists every estimate, also those not shown here, with the "
        "reason where there is no number.",
    ),
)


def say_limits(study: Study, agreement: str) -> list[dict]:
    """What to keep in mind, each as a `claim` and what follows from it."""
    guards = study.guards
    return [
        {
            "claim": "Maneuvers were not assigned at random.",
            "rest": (
                "Subgroups differ in more than their name; nothing here says why one resolves "
                "sooner than another."
            ),
        },
        {
            "claim": "Positional vertigo also resolves without treatment.",
            "rest": (
                "The curves show natural recovery and treatment together and cannot separate them."
            ),
        },
        {
            "claim": "Resolution is seen only when a patient is tested.",
            "rest": (
                "It lies between the last positive and the first negative test. The shares under "
                f"“{HEADINGS['time']}” come from a model that takes into account when clinics "
                "test, by assumptions that the records cannot all check; those of a canal, arm or "
                "mechanism are less sure than those of all. Those lost to follow-up may have fared "
                "better or worse than the others."
            ),
        },
        {
            "claim": "All other shares take the days of tests as given.",
            "rest": (
                "They tell when tests turned negative, which is later where clinics test late; a "
                "note beside them says by how much they may be off."
            ),
        },
        {
            "claim": "Diagnoses rest on what the sites recorded,",
            "rest": (
                f"read by one set of criteria for all; nobody was examined again. {agreement}"
            ).strip(),
        },
        {
            "claim": "Small subgroups are uncertain.",
            "rest": (
                f"With fewer than {guards.min_episodes} episodes, or a 95 % confidence interval "
                f"wider than {guards.widest_range_points:g} percentage points, no share is given. "
                "No share is held back because nearly all, or hardly any, were resolved."
            ),
        },
    ]


def say_hidden(study: Study) -> str:
    """What was hidden, and how it is marked."""
    rule = study.disclosure
    return (
        "To protect people and clinics, no number is shown that tells of a group of 1 to "
        f"{rule.min_cell - 1} episodes or rests on one clinic or nearly so, unless the pool has no "
        "other (primary suppression), nor one from which, together with others that are shown, "
        "such a number could be worked out (secondary suppression). Counts are rounded to "
        f"multiples of {rule.round_counts}, marked {ROUNDED}, so that rounded parts may not add up "
        f"to their whole; <{rule.least_shown} stands for fewer than that, or nobody. Shares are in "
        f"whole percent; one that would tell too much is in steps of five and marked {ROUNDED} "
        f"too. {HIDDEN} marks what cannot be shown at all."
    )
