"""What terms, strata and comparisons of any analysis are called, and how a number is written."""

import math
import re

import pandas as pd

from pipeline.reports.wording import name_value
from schemas import codes
from schemas.denominators import BASES
from schemas.failure import REASON, VIEW
from schemas.study import Config

ANY_SITE = "any one site"
VARIABLES = {
    "age_decade": "age, by decade",
    "arm_basis": "definition of the short arm",
    "attempt": "attempt number",
    "attempt_number": "attempt number",
    "canal_arm": "canal and arm",
    "basis": "definition",
    "change_to": "changed to",
    "family": "maneuver",
    "first_family": "first maneuver",
    "first_fit": "first maneuver suited the variant",
    "fit": "maneuver suited the variant",
    "onset": "time since onset",
    "path": "path",
    "planted": "planted",
    "previous": "previous maneuver",
    "prior": "earlier episodes",
    "read": "read as",
    "same_visit": "result in the same visit",
    "up_to_attempts": "up to attempt",
    "variation": "variation",
    "wait": "wait for the second session",
}
FAMILIES = ("family", "next", "first_family", "first_maneuver", "change_to")
LEDGER = {name: f"{base.noun}s {base.says}" for name, base in BASES.items()}
TERMS = [  # the first pattern that fits a whole term names it; of what it leaves open, the words are the code's own
    *((name, words) for name, words in LEDGER.items()),
    *((f"without_{name}", f"not among the {words}") for name, words in LEDGER.items()),
    (r"resolved_by_day_(\d+|…)", r"share resolved by day \1"),
    (r"unresolved_(upper|lower)_day_(\d+|…)", r"share unresolved after day \2, \1 curve"),
    (r"recurrence_free_(upper|lower)_day_(\d+|…)", r"share without recurrence by day \2, \1 curve"),
    (r"recurrence_free_day_(\d+|…)", r"share without recurrence by day \1"),
    *((rf"known_{part}_day_(\d+|…)", rf"known on day \1: {words}") for part, words in codes.KNOWN_ON_DAY.items()),
    (r"at_risk_day_(\d+|…)", r"seen to be free of it on day \1 or later"),
    (r"median_days", "day by which half were resolved"),
    (r"smoothed_by_day_(\d+|…)", r"share resolved by day \1, smoothed course"),
    (r"incidence_(\w+)_day_(\d+|…)", r"cumulative incidence by day \2: \1"),
    (r"event_free_day_(\d+|…)", r"share without any event by day \1"),
    (r"seen_(\w+)_day_(\d+|…)", r"share in whom it was seen by day \2: \1"),
    (r"nothing_seen_day_(\d+|…)", r"share in whom nothing was seen by day \1"),
    (r"(naive_)?risk_(repeat|change)_day_(\d+|…)", r"\1share resolved by day \3 had all chosen: \2"),
    (r"(naive_)?risk_difference_day_(\d+|…)", r"\1difference of shares resolved by day \2, change minus repeat"),
    (r"(naive_)?risk_ratio_day_(\d+|…)", r"\1ratio of shares resolved by day \2, change to repeat"),
    (r"(naive_)?mean_days_(repeat|change)", r"\1mean days to resolution, up to the horizon, had all chosen: \2"),
    (r"(naive_)?mean_days_difference", r"\1difference of mean days to resolution, change minus repeat"),
    (
        r"at_once_risk_(repeat|change)_day_(\d+|…)",
        r"share resolved by day \2 had all chosen: \1, if sessions act at once",
    ),
    (
        r"at_once_risk_difference_day_(\d+|…)",
        r"difference of shares resolved by day \1, change minus repeat, if sessions act at once",
    ),
    (r"e_value_limit_day_(\d+|…)", r"E-value of the nearer limit, day \1"),
    (r"e_value_day_(\d+|…)", r"E-value of the estimate, day \1"),
    (r"smd_(before|after):(.+)", r"standardised difference \1 weighting: \2"),
    (r"effective_n_(\w+)", r"effective number of episodes: \1"),
    (r"weight_(mean|max)", r"\1 of the weights"),
    (r"weight_max_before_cut", "greatest weight before the cut"),
    (r"aic_(\w+)", r"Akaike information criterion: \1"),
    (r"effect_of_(\w+)", r"test of all classes at once: \1"),
    (r"fitted_share_less_observed_by_day_(\d+|…)", r"fitted less observed share resolved by day \1"),
    (r"success_raw", "share of attempts followed by a negative look"),
    (r"first_session_success", "chance that the look after the first session is negative"),
    (r"success", "chance that the next look is negative"),
    (r"success_in_sequence", "chance of success of the next attempt in a sequence"),
    (r"attempts_to_resolve_(\d+|…)", r"attempts until \1 % are resolved"),
    (r"log_gap_slope", "coefficient of the logarithm of the gap to the look"),
    (r"patient_sd", "spread between patients (standard deviation)"),
    (r"site_sd", "spread between sites (standard deviation)"),
    (r"(canal|side)_kappa", r"Cohen's kappa, \1"),
    (r"(canal|side)_agreement", r"share in agreement, \1"),
    (r"(\w+)_recovered", r"share read as planted: \1"),
    (r"variant_allowed", "share in which the planted variant is among those that the looks allow"),
    (r"fell_by_(\d+|…)_by_day_(\d+|…)", r"share whose total fell by at least \1 points by day \2"),
    (r"started_below_(\d+|…)", r"share who started below \1 points"),
    (r"mean_(near_)?day_(\d+|…)", r"mean handicap total \1day \2"),
    (r"change_by_day_(\d+|…)", r"change of the mean handicap total by day \1"),
    (r"overdispersion_day_(\d+|…)", r"overdispersion of the sites, day \1"),
    (r"share_at_zero_day_(\d+|…)", r"share with a handicap total of zero, day \1"),
    (r"difference_near_day_(\d+|…)", r"difference of mean handicap totals near day \1"),
    (r"largest_difference", "largest difference between two fits"),
    (r"tolerance", "greatest difference that lets a release leave"),
    (r"scale", "scale of the error distribution"),
    (r"sessions_median", "median number of sessions"),
    (r"reclassified_day_median", "median day of the other diagnosis"),
]
SUFFIXES = {  # of a term whose beginning is a term of its own
    "_one_stage": "{}, one-stage model",
    "_tau2": "variance between sites (transformed scale): {}",
    "_i2": "share of the variance that lies between sites: {}",
    "_further_site": "range for a further site: {}",
    "_sites_not_pooled": "sites that could not be pooled: {}",
    "_sites_pooled": "sites pooled: {}",
}


