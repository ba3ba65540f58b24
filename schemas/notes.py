"""The sentences that a released note may be made of: none counts people.

What a model says beyond these stays where it was said.

A note is sentences with semicolons between them. A sentence may hold numbers of the plan or of
days, as `{number}`; where one counts people, or is a share with all its digits, it leaves in other
words.
"""

import re
from functools import cache

from schemas import codes

# name of the line of release.csv that says why a release is not made of the newest records
NEWER = "newer records"
# names of its lines that say of which years the records are
FIRST_YEAR, LAST_YEAR = "first year of the records", "last year of the records"
SAME, STAYS = None, ""
# as models say it: as it leaves, SAME if in the same words, STAYS if not at all
SENTENCES: dict[str, str | None] = {
    # what to keep in mind
    "by definition": SAME,
    "between day {number} and day {number}": SAME,
    "the data allow {number} to {number}": "the data allow a range of shares",
    "the lower is given": SAME,
    "by day {number} the data allow shares of {number} to {number}": (
        "by day {number} the data allow a range of shares"
    ),
    "by day {number} the data allow shares of {number} to {number} and of {number} to {number}": (
        "by day {number} the data allow a range of shares"
    ),
    "one site: the interval leaves out that sites differ": SAME,
    "the interval leaves out that sites differ": SAME,
    "the standard error is that of the logarithm": SAME,
    "of the classes that have a number": SAME,
    "the least: reported": SAME,
    (
        "different populations: further sessions may have come before the day, and tests "
        "followed no protocol"
    ): SAME,
    "several reasons are possible for one failure": SAME,
    "evidence, not a verdict": SAME,
    "a lower bound: whoever is not tested again raises no flag": SAME,
    "it asks to examine again and is no diagnosis": SAME,
    "patients' slopes do not vary beyond their intercepts and are left out": SAME,
    (
        "seen in another canal of the same ear that had been tested before, or recorded by the "
        "site with an attempt"
    ): SAME,
    "lost or withdrew, on the day of the last contact": SAME,
    "some episodes have several attempts": SAME,
    "attempts one after another, each seen after the gap of the first": SAME,
    "no upper confidence limit within {number} attempts": SAME,
    "without those whose probability of one choice was next to none": SAME,
    (
        "a twentieth of an arm or more had another session before day {number} and was first seen "
        "well after it: the shares may be greater, as in at_once_, and differ otherwise"
    ): SAME,
    "for a test {number} days after the session and the average case mix": SAME,
    "on the complementary log-log scale": SAME,
    "the p-value is that of Cochran's Q": SAME,
    "sites differ less than expected by chance": SAME,
    "the plain interval is {number} to {number}": "the plain interval is wider",
    (
        "sites with enough episodes, but of which too little is known, are not among them, which "
        "may shift the mean"
    ): SAME,
    (
        "sites vary more than expected by chance: an interval that allows for it would be about "
        "{number} times as wide"
    ): "sites vary more than expected by chance",
    "the sites on the whole vary as expected by chance": SAME,
    (
        "no verdict by itself: one site in twenty may lie outside the {number} % limits by chance"
    ): SAME,
    "the least is {number} episodes": SAME,
    "the offset of an even hazard would be {number}": SAME,
    (
        "the offset of an even hazard would be {number}: it does not fit, since an attempt acts at "
        "once"
    ): SAME,
    (
        "the offset of an even hazard would be {number}: it does not fit, since an attempt acts at "
        "once (log-likelihood lower by {number})"
    ): (
        "the offset of an even hazard would be {number}: it does not fit, since an attempt acts at "
        "once"
    ),
    (
        "weakly identified, since rows end with the first event: the log-likelihood falls by "
        "{number} at {number} and by {number} at {number}"
    ): "weakly identified, since rows end with the first event",
    (
        "the likelihood is flat: the log-likelihood falls by {number} at {number} and by {number} "
        "at {number}"
    ): "the likelihood is flat",
    (
        "at its boundary: the log-likelihood falls by {number} at {number} and by {number} at "
        "{number}"
    ): "at its boundary",
    "at its boundary: no interval": SAME,
    # why there is no number
    "can be known only later": SAME,
    "follows from the other terms": SAME,
    "one class only": SAME,
    "not reached after {number} attempts": SAME,
    "the data end there": SAME,
    "the interval would reach from almost none to more than tenfold": SAME,
    "fewer than {number} sites": SAME,
    "fewer than {number} sites: each has an effect of its own": SAME,
    "differs from the other terms in a handful of episodes only": SAME,
    "counted with the reference": SAME,
    "other cells tell more than {number} % of what is known of it": SAME,
    "as many coefficients as sites: no test of all at once": SAME,
    "one side names one value only, so chance alone agrees": SAME,
    "rests on one site: without it there is no answer": SAME,
    "fewer than half were seen to be resolved by day {number}": SAME,
    "after day {number}, the last that is estimated": SAME,
    "circular: the arm is named by the response that is compared": SAME,
    (
        "the arm was named by the response to a maneuver (as by Ping L et al. Braz J "
        "Otorhinolaryngol 2022;88:733-739), so that its resolution is part of its definition: "
        "circular"
    ): SAME,
    "the confidence limits are more than {number} % of the scale apart": SAME,
    "the upper confidence limit is more than {number} times the lower one": SAME,
    "not told apart from {class}": SAME,
    "nobody was tested early enough to tell": "not tested early enough to tell",
    (
        "withdrawn: sites test on different days, which alone makes shares of equal sites look "
        "different"
    ): SAME,
    "how far sites differ is told by their rates of resolution": SAME,
    "the form of the model alone would tell it": SAME,
    "the tests do not tell events before this day from later ones": SAME,
    "the shares resolved are not known": SAME,
    "this attempt number is not in the model": SAME,
    "nobody of one arm is resolved by then: its share is no part of a ratio": (
        "a share of none, or hardly any, is no part of a ratio"
    ),
    (
        "every first session was followed by a negative test: the share as it is, whenever the "
        "test came"
    ): "the share as it is, whenever the test came",
    "no first session was followed by one: the share as it is, whenever the test came": (
        "the share as it is, whenever the test came"
    ),
    "all agree, so that the large-sample interval has no width": STAYS,
    "nobody was seen to be resolved": STAYS,
    "nobody was seen unresolved": STAYS,
    "the analysis has no number itself": SAME,
    (
        "statsmodels has no maximum likelihood fit of this model: its variational one has "
        "intervals that are too narrow"
    ): SAME,
    "the tests compare it with lme4 on recorded data": SAME,
    # why a fit has none: what separates, or is chosen by none, may be a handful
    "the usual strategy has no number to compare with": SAME,
    "positivity: for {number}% the probability of change is below {number}% or above {number}%": (
        "positivity: for some the probability of one choice is next to none"
    ),
    "positivity: for some the probability of one choice is next to none": SAME,
    "separation: every first session was a success": STAYS,
    "separation: no first session was a success": STAYS,
    "separation: all tests after it were negative, or none, so that no finite ratio fits": STAYS,
    "separation: some combination of classes has no event, or only events": SAME,
    "separation: some have no event, or only events, and no finite coefficient fits": SAME,
    "separation: the data do not determine every coefficient, and no second fit ends": SAME,
    "separation: needs a coefficient that the data do not determine": SAME,
    "separation: the likelihood rises without end": SAME,
    "separation: the likelihood rises without end, and no finite coefficient fits": SAME,
    "the coefficients are not determined by the measurements": SAME,
    "the likelihood is flat: the data do not determine every coefficient": SAME,
    "every day lies in an interval without information": SAME,
    "too little is known of the course over time: the fitted share would fall": SAME,
    "the gradient condition was not reached": SAME,
    "the gradient is not zero at the solution": SAME,
    "the likelihood is not finite at the solution": SAME,
    "the likelihood still rises after {number} rounds": SAME,
    "the solution is not a maximum of the likelihood": SAME,
    "the probabilities of the choice were not found": SAME,
    "the search of the second fit did not end": SAME,
    "the weights could not be calibrated": SAME,
    "twice the quadrature points change the log-likelihood": SAME,
    "two searches end at different places": SAME,
    "two starts of the random-intercept model end at different places": SAME,
}
TOO_FEW = "too few episodes, with the event or without it"


