"""What is declared of the analyses in pipeline/analyses/description."""

from collections.abc import Iterator

from schemas.analysis import ALL, DESCRIPTION, EXACT, JACKKNIFE, ON_DAY_0, Analysis, Text, count
from schemas.denominators import BASES
from schemas.quantities import People, Quantity

FLOW = {  # term: the people counted, and what they are called
    "handed_in": ("handed in", "handed in by the sites"),
    "refused": ("refused", "refused with their whole delivery"),
    "set_aside": ("set aside", "set aside: a problem in the record"),
    "stored": ("stored", "stored"),
    "positional": ("positional", "positional vertigo"),
    "probable_non_positional": ("apart", "probably not positional vertigo"),
    "undetermined": ("undetermined", "undetermined: the record does not tell"),
    "untreated": ("untreated", "no treatment recorded"),
    "incomplete_record": ("incomplete record", "record incomplete where it matters"),
    "never_positive": ("never positive", "no test that could turn negative"),
    "not_tested_again": ("not tested again", "not tested again after the maneuver"),
    "followed": ("followed objective", "tested again after the first maneuver"),
    "reclassified_later": (
        "reclassified later",
        "found to be something else after the first attempt",
    ),
}
LEDGER = {  # what a base of the ledger is called elsewhere; others by their own names
    "handed_in": "handed in",
    "complete": "on path",
    "followed": "followed objective",
    "taken_for_failed": "first session a failure",
    "failed": "first session failed",
    "compared": "repeated or changed",
}
NAMED = People("named {part}")
PARTS = ("canal", "side", "arm", "mechanism", "positional", "variant")  # of a planted variant


def name_base(base: str) -> str:
    """The people of a base of schemas.denominators.BASES."""
    return LEDGER.get(base, base.replace("_", " "))


def _describe(population: str, variables: tuple[str, ...]) -> tuple[Quantity, ...]:
    """Shares of those of whom a variable is known, by its values."""
    return tuple(
        Quantity(
            "share",
            "share",
            "share",
            People(population, ALL, {variable: "*"}),
            People(population),
            stratum=f"{variable}={{value}}",
            worth=8,
        )
        for variable in variables
    )


def _keep_ledger() -> tuple[Quantity, ...]:
    """How many each base counts, people or their sessions, and how many of the larger one are not
    in it."""
    rows = [Quantity("sites", "number", "sites with a stored episode")]
    for name, base in BASES.items():
        words = f"{base.noun}s {base.says}"
        both = (
            (name, name_base(name), words),
            (f"without_{name}", f"outside {name_base(name)}", f"not among the {words}"),
        )
        for term, people, phrase in both:
            if base.several:
                rows.append(
                    count(
                        term, phrase, People(f"all of {people}", ALL), People(people, ALL), worth=9
                    )
                )
            elif base.noun != "site":
                rows.append(count(term, phrase, People(people, ALL), worth=9))
    return tuple(rows)


EPISODE_FLOW = Analysis(
    "pipeline.analyses.description.counts:count_flow",
    Text(
        "Where the episodes went",
        "How many episodes were handed in, refused, set aside, stored, and entered each part.",
        "All episodes in the current deliveries.",
        DESCRIPTION,
        "Counts.",
        "None beyond a correct count.",
        "von Elm et al., PLoS Med 2007;4:e296, item 13",
    ),
    tuple(
        count(term, words, People(people, ALL), worth=9) for term, (people, words) in FLOW.items()
    ),
)
DENOMINATORS = Analysis(
    "pipeline.analyses.description.denominators:count_denominators",
    Text(
        "Denominators: whom each number counts",
        "How many episodes, sessions, patients and sites each number of the reports is of, and "
        "which larger group they were taken from.",
        "All episodes in the current deliveries, and the sessions that were given in them.",
        DESCRIPTION,
        "Counts, by the definitions that the analyses themselves use.",
        "None beyond a correct count.",
        "von Elm et al., PLoS Med 2007;4:e296, item 13",
    ),
    _keep_ledger(),
)
POOL_DESCRIPTION = Analysis(
    "pipeline.analyses.description.counts:describe_pool",
    Text(
        "Who is in the pool",
        "The share of episodes with each value of each variable; quartiles of age.",
        "All stored episodes; for canal, side, arm, mechanism and first maneuver those of "
        "positional vertigo.",
        DESCRIPTION,
        "Shares; what was not recorded is a value of its own.",
        "None; the shares describe these clinics only.",
        "von Elm et al., PLoS Med 2007;4:e296, item 14",
    ),
    (
        *_describe("stored", ("sex", "age", "cause")),
        *_describe("positional", ("canal", "side", "arm", "arm_basis", "mechanism", "certainty")),
        *_describe("treated", ("first_maneuver",)),
        Quantity("age_{quantile}", "years", "age, {quantile}", People("stored", ALL), worth=7),
    ),
)