def name_term(term: str, config: Config) -> str:
    """A term in words: those of a known pattern, else its own with blanks for underscores."""
    for pattern, words in TERMS:
        found = re.fullmatch(pattern, term)
        if found:
            return _say(found.expand(words), config)
    for suffix, words in SUFFIXES.items():
        if term.endswith(suffix):
            return words.format(name_term(term.removesuffix(suffix), config))
    if term.startswith("changed_to_"):
        return f"changed to: {_name_code('change_to', term.removeprefix('changed_to_'), config)}"
    return _say(term, config)


def name_part(stratum: str, config: Config) -> str:
    """A stratum or comparison in words; 'all' is the whole population, and a site is only said to be one."""
    if stratum == "all":
        return "whole population"
    return ", ".join(_say(part, config) for part in stratum.split(","))


def name_variable(variable: str) -> str:
    """A variable that divides the pool, in words."""
    return VARIABLES.get(variable, variable.replace("_", " "))


def _say(words: str, config: Config) -> str:
    """Codes in words: each `variable=code` by the names of both, everything else with blanks."""
    if "=" not in words:
        return name_variable(words)
    head, colon, pairs = words.rpartition(":")
    said = ", ".join(_say_pair(pair.strip(), config) for pair in pairs.split(","))
    return f"{head.replace('_', ' ')}{colon} {said}".strip()


def _say_pair(pair: str, config: Config) -> str:
    variable, equals, code = pair.partition("=")
    if not equals:
        return pair.replace("_", " ")
    if variable == "site":
        return ANY_SITE
    return f"{name_variable(variable)}: {_name_code(variable, code, config)}"


def _name_code(variable: str, code: str, config: Config) -> str:
    if variable == "view":
        return code.replace("_", " ") if code in VIEW else code
    if variable == "reason" and code in REASON:
        return REASON[code]
    if variable == "path":
        return " > ".join(part.strip().replace("_", " ") for part in code.split(">"))
    if variable in FAMILIES:
        return name_value("first_maneuver", code, config)
    if variable == "read":
        return codes.POSITIONAL.get(code, code.replace("_", " ")) if code != "unknown" else "unknown"
    return name_value(variable, code, config)


def write_number(number: float | None) -> str:
    """Three digits that count, never an exponent below a million: 0.0123, 1.25, 12.5, 1,204."""
    if number is None or pd.isna(number):
        return ""
    if math.isinf(number):
        return "∞" if number > 0 else "−∞"
    if number == int(number) and abs(number) < 1e15:
        return f"{number:,.0f}".replace("-", "−")
    if abs(number) >= 1000:
        return f"{number:,.0f}".replace("-", "−")
    digits = min(6, max(0, 2 - math.floor(math.log10(abs(number)))))
    return f"{number:.{min(digits, 3) if abs(number) >= 0.001 else digits}f}".replace("-", "−")


def write_limits(lower: float | None, upper: float | None, status: str) -> str:
    """'0.12 to 0.34', one end if the other is not reached, nothing if there are none; 'at most 14' of a number that is hidden beyond a limit."""
    ends = [write_number(lower), write_number(upper)]
    if not any(ends):
        return ""
    if status == "bounded":
        return f"at most {ends[1]}" if ends[1] else f"at least {ends[0]}"
    return f"{ends[0] or 'not reached'} to {ends[1] or 'not reached'}"


def write_p(p: float | None) -> str:
    """A P-value with two digits that count, or below 0.001."""
    if p is None or pd.isna(p):
        return ""
    return "< 0.001" if p < 0.001 else f"{p:.3f}"
