"""What each analysis estimates, in plain words, in the order of the plan: read by those who answer for its numbers.

Each analysis says more of itself in the docstring of its module. Citations that stand in no such docstring are from memory.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Text:
    """What a section says over its tables; `source` names where the method is described."""

    title: str
    estimand: str
    population: str
    time_zero: str
    estimator: str
    assumptions: str
    source: str


TIMES = "Day 0, the day of the first maneuver."
NONE = "None: a description of the pool."
JACKKNIFE = "limits leave out one site at a time (MacKinnon, Nielsen & Webb, J Appl Econometrics 2023;38:671-694)"
EXACT = "Clopper & Pearson, Biometrika 1934;26:404-413"
TURNBULL = "Turnbull, J R Stat Soc B 1976;38:290-295"
TEXTS = {
    "episode_flow": Text(
        "Where the episodes went",
        "How many episodes were handed in, refused, set aside, stored, and entered each part.",
        "All episodes in the current deliveries.",
        NONE,
        "Counts.",
        "None beyond a correct count.",
        "von Elm et al., PLoS Med 2007;4:e296, item 13",
    ),
    "denominators": Text(
        "Whom the numbers are of",
        "How many episodes, sessions, patients and sites each number of the reports is of, and which larger group they were taken from.",
        "All episodes in the current deliveries, and the sessions that were given in them.",
        NONE,
        "Counts, by the definitions that the analyses themselves use.",
        "None beyond a correct count.",
        "von Elm et al., PLoS Med 2007;4:e296, item 13",
    ),
    "pool_description": Text(
        "Who is in the pool",
        "The share of episodes with each value of each variable; quartiles of age.",
        "All stored episodes; for canal, side, arm, mechanism and first maneuver those of positional vertigo.",
        NONE,
        "Shares; what was not recorded is a value of its own.",
        "None; the shares describe these clinics only.",
        "von Elm et al., PLoS Med 2007;4:e296, item 14",
    ),
    "non_positional": Text(
        "Probably not positional vertigo",
        "How many cases each reason sets apart, how many the site itself recognised, what had been given before.",
        "Episodes that the criteria call probably non-positional. They enter no estimate of resolution.",
        NONE,
        "Shares; several reasons can hold for one episode.",
        "Flags count what was recorded; what nobody asked raises none, so that the shares are lower bounds.",
        "Johns & Quinn, CMAJ 2020;192:E182; flags with their sources in criteria.yaml below",
    ),
    "diagnosis_agreement": Text(
        "Recorded against adjudicated diagnosis",
        "How often the clinician's working diagnosis and the reading of the looks name the same canal or side, and by how much "
        "more than chance.",
        "Positional episodes in which both name one.",
        "The first attempt: only looks before it enter the reading.",
        "Share with exact limits; Cohen's kappa with large-sample limits; for the pool those by leaving out each site where they are wider.",
        "None on who is right. Kappa depends on how common each canal is.",
        f"Cohen, Educ Psychol Meas 1960;20:37-46; Fleiss, Cohen & Everitt, Psychol Bull 1969;72:323-327; {EXACT}",
    ),
    "planted_variants": Text(
        "Planted against adjudicated variant",
        "What invented patients were made with against what their looks were read as, and the share read as planted where looks can "
        "tell: before treatment, a test that can show the variant showed nystagmus.",
        "The demonstration pool only: a real one has no such truth. Nothing is hidden, since nobody in it exists.",
        "The first attempt: only looks before it enter.",
        "Counts; shares with exact limits.",
        "Says how the criteria do on patients of the generator. Looks that fit several variants leave the reading open by design: "
        "then the planted one is among those allowed, and not recovered.",
        f"The generator in synthetic_data, with its sources; {EXACT}",
    ),
    "failure_reasons": Text(
        "Why first maneuvers failed",
        "The share of failed first maneuvers with evidence for each reason: from what was known on the day of the failure, and from the "
        "whole record.",
        "Episodes whose first maneuver was followed by a positive look; for “never looked”, also those without any.",
        "The day on which the failure was seen.",
        "Shares with exact limits, or those by leaving out each site where they are wider. Several reasons are possible.",
        "Evidence is no verdict, and what was not recorded can be evidence for nothing. Hindsight uses the future and is shown for that only.",
        f"Patterns with their sources in failure.yaml below; {EXACT}",
    ),
    "resolution_curves": Text(
        "Time to resolution",
        "The share resolved by each day, and the day by which half were.",
        "First spells of positional episodes that were looked at again.",
        TIMES,
        f"Non-parametric maximum likelihood for interval-censored times; {JACKKNIFE}.",
        "When people are looked at does not depend on the course, given the stratum. This is doubtful in the first days: those with symptoms "
        "come back early. Nobody who left did so because of the outcome.",
        TURNBULL,
    ),
    "resolution_regression": Text(
        "Time ratios",
        "By how much each covariate stretches the time to resolution, the others alike; 2 means twice the time.",
        "First spells of positional episodes that were looked at again.",
        TIMES,
        f"Interval-censored accelerated-failure regression, the distribution of least Akaike criterion; {JACKKNIFE}.",
        "The distribution fits (checked against the curve); covariates act by stretching time; no interactions. The choice of the distribution "
        "is not in the limits. Shares standardised by first maneuver are not given: without an interaction of maneuver and variant they would put "
        "the same maneuver first in every variant; shares for each variant by itself are to take their place.",
        "Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, 2002, chapters 3 and 7; Holm, Scand J Stat 1979;6:65-70",
    ),
    "attempt_success": Text(
        "Success of single attempts",
        "The chance that the next deciding look after a session is negative.",
        "Sessions of positional episodes not known to be resolved, with a deciding look before the next session. Shares and events are of "
        "sessions, of which an episode can have several.",
        "Each session.",
        f"Complementary log-log regression with the gap to the look as covariate; the same with random intercepts of patients; {JACKKNIFE}.",
        "Later attempts are of those whom earlier ones failed: the number of the attempt is always in the model. Sessions without a look are "
        "like those with one, given the covariates.",
        "Prentice & Gloeckler, Biometrics 1978;34:57-67; Pinheiro & Bates, J Comput Graph Stat 1995;4:12-35",
    ),
    "second_line": Text(
        "After a failed first session: repeat or change",
        "The share resolved by each day, and mean days to resolution, had all repeated the same maneuver and had all changed, whatever "
        "followed.",
        "Positional episodes whose first session was followed by a positive deciding look and that had a second session.",
        "The day of the second session.",
        f"Inverse-probability weights on what was known at the choice, weighted non-parametric curves; {JACKKNIFE}, or, where these "
        "reach further, exact ones at the effective number; for differences and ratios with few of a kind those that follow from both "
        "shares. Naive numbers leave out the weights.",
        "Nothing unmeasured moved both the choice and the outcome (the E-value says how strong it would have to be); everybody had a chance of "
        "either; who was not seen again is like who was.",
        "Hernán & Robins, Am J Epidemiol 2016;183:758-764; VanderWeele & Ding, Ann Intern Med 2017;167:268-274; Austin, Stat Med "
        "2009;28:3083-3107; Zou & Donner, Stat Med 2008;27:1693-1702",
    ),
    "sequence_paths": Text(
        "Paths that were taken",
        "Which maneuver followed which, and how many were seen to be resolved after each step.",
        "Treated positional episodes with a complete record.",
        NONE,
        "Counts; shares with exact limits, or those by leaving out each site where they are wider.",
        "Paths differ in who takes them; whole paths are never compared by outcome.",
        EXACT,
    ),
    "handicap_change": Text(
        "Handicap over time",
        "The mean total of the Dizziness Handicap Inventory (0 to 100, more is worse), its change, and the share who fell by an important "
        "amount.",
        "Treated positional episodes with a total.",
        TIMES,
        f"Linear mixed model by restricted likelihood, intercept and slope of patients, intercept of sites; {JACKKNIFE}.",
        "Totals may be missing for reasons that earlier totals tell, not for others. Those resolved and those not differ in much else.",
        "Laird & Ware, Biometrics 1982;38:963-974; Tamber et al., Health Qual Life Outcomes 2009;7:109; Jacobson & Newman, Arch Otolaryngol "
        "Head Neck Surg 1990;116:424-427",
    ),
    "competing_events": Text(
        "What comes first",
        "The cumulative incidence of resolution, switch to another canal, reclassification and loss, each as the first event.",
        "First spells of positional episodes.",
        TIMES,
        f"Cause-specific hazards on look intervals; by the day on which it was seen, Aalen-Johansen; {JACKKNIFE}.",
        "Loss censors where events are dated between looks: those lost are like those still seen. A switch can be missed where another canal "
        "was not tested.",
        "Aalen & Johansen, Scand J Stat 1978;5:141-150",
    ),
    "recurrence": Text(
        "Recurrence",
        "The share still free of a return of positional vertigo, by day after resolution.",
        "First spells that were seen to be resolved.",
        "The first negative day.",
        f"Non-parametric maximum likelihood for interval-censored times; {JACKKNIFE}.",
        "Returns handed in as a new episode are not counted, so that these shares of recurrence are lower bounds.",
        f"{TURNBULL}; Perez et al., Otol Neurotol 2012;33:437-443",
    ),
    "site_pooling": Text(
        "What sites share",
        "The mean over sites of the share resolved by a day, and of success of the first session.",
        "As in the curves and in success of attempts, by site.",
        TIMES,
        "The mean of the shares of sites, with limits by leaving out each site or, where these reach further, exact ones; smoothed courses and success "
        "in two stages on the complementary log-log scale: restricted likelihood, Hartung-Knapp limits.",
        "Sites are like a sample of the clinics meant. How far they differ, and the range for a further site, are withdrawn: sites test on "
        "different days, which alone makes equal sites look different.",
        "IntHout, Ioannidis & Borm, BMC Med Res Methodol 2014;14:25; Higgins, Thompson & Spiegelhalter, J R Stat Soc A 2009;172:137-159",
    ),
    "site_monitoring": Text(
        "Sites beside their case mix",
        "A site's share resolved by a day, beside what the other sites' patients of the same case mix let expect: planned, and withdrawn.",
        "First spells of positional episodes of sites that are large enough.",
        TIMES,
        "None: no site is compared until the days of the tests are part of the model.",
        "Of equal simulated sites that test first on day 1, 3, 7, 14 or 28, four in ten lay outside 95 % control limits, by day 7 and by day 30.",
        "Spiegelhalter, Stat Med 2005;24:1185-1202",
    ),
    "published_comparison": Text(
        "Beside published trials",
        "The pool's share resolved for the canal, maneuver and day of a published trial, beside the trial's own.",
        "First spells of positional episodes of that canal that began with that maneuver.",
        TIMES,
        "As the curves; for the trial its exact limits; published pools of trials by Mantel-Haenszel.",
        "The populations differ: a trial chooses its patients and looks at them by protocol. No difference is claimed or tested.",
        f"The trial named in each row; {EXACT}",
    ),
    "sensitivity": Text(
        "What would change the primary answers",
        "The share resolved by each day, and the difference between changing and repeating after a failed first session, under every choice "
        "that could have been made otherwise.",
        "As in the curves and in the second line, except where a variation changes it.",
        "Day 0, the day of the first maneuver; of the difference, the day of the second session.",
        "As the curves and the second line. Two variations show a tempting shortcut: the middle or the end of an interval taken for the day of resolution.",
        "Variations are not independent of each other, and none is a test.",
        "von Elm et al., PLoS Med 2007;4:e296, item 12e",
    ),
    "model_agreement": Text(
        "Models fitted twice",
        "How far the main models lie from a second fit of the same model on the same rows by lifelines or statsmodels.",
        "The rows of each analysis.",
        TIMES,
        "The largest difference of a model, in standard errors by the model, or in the share; a release in which one is greater than its "
        "tolerance does not leave.",
        "That two programs agree says that the sums are right, not that the model is.",
        "Davidson-Pilon, J Open Source Softw 2019;4:1317; Seabold & Perktold, Proc 9th Python in Science Conf 2010:92-96 (both from memory)",
    ),
}
