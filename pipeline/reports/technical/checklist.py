"""Where the reports answer the items of STROBE, RECORD and TARGET, and where they do not.

von Elm E et al. PLoS Med 2007;4:e296 (STROBE, cohort studies); Benchimol EI et al. PLoS Med
2015;12:e1001885 (RECORD); Cashin AG et al. JAMA 2025;334:1084-1093 (TARGET: target trials that are
emulated, here by the orders of maneuvers). The topics are in this project's own words. Numbers and
topics of the items of RECORD are partly from memory, those of TARGET from a summary of the
statement that others published, not from the statement itself.
"""

from dataclasses import dataclass

YES, PARTLY, NO = "answered", "partly", "not answered"


@dataclass(frozen=True)
class Item:
    """One item: `places` are names of analyses, sections of this page,
    or `committee` for the other report."""

    number: str
    topic: str
    answer: str
    where: str
    places: tuple[str, ...] = ()


STROBE = (
    Item(
        "1",
        "Design named in the title; a balanced summary",
        PARTLY,
        "summary only; the title names no design",
        ("committee",),
    ),
    Item(
        "2",
        "Background and reason",
        NO,
        "the reports state results; the background is in the project's README",
    ),
    Item(
        "3",
        "Aims and questions fixed before",
        YES,
        "the plan, and what each analysis estimates",
        ("plan", "contents"),
    ),
    Item("4", "Design, early in the text", YES, "what this is", ("about",)),
    Item(
        "5",
        "Setting, places and dates",
        NO,
        "sites are not named and dates are not collected, to protect patients",
    ),
    Item(
        "6a",
        "Who could enter, and follow-up",
        PARTLY,
        "criteria in the plan; how sites recruit is not known",
        ("plan", "episode_flow"),
    ),
    Item("6b", "Matching", YES, "none; weights instead, with their balance", ("second_line",)),
    Item(
        "7",
        "Outcomes, exposures, confounders, diagnostic criteria",
        YES,
        "criteria, endpoints and terms",
        ("plan",),
    ),
    Item(
        "8",
        "Sources of data and comparability of measurement",
        PARTLY,
        "one set of criteria; tests differ between sites",
        ("diagnosis_agreement", "plan"),
    ),
    Item(
        "9",
        "Efforts against bias",
        YES,
        "assumptions of each analysis, weights, variations",
        ("second_line", "sensitivity"),
    ),
    Item(
        "10",
        "Size of the study",
        PARTLY,
        "no size was planned; guards hold back what is too small",
        ("withheld",),
    ),
    Item("11", "Handling of quantities", YES, "bands and limits", ("plan",)),
    Item(
        "12a", "Statistical methods, confounding", YES, "estimator of each analysis", ("contents",)
    ),
    Item(
        "12b",
        "Subgroups and interactions",
        PARTLY,
        "parts are estimated apart; interactions are not modelled",
        ("resolution_curves", "second_line"),
    ),
    Item(
        "12c",
        "Missing data",
        PARTLY,
        "not recorded is a class of its own; nothing is imputed",
        ("pool_description",),
    ),
    Item(
        "12d",
        "Loss to follow-up",
        PARTLY,
        "counted, and as a competing event; not weighted for",
        ("competing_events",),
    ),
    Item(
        "12e", "Sensitivity analyses", YES, "each variation of the primary answer", ("sensitivity",)
    ),
    Item("13a", "Numbers at each stage", YES, "flow", ("episode_flow",)),
    Item("13b", "Reasons for leaving", YES, "flow", ("episode_flow",)),
    Item("13c", "A flow diagram", YES, "picture", ("committee",)),
    Item(
        "14a",
        "Characteristics of participants",
        YES,
        "description of the pool",
        ("pool_description",),
    ),
    Item(
        "14b",
        "Missing values of each variable",
        PARTLY,
        "where “unknown” is a value of its own",
        ("pool_description",),
    ),
    Item(
        "14c",
        "Follow-up time",
        PARTLY,
        "numbers at risk by day; no total time",
        ("resolution_curves",),
    ),
    Item(
        "15",
        "Events over time",
        YES,
        "events beside each estimate",
        ("resolution_curves", "competing_events"),
    ),
    Item(
        "16a",
        "Unadjusted and adjusted estimates with confidence intervals",
        YES,
        "naive beside weighted; curves beside time ratios",
        ("second_line", "resolution_regression"),
    ),
    Item(
        "16b",
        "Bounds of categories",
        YES,
        "names of the classes",
        ("resolution_regression", "plan"),
    ),
    Item(
        "16c",
        "Absolute risks",
        YES,
        "shares by day, differences beside ratios",
        ("joint_resolution", "second_line"),
    ),
    Item("17", "Further analyses", YES, "all analyses of the plan are listed", ("contents",)),
    Item("18", "Main results against the aims", YES, "in short", ("committee",)),
    Item(
        "19",
        "Limits, direction and size of bias",
        PARTLY,
        "assumptions; size only for the days of tests and unmeasured confounding",
        ("committee", "second_line", "sensitivity"),
    ),
    Item(
        "20",
        "Cautious overall interpretation",
        PARTLY,
        "cautions; interpretation is left to the committee",
        ("cautions", "committee"),
    ),
    Item(
        "21",
        "To whom it applies",
        PARTLY,
        "prediction interval for a further site; beside published trials",
        ("site_pooling", "published_comparison"),
    ),
    Item("22", "Funding", NO, "not known to the workflow"),
)
RECORD = (
    Item("1.1", "Kind and names of the data sources", PARTLY, "kind; sites are not named",
         ("about",)),
    Item("1.2", "Region and time span", NO, "not collected, to protect patients"),
    Item("1.3", "Linkage named", YES, "none: records are not linked between sites", ("about",)),
    Item("6.1", "Codes that select the population", YES, "criteria", ("plan",)),
    Item("6.2", "Validation of those codes", PARTLY,
         "against the working diagnosis, and planted truth",
         ("diagnosis_agreement", "planted_variants")),
    Item("6.3", "Linkage as a diagram", YES, "no linkage", ("about",)),
    Item("7.1", "Lists of codes", YES, "plan; the data dictionary is in the store", ("plan",)),
    Item("12.1", "Access of investigators to the data", NO, "not known to the workflow"),
    Item("12.2", "Cleaning", PARTLY,
         "counts here; each delivery's own page says what was set aside", ("episode_flow",)),
    Item("12.3", "Method and quality of linkage", YES, "no linkage", ("about",)),
    Item("13.1", "Selection, filters and quality", YES, "flow", ("episode_flow",)),
    Item("19.1", "Data not made for research: misclassification, missing, drift", PARTLY,
         "misclassification is counted, drift is not", ("planted_variants", "diagnosis_agreement")),
    Item("22.1", "Protocol, data and code at hand", YES, "plan, fingerprints, tidy files",
         ("plan", "used")),
)  # fmt: skip