def _count_apart() -> Iterator[Quantity]:
    """Shares of those kept apart: whom they count, what they are called,
    and what they are worth where not all can be shown."""
    events = {
        "recognised_by_site": (
            "recognised",
            "share in which the site itself noted another diagnosis or no canal, or ended "
            "follow-up as no longer thought to be positional vertigo",
            8,
        ),
        "treated_before_recognition": (
            "treated unrecognised",
            "share given a maneuver before the site recognised them, if it ever did",
            7,
        ),
        "never_recognised_treated": (
            "never recognised, treated",
            "share that the site never recognised and treated with a maneuver",
            3,
        ),
        "never_recognised_untreated": (
            "never recognised, untreated",
            "share that the site neither recognised nor treated with a maneuver",
            3,
        ),
        "recognised_after_treatment": (
            "recognised after treatment",
            "share that the site recognised after a maneuver",
            1,
        ),
        "recognised_before_treatment": (
            "recognised before treatment",
            "share that the site recognised before any maneuver",
            1,
        ),
    }
    for term, (people, words, worth) in events.items():
        yield Quantity(
            term, "share", words, People("apart"), People(f"apart, {people}"), worth=worth
        )


NON_POSITIONAL = Analysis(
    "pipeline.analyses.description.non_positional:describe_non_positional",
    Text(
        "Probably not positional vertigo",
        "How many cases each reason sets apart, how many the site itself recognised and by which "
        "day, and how many maneuvers had been given until then.",
        "Episodes that the criteria call probably non-positional. They enter no estimate of "
        "resolution.",
        "Day 0, the day of the first maneuver; without one, of the first test.",
        "Shares; several reasons can hold for one episode. Those never recognised count as such on "
        "every day.",
        "Flags count what was recorded; what was not asked raises none, so that the shares are "
        "lower bounds. Signs of another cause are no diagnosis. Answers and a working diagnosis "
        "without a canal have no day of their own and are taken as of the first test. Of those "
        "treated some reason is on record by day 0 by the rule itself.",
        "Johns & Quinn, CMAJ 2020;192:E182; flags with their sources in criteria.yaml below",
    ),
    (
        Quantity(
            "share",
            "share",
            "share",
            People("apart", ALL),
            People("apart"),
            "reason={reason}",
            worth=4,
        ),
        Quantity(
            "share",
            "share",
            "share",
            People("treated", ALL),
            People("treated"),
            "later_flag={later_flag}",
        ),
        Quantity(
            "on_record_by_day_{day}",
            "share",
            "share with a reason, or with this one, on record by day {day}",
            People("apart"),
            People("apart, on record by", fields={"day": "{day}"}),
        ),
        *_count_apart(),
        Quantity(
            "recognised_by_day_{day}",
            "share",
            "share that the site recognised by day {day}",
            People("apart"),
            People("apart, recognised by", fields={"day": "{day}"}),
            worth=6,
        ),
        Quantity(
            "recognised_after_day_{day}",
            "share",
            "share that the site recognised later than on day {day}",
            People("apart"),
            People("apart, recognised after", fields={"day": "{day}"}),
            worth=6,
        ),
        Quantity(
            "recognised_day_median",
            "days",
            "median day of recognition by the site",
            People("apart, recognised"),
        ),
        Quantity(
            "sessions_before_recognition_{average}",
            "sessions",
            "{average} number of sessions before the site recognised it, of those treated",
            People("apart, treated unrecognised"),
        ),
        Quantity(
            "reclassified_day_median",
            "days",
            "median day of the other diagnosis",
            People("reclassified later"),
        ),
        Quantity(
            "reclassified_sessions_{average}",
            "sessions",
            "{average} number of sessions before the day of the other diagnosis",
            People("reclassified later"),
        ),
    ),
)
DIAGNOSIS_AGREEMENT = Analysis(
    "pipeline.analyses.description.agreement:estimate_agreement",
    Text(
        "Recorded against adjudicated diagnosis",
        "How often the clinician's working diagnosis and the reading of the tests name the same "
        "canal or side, and the agreement beyond chance.",
        "Positional episodes in which both name one.",
        "The first attempt: only tests before it enter the reading.",
        "Share with exact interval; Cohen's kappa with large-sample interval; for the pool those "
        "by leaving out each site where they are wider.",
        "None on who is right. Kappa depends on how common each canal is.",
        "Cohen, Educ Psychol Meas 1960;20:37-46; Fleiss, Cohen & Everitt, Psychol Bull "
        f"1969;72:323-327; {EXACT}",
    ),
    (
        Quantity(
            "{part}_agreement",
            "share",
            "share in agreement, {part}",
            NAMED,
            People("alike {part}"),
            worth=6,
        ),
        Quantity("{part}_kappa", "agreement", "Cohen's kappa, {part}", NAMED),
        count(
            "{part}:recorded={recorded},adjudicated={adjudicated}",
            "{part}: recorded: {recorded}, adjudicated: {adjudicated}",
            People(
                "named {part}", fields={"recorded": "{recorded}", "adjudicated": "{adjudicated}"}
            ),
        ),
        Quantity(
            "one_of_two_canals_fits_the_record",
            "share",
            "share in which the record names one of the two canals that the tests allow",
            People("positional", ALL, {"canal": "anterior_or_posterior"}),
            People("one of two canals fits", ALL),
        ),
    ),
)
PLANTED_VARIANTS = Analysis(
    "pipeline.analyses.description.planted:compare_planted",
    Text(
        "Planted against adjudicated variant",
        "The variant that invented patients were given against the one that their tests were "
        "read as, and the share read as planted where tests can tell: before treatment, a test "
        "that can show the variant showed nystagmus.",
        "The demonstration pool only: a real one has no such truth. Nothing is hidden, since "
        "nobody in it exists.",
        "The first attempt: only tests before it enter.",
        "Counts; shares with exact intervals.",
        "Tells how the criteria perform on invented patients. Tests that fit several variants "
        "leave the reading open by design: then the planted one is among those allowed, and not "
        "recovered.",
        f"The generator in synthetic_data, with its sources; {EXACT}",
    ),
    (
        Quantity("{part}:read={read}", "number", "{part}: read as: {read}"),
        *(
            Quantity(f"{part}_recovered", "modelled share", f"share read as planted: {part}")
            for part in PARTS
        ),
        Quantity(
            "variant_allowed",
            "modelled share",
            "share in which the planted variant is among those that the tests allow",
        ),
    ),
    of_the_demonstration=True,
)
FIRST_TEST_DELAY = Analysis(
    "pipeline.analyses.description.first_test:estimate_first_test",
    Text(
        "How long until the next test",
        "The share tested again by each day after day 0, had everybody been seen for as long, and "
        "quartiles of the delay.",
        "Treated positional episodes; the setting is that of the first session.",
        ON_DAY_0,
        f"Kaplan-Meier; {JACKKNIFE} or, where these reach further, exact ones at the effective "
        "number.",
        "Those lost to follow-up would have been tested like the others. Tests that symptoms "
        "brought about count like planned ones.",
        f"Kaplan & Meier, J Am Stat Assoc 1958;53:457-481; {EXACT}",
    ),
    (
        Quantity(
            "tested_by_day_{day}",
            "probability",
            "share tested again by day {day}",
            People("treated"),
            sized=False,
        ),
        Quantity(
            "delay_{quartile}",
            "days",
            "delay of the first test in days, {quartile}",
            People("treated"),
            sized=False,
        ),
    ),
)


