"""Words for numbers and codes, in one place: how a share is said, what a stratum is called,
why a number is missing."""

from collections.abc import Iterable

from pipeline.reports.readings import ROUNDED, AboutShare, Reading
from schemas import codes
from schemas.strata import split_stratum
from schemas.study import Config

BLANK = "\u00a0"  # keeps a number and its unit on one line

VARIABLES = {
    "sex": "Sex",
    "age": "Age in years",
    "cause": "Cause",
    "canal": "Canal",
    "side": "Side",
    "arm": "Arm of the canal",
    "arm_basis": "What makes an arm “short”",
    "mechanism": "Debris",
    "certainty": "Diagnosis",
    "first_maneuver": "First maneuver",
}
BASIS = {
    "sitting_up": "findings on sitting up",
    "half_dix_hallpike": "half Dix-Hallpike pattern",
    "treatment_response": "response to a maneuver",
    "not_assessed": "not assessed",
}
SHORT = {  # where a meaning of schemas.codes is too long for a table or a figure
    "sex": {"other": "other", "unknown": "not known"},
    "cause": {"unknown": "not known"},
    "canal": {
        "posterior": "posterior canal",
        "lateral": "lateral canal",
        "anterior": "anterior canal",
        "anterior_or_posterior": "anterior or posterior canal",
        "multiple": "more than one canal",
        "unknown": "canal not certain",
    },
    "arm": {
        "long": "long arm",
        "short": "short arm",
        "short_or_cupula": "short arm or heavy cupula",
        "cupula": "on the cupula",
        "unknown": "arm not certain",
    },
    "arm_basis": BASIS,
    "basis": BASIS,
    "mechanism": {
        "canalolithiasis": "free debris (canalolithiasis)",
        "cupulolithiasis": "adherent debris (cupulolithiasis)",
        "unknown": "free or adherent not certain",
    },
    "variant": {
        "posterior_long_arm": "posterior canal, long arm",
        "short_arm_by_nystagmus_on_sitting_up": (
            "short arm or heavy cupula by nystagmus on sitting up"
        ),
        "short_arm_by_sitting_up": "short arm or heavy cupula by findings on sitting up",
        "short_arm_by_half_dix_hallpike": "short arm by half Dix-Hallpike pattern",
        "short_arm_by_treatment_response": "short arm by response to a maneuver",
        "posterior_on_cupula": "posterior canal, on the cupula",
        "lateral_geotropic": "lateral canal, geotropic",
        "lateral_apogeotropic_free": "lateral canal, apogeotropic, free debris",
        "lateral_apogeotropic_on_cupula": "lateral canal, apogeotropic, on the cupula",
        "anterior_or_posterior_down_beating": "anterior or posterior canal, down-beating",
        "several_canals": "more than one canal",
    },
    "family": {  # the others are called as their code says
        "epley": "Epley",
        "semont": "Semont",
        "gans": "Gans",
        "gufoni": "Gufoni",
        "zuma": "Zuma",
        "casani": "Casani",
        "brandt_daroff": "Brandt-Daroff",
        "vannucchi_asprella": "Vannucchi-Asprella",
        "bow_and_yaw": "bow-and-yaw",
    },
    "certainty": {
        "definite": "established criteria met",
        "probable": "probable: something was not recorded",
        "emerging": "criteria still emerging, or not timed",
        "suspected": "suspected: symptoms without nystagmus",
        "subjective": "vertigo without nystagmus",
        "resolved_before": "no test positive any more",
        "possible": "possible: no criteria met",
        "none": "no criteria met",
    },
    "endpoint": {
        "objective": "Test negative",
        "every_canal": "Tests of every canal negative",
        "strict": "Test negative and no symptoms",
        "patient_reported": "No symptoms reported",
        "composite": "No nystagmus, or turned geotropic",
        "same_visit": "Test negative, also within the visit",
    },
    "flow": {
        "handed_in": "handed in by the sites",
        "refused": "refused with their whole delivery",
        "set_aside": "set aside: a problem in the record",
        "stored": "stored",
        "probable_non_positional": "probably not positional vertigo",
        "undetermined": "undetermined: the record does not tell",
        "positional": "positional vertigo",
        "untreated": "no treatment recorded",
        "incomplete_record": "record incomplete where it matters",
        "never_positive": "no test that could turn negative",
        "not_tested_again": "not tested again after the maneuver",
        "followed": "tested again",
    },
}
ORDERS = {  # values are listed as in schemas.codes
    "cause": list(codes.CAUSE),
    "canal": list(codes.CANAL),
    "side": list(codes.SIDE),
    "arm": list(codes.ARM),
    "arm_basis": list(codes.ARM_BASIS),
    "mechanism": list(codes.MECHANISM),
    "certainty": list(codes.CERTAINTY),
    "sex": list(codes.SEX),
}
MEANINGS = {
    "sex": codes.SEX,
    "cause": codes.CAUSE,
    "side": codes.SIDE,
    "reason": codes.OTHER_DIAGNOSIS,
}
# confidential: the mark that official statistics use (Government Statistical Service, Symbols in
# tables, from memory)
HIDDEN = "[c]"
REASON_MISSING = {
    "too_few": "too few episodes or resolutions for a number",
    "too_wide": "no number, because its confidence interval is too wide to tell anything",
    "suppressed": "not shown, to protect people and sites",
    "bounded": "too few to be shown",
    "not_converged": "no number, because the model did not converge or failed its check",
    "not_identified": "no number, because the data cannot tell",
    "absent": "no episodes to estimate it from",
}
MARK_MISSING = {
    "too_few": "too few",
    "too_wide": "too wide",
    "suppressed": HIDDEN,
    "not_converged": "no number",
    "not_identified": "cannot tell",
    "absent": "–",
}