@cache
def _compile(template: str) -> re.Pattern:
    blanks = {re.escape("{number}"): r"([\d.]+|inf)", re.escape("{class}"): r"(\w+=[\w ]+)"}
    pattern = re.escape(template)
    for blank, filled in blanks.items():
        pattern = pattern.replace(blank, filled)
    return re.compile(pattern)


@cache
def release_note(note: str, status: str) -> str | None:
    """What leaves of a note: the declared sentences in it.

    A number that is missing is given a reason by its `status` at least.
    """
    # not of what there is too little: that would tell more than the plan hides
    if status == "too_few":
        return TOO_FEW
    sentences = [released for released in map(_release_sentence, note.split("; ")) if released]
    if not sentences and status != "ok":
        return codes.ESTIMATE_STATUS[status]
    return "; ".join(dict.fromkeys(sentences)) or None


def _release_sentence(sentence: str) -> str | None:
    """A sentence as it leaves; None if it is not declared."""
    for template, released in SENTENCES.items():
        match = _compile(template).fullmatch(sentence)
        if match:
            return sentence if released is SAME else _fill(released, match.groups())
    return None


def _fill(sentence: str, numbers: tuple[str, ...]) -> str:
    """A sentence with its blanks filled in turn."""
    left = iter(numbers)
    return re.sub(r"\{number\}", lambda _: next(left), sentence)