def _ask_of_care() -> Iterator[Quantity]:
    """Shares in which what the guideline asks is recorded: whom each is asked of, and who has
    it."""
    measures = {
        "dix_hallpike_both_sides": (
            "positional",
            "both sides tested",
            "share with a Dix-Hallpike test to both sides before the first maneuver",
        ),
        "roll_both_sides": (
            "both sides silent",
            "both sides silent, rolled",
            "share with a roll test to both sides, of those whose Dix-Hallpike tests showed "
            "horizontal nystagmus or none",
        ),
        "treated_on_first_day": (
            "positional",
            "treated on the first day",
            "share given a maneuver on the day of the first test",
        ),
        "reassessed_by_day_{day}": (
            "treated",
            "reassessed",
            "share tested again or asked about symptoms by day {day}",
        ),
    }
    for term, (asked, done, words) in measures.items():
        yield Quantity(term, "share", words, People(asked), People(done), worth=6)


QUALITY_MEASURES = Analysis(
    "pipeline.analyses.description.quality_measures:estimate_quality_measures",
    Text(
        "What the guideline asks",
        "The share of episodes in which it is recorded that both sides were tested, that a "
        "maneuver was given on the day of the first test, and that the patient was tested again "
        "or asked about symptoms within a month; quartiles of the days from onset to the first "
        "maneuver.",
        "Positional episodes; for the roll test those whose Dix-Hallpike tests showed horizontal "
        "nystagmus or none on both sides; for the month after the first maneuver those treated; "
        "for the days from onset those treated whose onset is recorded.",
        "The first test before the first maneuver; day 0 for the month.",
        "Shares with exact intervals, or those by leaving out each site where they are wider.",
        "None on what was done: what was not recorded may have been, so that shares are lower "
        "bounds. Whoever was lost within the month counts as not seen again. Imaging and "
        "suppressants are not in the deliveries.",
        "Bhattacharyya et al., Otolaryngol Head Neck Surg 2017;156(3 Suppl):S1-S47, of which the "
        f"recommendation on the Dix-Hallpike test was read, the others are from memory; {EXACT}",
    ),
    (
        *_ask_of_care(),
        Quantity(
            "onset_to_maneuver_{quartile}",
            "days",
            "days from onset to the first maneuver, {quartile}",
            People("treated, onset recorded"),
        ),
    ),
)