def say_percent(share: float) -> str:
    """A share as a whole percentage; one that would round to none or all of them says that it is
    neither."""
    percent = round(100 * share)
    if isinstance(share, AboutShare):
        return f"{ROUNDED}{percent}{BLANK}%"
    if percent == 0 and share > 0:
        return f"under 1{BLANK}%"
    if percent == 100 and share < 1:
        return f"over 99{BLANK}%"
    return f"{percent}{BLANK}%"


def say_share(reading: Reading) -> str:
    """'about 62 % (between 58 and 66 %)'."""
    about = say_percent(reading.number)
    about = about if about[0].isalpha() else f"about {about}"
    if reading.lower is None or reading.upper is None:
        return about
    low, high = say_limits(reading.lower, reading.upper)
    return f"{about} (between {low} and {high}{BLANK}%)"


def show_share(reading: Reading) -> str:
    """'62 % (58 to 66)' for a table, or one word why there is none."""
    if not reading.usable:
        return mark_missing(reading)
    if reading.lower is None or reading.upper is None:
        return say_percent(reading.number)
    low, high = say_limits(reading.lower, reading.upper)
    return f"{say_percent(reading.number)} ({low}{BLANK}to{BLANK}{high})"


def say_limits(lower: float, upper: float) -> tuple[str, str]:
    """Limits of a share in percent; with a decimal where both would round to none or to all."""
    digits = 1 if upper < 0.01 or lower > 0.99 else 0
    return f"{100 * lower:.{digits}f}", f"{100 * upper:.{digits}f}"


def say_count(number: float | None) -> str:
    """'1,204', or the mark of a hidden one."""
    return HIDDEN if number is None else f"{number:,.0f}"


def say_bound(reading: Reading) -> str:
    """Beyond which limit a hidden number lies: 'under 6 %', 'over 94 %', or of a count '<15'."""
    if reading.upper is None:
        return f"over {100 * (reading.lower or 0):.0f}{BLANK}%"
    if reading.upper > 1:
        return f"<{reading.upper + 1:.0f}"
    return f"under {100 * reading.upper:.0f}{BLANK}%"


def say_episodes(number: float | None) -> str:
    """'1,204 episodes'."""
    return "an undisclosed number of episodes" if number is None else count_words(number, "episode")


def count_words(number: float, noun: str) -> str:
    """'1 site', '8 sites'."""
    return f"{number:,.0f}{BLANK}{noun}{'' if number == 1 else 's'}"


def agree(number: float, one: str, more: str) -> str:
    """The word that agrees with a number: 'is' with one, 'are' with none or more."""
    return one if number == 1 else more


def mark_missing(reading: Reading) -> str:
    """One word for a table, or the limit beyond which the number lies."""
    return say_bound(reading) if reading.bounded else MARK_MISSING.get(reading.status, "–")


def say_why_missing(reading: Reading) -> str:
    """Why there is no number, with the estimate's own note where it says more."""
    why = REASON_MISSING.get(reading.status, REASON_MISSING["absent"])
    return (
        f"{why} ({reading.note})"
        if reading.note and reading.status in ("not_converged", "not_identified")
        else why
    )


def join_words(words: Iterable[str]) -> str:
    """'a, b and c'; parts that hold commas are kept apart by semicolons."""
    words = list(words)
    comma = "; " if any("," in word for word in words) else ", "
    return (
        words[0]
        if len(words) == 1
        else comma.join(words[:-1]) + (";" if comma == "; " else "") + " and " + words[-1]
    )


def begin_sentence(words: str) -> str:
    """The same words with a capital."""
    return words[:1].upper() + words[1:]


def order_stratum(stratum: str) -> list[tuple[int, str]]:
    """Sorts strata by the order of their codes; a code of no list comes last."""
    parts = [(ORDERS.get(v, []), code) for v, code in split_stratum(stratum).items()]
    return [(order.index(code) if code in order else len(order), code) for order, code in parts]


def name_value(variable: str, code: str, config: Config) -> str:
    """What one value of a variable is called."""
    if variable == "first_maneuver":
        return name_maneuver(code, config)
    if variable == "age":
        return code.replace("-", "–")
    if variable == "reason" and code in config.criteria.flags:
        return config.criteria.flags[code].says
    if variable == "reason" and code in config.criteria.other_causes:
        return config.criteria.other_causes[code].says
    if variable == "reason" and code == "no_canal_recorded":
        return "The site recorded no canal"
    named = (
        SHORT.get(variable, {}).get(code)
        or MEANINGS.get(variable, {}).get(code)
        or code.replace("_", " ")
    )
    return begin_sentence(named) if variable == "reason" else named


def name_maneuver(code: str, config: Config) -> str:
    """A maneuver by its name in the literature; a family of several by what they share."""
    family = [maneuver for maneuver in config.maneuvers.values() if maneuver.family == code]
    if len(family) == 1:
        return family[0].name
    if not family and code in config.maneuvers:
        return config.maneuvers[code].name
    return begin_sentence(code.replace("_", " ")) + (", any form" if family else "")


def name_stratum(stratum: str, config: Config) -> str:
    """'posterior canal, short arm by findings on sitting up'."""
    parts = dict(split_stratum(stratum))
    basis = parts.pop("basis", None)
    named = ", ".join(name_value(variable, code, config) for variable, code in parts.items())
    return f"{named} by {name_value('basis', basis, config)}" if basis else named
