"""The quantities that each analysis of the plan can state (schemas/quantities.py says how one is declared), in the order of the plan."""

from dataclasses import replace

from schemas.denominators import BASES
from schemas.identities import KNOWN
from schemas.quantities import People, Quantity

FLOW = {
    "handed_in": "handed in",
    "refused": "refused",
    "set_aside": "set aside",
    "stored": "stored",
    "positional": "positional",
    "probable_non_positional": "apart",
    "undetermined": "undetermined",
    "untreated": "untreated",
    "incomplete_record": "incomplete record",
    "never_positive": "never positive",
    "not_looked": "not looked at",
    "followed": "followed objective",
    "reclassified_later": "reclassified later",
}
ALL = ()  # narrowed by nothing
FOLLOWED = People("followed {endpoint}")
COARSE = ("all", "canal={canal}", "mechanism={mechanism}")  # strata of which it is told what is known on a day
NAMED = People("named {part}")
AT_RISK = People("resolved {endpoint}")
FAILED = People("first session failed")
COMPARED = People("compared")
CHOSEN = People("compared", where={"choice": "{arm}"})
NEAR = People("total", where={"day": "{day}"})
NEAR_SEEN = People("total", ALL, {"day": "{day}", "seen": "{seen}"})
PATH = ("canal", "path")
NEXT, BEFORE = {"path": "{path} > {family}"}, {"path": "{path} > .."}  # one step on, and one step back


def _count(term: str, means: str, people: People, whole: People | None = None, **more) -> Quantity:
    """A number of people; `whole` are those of whom it is a part, where n_episodes says how many they are."""
    return Quantity(term, "count", means, whole or people, people, **more)


def _flow() -> tuple[Quantity, ...]:
    return tuple(_count(term, people, People(people, ALL), worth=9) for term, people in FLOW.items())


def _know(part: str, stratum: str, **more) -> Quantity:
    """The part of a curve of whom the same is known on a day."""
    people = People(f"known {part} {{endpoint}}", where={"day": "{day}"})
    return _count(
        f"known_{part}_day_{{day}}", "known so on the day", people, FOLLOWED, stratum=stratum, worth=3, **more
    )


def _describe(population: str, variables: tuple[str, ...]) -> tuple[Quantity, ...]:
    """Shares of those of whom a variable is known, by its values."""
    return tuple(
        Quantity(
            "share",
            "share",
            f"part of those whose {variable} is told",
            People(population, ALL, {variable: "*"}),
            People(population),
            stratum=f"{variable}={{value}}",
            worth=8,
        )
        for variable in variables
    )


ENDED = {
    "resolved_at_next_look": ("resolved at the next look", 5),
    "resolved_at_later_look": ("resolved at a later look", 2),
    "no_further_session": ("no further session", 2),
    "never_looked": ("nobody looked again", 4),
    "next_without_look": ("had another session before anybody looked", 1),
}
PATHS = (
    _count("treated", "treated for positional vertigo", People("treated", ALL), worth=7),
    _count("incomplete_record", "record incomplete", People("incomplete record", ALL), People("treated", ALL)),
    _count("never_positive", "no test that could turn negative", People("never positive", ALL), People("treated", ALL)),
    _count(
        "reached", "came to this point of the path", People("on path", PATH), People("on path", PATH, BEFORE), worth=6
    ),
    _count("next={family}", "had this session next", People("on path", PATH, NEXT), People("on path", PATH), worth=4),
    *(
        _count(term, means, People(f"on path, {term}", PATH), People("on path", PATH), worth=worth)
        for term, (means, worth) in ENDED.items()
    ),
    Quantity(
        "share_resolved_at_next_look",
        "share",
        "part of those looked at who were resolved then",
        People("on path, looked at", PATH),
        People("on path, resolved_at_next_look", PATH),
        worth=6,
    ),
)
BY_CANAL = tuple(replace(path, stratum="canal={canal},path={path}", stays=True) for path in PATHS)


