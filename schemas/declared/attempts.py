"""What is declared of the analyses in pipeline/analyses/attempts."""

from schemas.adverse import EVENTS
from schemas.analysis import (
    ALL,
    EXACT,
    JACKKNIFE,
    ON_DAY_0,
    TESTS_AS_GIVEN,
    Analysis,
    Text,
)
from schemas.declared.description import name_base
from schemas.quantities import DIAGNOSTICS, VARIANCES, People, Quantity

FAILURE = People("first session a failure")
RAW = "share of attempts followed by a negative test"
# one each, so people
COUNTED = ("first_sessions_tested", "second_sessions_tested", "third_sessions_tested")

FAILURE_REASONS = Analysis(
    "pipeline.analyses.attempts.failure_reasons:estimate_failure_reasons",
    Text(
        "Why first maneuvers failed",
        "The share of failed first maneuvers with evidence for each reason: from what was known on "
        "the day of the failure, and from the whole record.",
        "Episodes whose first maneuver was followed by a positive test; for “never tested "
        "again”, also those without any.",
        "The day on which the failure was seen.",
        "Shares with exact intervals, or those by leaving out each site where they are wider. "
        "Several "
        "reasons are possible.",
        "Evidence is not a verdict, and what was not recorded cannot be evidence. Hindsight uses "
        "the future and is shown only as such.",
        f"Patterns with their sources in failure.yaml below; {EXACT}",
    ),
    (
        Quantity(
            "share",
            "share",
            "share",
            People("first session failed or unseen", ALL),
            People("first session unseen", ALL),
            "view={view},reason=never_tested_again",
            worth=5,
        ),
        *(
            Quantity(
                "share",
                "share",
                "share",
                People(FAILURE.name, ALL),
                FAILURE,
                f"view={view},reason={{reason}}",
                worth=worth,
            )
            for view, worth in (("at_the_time", 4), ("in_hindsight", 2))
        ),
        Quantity(
            "share",
            "share",
            "share",
            People(FAILURE.name, ALL),
            FAILURE,
            "view=at_the_time,reason=technique,measure={measure}",
            worth=3,
        ),
    ),
)
ATTEMPT_SUCCESS = Analysis(
    "pipeline.analyses.attempts.success:estimate_attempt_success",
    Text(
        "Success of single attempts",
        "The probability that the next deciding test after a session is negative.",
        "Sessions of positional episodes not known to be resolved, with a deciding test before "
        "the next session. Shares and events are of sessions, of which an episode can have "
        "several.",
        "Each session.",
        "Complementary log-log regression with the time to the test as covariate; the same with "
        f"random intercepts of patients; {JACKKNIFE}.",
        "Later attempts are of those whom earlier ones failed: the number of the attempt is always "
        "in the model. Sessions without a test are like those with one, given the covariates. "
        f"{TESTS_AS_GIVEN}",
        "Prentice & Gloeckler, Biometrics 1978;34:57-67; Pinheiro & Bates, J Comput Graph Stat "
        "1995;4:12-35",
    ),
    (
        *(
            Quantity(
                "success_raw",
                "part",
                RAW,
                People(name_base(base), ALL),
                People(f"{name_base(base)}, negative", ALL),
                f"attempt_number={number}",
                worth=5,
            )
            for number, base in enumerate(COUNTED, 1)
        ),
        Quantity(
            "success_raw",
            "session share",
            RAW,
            People("had such a session"),
            People("such a session, negative test"),
            worth=5,
        ),
        Quantity("success", "modelled share", "probability that the next test is negative"),
        Quantity(
            "success_in_sequence",
            "modelled share",
            "probability that the next attempt of a sequence succeeds",
        ),
        Quantity("resolved", "modelled share", "share resolved after so many attempts"),
        Quantity(
            "attempts_to_resolve_{percent}", "number", "attempts until {percent} % are resolved"
        ),
        Quantity(
            "log_gap_slope",
            "coefficient",
            "coefficient of the logarithm of the gap to the test",
            among=DIAGNOSTICS,
        ),
        Quantity(
            "patient_sd", "spread", "spread between patients (standard deviation)", among=VARIANCES
        ),
        Quantity("site_sd", "spread", "spread between sites (standard deviation)", among=VARIANCES),
        Quantity("model", "statistic", "a model that has no answer"),
        Quantity(
            "{variable}={class}",
            "ratio",
            "{variable}: {class}",
            direction="above 1: a negative test is likelier",
        ),
        Quantity(
            "{variable}",
            "ratio",
            "{variable}",
            direction="above 1: a negative test is likelier with more of it",
        ),  # a number, or one class
    ),
)
TECHNIQUE = Analysis(
    "pipeline.analyses.attempts.technique:estimate_technique",
    Text(
        "Success and technique",
        "Whether a negative next test is less likely the further hold and angles of a session were "
        "from those usual for its maneuver, where not all positions were reached, and outside of "
        "the clinic; and the part of failed first sessions that goes with such technique.",
        "Sessions of the attempt model in which something was moved. Of an angle or hold that was "
        "not recorded, or of which nothing is usual, nothing is said.",
        "Each session.",
        "Complementary log-log regression with effects of sites, the covariates of the attempt "
        "model, the family of the maneuver and natural cubic splines of the deviations; "
        f"{JACKKNIFE}. Failures avoided: the population attributable fraction, standardised to "
        "those at their first session.",
        "Associations: a short hold can be due to a patient who is unwell. The part of failures "
        "avoided is that of technique alone only if nothing else goes with it. Usual angles and "
        "holds are largely common practice. "
        f"{TESTS_AS_GIVEN}",
        "Prentice & Gloeckler, Biometrics 1978;34:57-67; Greenland & Drescher, Biometrics "
        "1993;49:865-872 (from memory)",
    ),
    (
        Quantity(
            "failed_as_given", "modelled share", "share of first sessions that fail, as given"
        ),
        Quantity(
            "failed_as_usual",
            "modelled share",
            "share of first sessions that would fail, had technique been as usual",
        ),
        Quantity(
            "failures_avoided",
            "part avoided",
            "part of failed first sessions that goes with technique that was not as usual",
            direction="above 0: fewer failures with the usual technique",
        ),
        Quantity("model", "statistic", "a model that has no answer"),
        Quantity(
            "{variable}={class}",
            "ratio",
            "{variable}: {class}",
            direction="below 1: a negative test is less likely",
        ),
        Quantity(
            "{variable}", "ratio", "{variable}", direction="below 1: a negative test is less likely"
        ),
    ),
)
ADVERSE_EVENTS = Analysis(
    "pipeline.analyses.attempts.adverse:describe_adverse",
    Text(
        "Adverse events at the first session",
        "The share in which the site recorded an adverse event with any maneuver of the first "
        "session, of all kinds together and of each, by family of maneuver, by place and "
        "by whether the neck was limited.",
        "Treated episodes of positional vertigo.",
        ON_DAY_0,
        "Shares with exact intervals, or those by leaving out each site where they are wider.",
        "What was not written down did not happen. Who was given which maneuver, and where, was "
        "not left to chance; exercises at home last longer than a session at a clinic.",
        EXACT,
    ),
    tuple(
        Quantity(
            f"adverse_{name}",
            "share",
            f"with {event.words}",
            People("treated"),
            People(f"adverse, {name}"),
            worth=4,
        )
        for name, event in EVENTS.items()
    ),
)