ORDERS = ("strategies", "weighted_strategies")
TARGET = (
    Item("1a", "Emulation named, with the aim and the target trial in short", NO,
         "the reports do not name the comparison of orders an emulated trial"),
    Item("1b", "Data sources in short", YES, "what this is", ("about",)),
    Item("1c", "Assumptions, methods and findings in short", PARTLY,
         "findings in the other report, the rest here", ("committee", *ORDERS)),
    Item("2", "Background and gap", NO,
         "the reports state results; the background is in the project's README"),
    Item("3", "Causal question", YES, "what is estimated", ORDERS),
    Item("4", "Why a trial is emulated, and trials that informed it", PARTLY,
         "trials of first maneuvers stand beside; the reason is not given",
         ("published_comparison",)),
    Item("5", "Data: purpose, kind, places, years, pooling", PARTLY,
         "kind, years and pooling; sites are not named, to protect patients", ("about", "used")),
    Item("6a", "Target trial: who would enter", PARTLY,
         "the variants in the plan; no protocol of a trial is written out", ("plan",)),
    Item("6b", "Target trial: strategies", YES,
         "which maneuver in which order, a test every week, a session while it is positive",
         ("plan", "strategies")),
    Item("6c", "Target trial: random assignment, openly", NO, "not written out"),
    Item("6d", "Target trial: follow-up from assignment, and its end", YES,
         "from day 0 to the horizon of the plan", ("strategies", "plan")),
    Item("6e", "Target trial: outcomes", YES, "shares resolved, days, sessions, adverse events",
         ("strategies",)),
    Item("6f", "Target trial: contrasts", YES, "each order less the usual one", ("strategies",)),
    Item("6g", "Target trial: assumptions that would identify it", NO, "not written out"),
    Item("6h", "Target trial: analysis", NO, "not written out"),
    Item("7a", "Emulation: who enters", YES, "criteria and variants in the plan",
         ("plan", "episode_flow")),
    Item("7b", "Emulation: strategies", YES, "sessions by family of maneuvers", ORDERS),
    Item("7c", "Emulation: assignment", YES,
         "by the g-formula, and by clones in every order their sessions still fit", ORDERS),
    Item("7d", "Emulation: follow-up from assignment, and its end", YES,
         "from day 0, the day of the first maneuver", ORDERS),
    Item("7e", "Emulation: outcomes", YES, "by the model of the days of testing, and by tests",
         ("joint_resolution", *ORDERS)),
    Item("7f", "Emulation: contrasts", YES, "each order less the usual one", ORDERS),
    Item("7g(i)", "Emulation: assumptions, confounding among them", YES, "assumptions", ORDERS),
    Item("7g(ii)", "Emulation: their variables", YES, "terms in the plan", ("plan",)),
    Item("7h(i)", "Emulation: analysis and missing data", PARTLY,
         "estimators; not recorded is a class of its own, nothing is imputed", ORDERS),
    Item("7h(ii)", "Emulation: sensitivity analyses", PARTLY,
         "two ways of estimating; other choices are tried for the second line only",
         ("weighted_strategies", "sensitivity")),
    Item("8", "Numbers eligible and assigned, as a diagram", PARTLY,
         "flow of the pool, and how many had the rarest session of an order",
         ("episode_flow", "strategies", "committee")),
    Item("9", "Who they were, by strategy", NO,
         "told of the pool, not by order: nearly everybody fits several at first"),
    Item("10", "Length and end of follow-up, by strategy", NO, "told of the pool only"),
    Item("11", "Missing data, by strategy", NO, "told of the pool only"),
    Item("12", "Outcomes, by strategy", YES, "each number under each order", ("strategies",)),
    Item("13", "Effects, absolute and relative, with precision", PARTLY,
         "differences with 95 % confidence intervals; no ratios", ORDERS),
    Item("14", "Results of sensitivity analyses", PARTLY, "both ways beside each other", ORDERS),
    Item("15", "Interpretation", PARTLY, "in short; the rest is the committee's", ("committee",)),
    Item("16", "Limits, and how the emulation differs from the trial", PARTLY,
         "how plausible the assumptions are; a trial is not set beside", ("committee", *ORDERS)),
    Item("17", "Ethics approval", NO, "not known to the workflow"),
    Item("18", "Registration", NO, "not known to the workflow; the plan has a fingerprint"),
    Item("19", "Data and code at hand", YES, "plan, fingerprints, tidy files", ("plan", "used")),
    Item("20", "Funding", NO, "not known to the workflow"),
    Item("21", "Conflicts of interest", NO, "not known to the workflow"),
)  # fmt: skip


def map_items(items: tuple[Item, ...], places: set[str]) -> list[dict]:
    """Rows of the checklist: an answer that rests only on places that this page does not have is
    none in this run."""
    return [_map_item(item, places | {"committee"}) for item in items]


def _map_item(item: Item, places: set[str]) -> dict:
    present = [place for place in item.places if place in places]
    absent = bool(item.places) and not present
    return {
        "number": item.number,
        "topic": item.topic,
        "answer": NO if absent else item.answer,
        "where": "what would answer it is not in this run" if absent else item.where,
        "links": [
            {"name": place, "href": "committee.html" if place == "committee" else f"#{place}"}
            for place in present
        ],
    }