def _compare(way: str = "") -> tuple[Quantity, ...]:
    """What became of repeating and changing, compared in one way."""
    return (
        Quantity(f"{way}risk_{{arm}}_day_{{day}}", "chance", "resolved by the day, had all chosen so", CHOSEN, worth=5),
        Quantity(f"{way}risk_difference_day_{{day}}", "difference of shares", "change less repeat", COMPARED, worth=5),
        Quantity(f"{way}risk_ratio_day_{{day}}", "ratio", "change to repeat"),
        Quantity(f"{way}mean_days_{{arm}}", "days", "mean days to resolution, up to the horizon", CHOSEN, worth=3),
        Quantity(f"{way}mean_days_difference", "difference of days", "change less repeat", COMPARED, worth=3),
    )


SECOND_LINE = (
    _count("failed_first_session", "first session failed", FAILED, worth=7),
    _count("choice_{arm}", "repeated or changed next", People(FAILED.name, where={"choice": "{arm}"}), worth=6),
    _count("choice_{choice}", "what happened instead", People(FAILED.name, where={"choice": "{choice}"}), worth=3),
    _count("not_seen_again_{arm}", "not seen again after the choice", People("unseen", where={"choice": "{arm}"})),
    _count("changed_to_{family}", "changed to this", People(FAILED.name, where={"choice": "change", "to": "{family}"})),
    *(quantity for way in ("", "naive_", "at_once_") for quantity in _compare(way)),
    Quantity("e_value_day_{day}", "ratio", "E-value of the ratio of shares"),
    Quantity("e_value_limit_day_{day}", "ratio", "E-value of its nearer limit"),
    Quantity("weight_{which}", "statistic", "mean or greatest weight"),
    Quantity("truncated_share", "chance", "part of those compared whose weights were cut", COMPARED),
    Quantity("effective_n_{arm}", "size", "so many equal weights tell as much"),
    Quantity("smd_{when}:{level}", "coefficient", "standardised difference of means, change less repeat"),
)
HANDICAP = (
    Quantity("mean_day_{day}", "points", "mean total on the day", NEAR, worth=6),
    Quantity("change_by_day_{day}", "difference of points", "mean total less that of day 0", NEAR, worth=6),
    Quantity(
        "share_at_zero_day_{day}",
        "share",
        "total of zero",
        NEAR,
        People("total of zero", where={"day": "{day}"}),
        worth=4,
    ),
    Quantity(
        "started_below_{points}",
        "share",
        "started too low to fall so much",
        People("total", where={"day": "0"}),
        People("total too low", where={"points": "{points}"}),
        worth=3,
    ),
    Quantity(
        "fell_by_{points}_by_day_{day}",
        "share",
        "total fell by at least so many points",
        People("two totals", where={"day": "{day}"}),
        People("fell", where={"day": "{day}", "points": "{points}"}),
        worth=5,
    ),
    Quantity("mean_near_day_{day}", "points", "mean total", NEAR_SEEN, stratum="resolution_seen_by_then={seen}"),
    Quantity("difference_near_day_{day}", "difference of points", "of means with and without resolution seen", NEAR),
)
EVENTS = ("resolved", "switched", "reclassified")
COMPETING = (
    *(
        Quantity(
            f"incidence_{event}_day_{{day}}", "chance", f"{event} first, by the day", People("informative"), sized=False
        )
        for event in EVENTS
    ),
    Quantity("event_free_day_{day}", "chance", "none of these events by the day", People("informative"), sized=False),
    *(
        Quantity(
            f"seen_{event}_day_{{day}}", "chance", f"seen {event} first, by the day", People("on path"), sized=False
        )
        for event in (*EVENTS, "lost")
    ),
    Quantity("nothing_seen_day_{day}", "chance", "nothing of this seen by the day", People("on path"), sized=False),
)
OWN = "site={site}"
MEASURES = {
    "resolved_by_day_{day}": FOLLOWED,
    "smoothed_by_day_{day}": FOLLOWED,
    "first_session_success": People("first session with a look"),
}
POOLING = tuple(
    quantity
    for measure, people in MEASURES.items()
    for quantity in (
        Quantity(measure, "chance", "share of one site", people, stratum=OWN),
        Quantity(measure, "modelled share", "mean of the sites", worth=5),
        Quantity(f"{measure}_further_site", "modelled share", "what a further site may have", worth=5),
        Quantity(f"{measure}_sites_pooled", "number", "sites in the mean"),
        Quantity(f"{measure}_sites_not_pooled", "number", "sites that are not in the mean"),
        Quantity(f"{measure}_tau2", "spread", "variance between sites"),
        Quantity(f"{measure}_i2", "modelled share", "part of the variance that lies between sites"),
        Quantity(f"{measure}_one_stage", "modelled share", "at a site in the middle, by one model"),
        Quantity(f"{measure}_one_stage_tau2", "spread", "variance between sites, by one model"),
    )
)
MONITORING = (
    Quantity("sites_large_enough", "number", "sites with as many episodes as a comparison asks for"),
    Quantity("sites_below_minimum", "number", "sites with fewer"),
    Quantity("overdispersion_day_{day}", "statistic", "how much more than chance sites vary"),
)
LEDGER = {  # what a base of the ledger is called elsewhere; others by their own names
    "handed_in": "handed in",
    "complete": "on path",
    "followed": "followed objective",
    "taken_for_failed": "first session a failure",
    "failed": "first session failed",
    "compared": "repeated or changed",
}


def name_base(base: str) -> str:
    """The people of a base of schemas.denominators.BASES."""
    return LEDGER.get(base, base.replace("_", " "))


def _keep_ledger() -> tuple[Quantity, ...]:
    """How many each base counts, people or their sessions, and how many of the larger one are not in it."""
    rows = [Quantity("sites", "number", "sites with a stored episode")]
    for name, base in BASES.items():
        for term, people in ((name, name_base(name)), (f"without_{name}", f"outside {name_base(name)}")):
            if base.several:
                rows.append(_count(term, people, People(f"all of {people}", ALL), People(people, ALL), worth=9))
            elif base.noun != "site":
                rows.append(_count(term, people, People(people, ALL), worth=9))
    return tuple(rows)


DECLARED = {
    "episode_flow": _flow(),
    "pool_description": (
        *_describe("stored", ("sex", "age", "cause")),
        *_describe("positional", ("canal", "side", "arm", "arm_basis", "mechanism", "certainty")),
        *_describe("treated", ("first_maneuver",)),
        Quantity("age_{quantile}", "years", "quantile of age", People("stored", ALL), worth=7),
    ),
    "non_positional": (
        Quantity("share", "share", "has the reason", People("apart", ALL), People("apart"), "reason={reason}", worth=4),
        Quantity("share", "share", "raised it", People("treated", ALL), People("treated"), "later_flag={flag}"),
        Quantity(
            "recognised_by_site", "share", "another diagnosis noted", People("apart"), People("apart, recognised")
        ),
        Quantity("maneuver_given", "share", "treated all the same", People("apart"), People("apart, treated")),
        Quantity("sessions_median", "number", "median number of sessions", People("apart, treated")),
        Quantity("reclassified_day_median", "days", "median day of another diagnosis", People("reclassified later")),
    ),
    "diagnosis_agreement": (
        Quantity("{part}_agreement", "share", "record and looks name the same", NAMED, People("alike {part}"), worth=6),
        Quantity("{part}_kappa", "agreement", "Cohen's kappa", NAMED),
        _count(
            "{part}:recorded={recorded},adjudicated={adjudicated}",
            "recorded as one, read as the other",
            People("named {part}", where={"recorded": "{recorded}", "adjudicated": "{adjudicated}"}),
        ),
        Quantity(
            "one_of_two_canals_fits_the_record",
            "share",
            "the record names one of the two canals that the looks allow",
            People("positional", ALL, {"canal": "anterior_or_posterior"}),
            People("one of two canals fits", ALL),
        ),
    ),
    "failure_reasons": (
        Quantity(
            "share",
            "share",
            "nobody looked",
            People("first session failed or unseen", ALL),
            People("first session unseen", ALL),
            "view={view},reason=never_looked",
            worth=5,
        ),
        *(
            Quantity(
                "share",
                "share",
                "evidence for the reason",
                People("first session a failure", ALL),
                People("first session a failure"),
                f"view={view},reason={{reason}}",
                worth=worth,
            )
            for view, worth in (("at_the_time", 4), ("in_hindsight", 2))
        ),
    ),
    "resolution_curves": (
        Quantity(
            "median_days", "days", "none", People("named by response", ALL), None, "arm=short,basis=treatment_response"
        ),
        Quantity("unresolved_{edge}_day_{day}", "chance", "unresolved after the day", FOLLOWED, worth=7),
        Quantity("resolved_by_day_{day}", "chance", "resolved by the day", FOLLOWED, worth=8),
        Quantity("median_days", "days", "half resolved by then", FOLLOWED, worth=7),
        *(_know(part, stratum) for part in KNOWN for stratum in COARSE),
        *(_know(part, "", stays=True) for part in KNOWN),
    ),
    "resolution_regression": (
        Quantity("aic_{family}", "criterion", "Akaike information criterion"),
        Quantity("effect_of_{variable}", "statistic", "test of all classes of a covariate at once"),
        Quantity(
            "fitted_share_less_observed_by_day_{day}", "difference of shares", "how far the fit is off", sized=False
        ),
        Quantity("scale", "spread", "scale of the error distribution"),
        Quantity("{variable}={class}", "ratio", "time ratio of a class"),
        Quantity("age_decade", "ratio", "time ratio of a decade of age"),
    ),
    "attempt_success": (
        *(  # one session each, so people; a fourth or later one may be one of several
            Quantity(
                "success_raw",
                "part",
                "sessions followed by a negative look",
                People(name_base(base), ALL),
                People(f"{name_base(base)}, negative", ALL),
                f"attempt_number={number}",
                worth=5,
            )
            for number, base in enumerate(
                ("first_sessions_tested", "second_sessions_tested", "third_sessions_tested"), 1
            )
        ),
        Quantity(
            "success_raw",
            "session share",
            "sessions followed by a negative look",
            People("had such a session"),
            People("such a session, negative look"),
            worth=5,
        ),
        Quantity("success", "modelled share", "chance of a negative look"),
        Quantity("success_in_sequence", "modelled share", "the same, of those still unresolved"),
        Quantity("resolved", "modelled share", "resolved after so many sessions"),
        Quantity("attempts_to_resolve_{percent}", "number", "sessions until so many are resolved"),
        Quantity("log_gap_slope", "coefficient", "of the logarithm of the days to the look"),
        Quantity("patient_sd", "spread", "between patients"),
        Quantity("site_sd", "spread", "between sites"),
        Quantity("model", "statistic", "a model that has no answer"),
        Quantity("{variable}={class}", "ratio", "hazard ratio of a class"),
        Quantity("age_decade", "ratio", "hazard ratio of a decade of age"),
    ),
    "second_line": SECOND_LINE,
    "sequence_paths": BY_CANAL + PATHS,
    "handicap_change": HANDICAP,
    "recurrence": (
        Quantity("recurrence_free_{edge}_day_{day}", "chance", "free of a return", AT_RISK, worth=3),
        Quantity("recurrence_free_day_{day}", "chance", "free of a return", AT_RISK, worth=5),
        _count("at_risk_day_{day}", "seen to be free on the day", People("free {endpoint}", where={"day": "{day}"})),
    ),
    "competing_events": COMPETING,
    "site_pooling": POOLING,
    "site_monitoring": MONITORING,
    "published_comparison": (
        Quantity("resolved_by_day_{day}", "chance", "resolved by the day of a trial", FOLLOWED),
        Quantity("odds_ratio", "ratio", "of published trials"),
    ),
    "denominators": _keep_ledger(),
    "model_agreement": (
        Quantity("largest_difference", "difference of fits", "how far two fits of one model are apart"),
        Quantity("tolerance", "difference of fits", "how far they may be"),
    ),
    "sensitivity": (
        Quantity(
            "resolved_by_day_{day}",
            "chance",
            "resolved by the day, under a variation",
            People("followed in a variation"),
            sized=False,
        ),
        Quantity("resolved", "modelled share", "the same, if no site may be left out"),
        Quantity("median_days", "statistic", "half resolved by then, under a variation"),
        Quantity("risk_difference_day_{day}", "coefficient", "change less repeat, under a variation"),
    ),
}
