"""An invented pool as disclosed estimates, with what a real one may have: small parts,
hidden cells, unknown days.

Numbers are plausible, not published: shares resolved follow reach * (1 - exp(-(day / scale) **
0.8)).
"""

import math

import pandas as pd

from schemas.estimate import Estimates
from schemas.study import Config

FLOW = {
    "handed_in": 1612,
    "refused": 58,
    "set_aside": 31,
    "stored": 1523,
    "positional": 1314,
    "probable_non_positional": 121,
    "undetermined": 88,
    "untreated": 46,
    "incomplete_record": 24,
    "never_positive": 39,
    "not_tested_again": 118,
    "followed": 1087,
    "reclassified_later": 29,
}
PARTS = {  # stratum: episodes, sites, reach, scale in days
    "all": (1087, 9, 0.93, 6),
    "canal=anterior": (8, 3, 0.9, 9),
    "canal=anterior_or_posterior": (41, 6, 0.8, 11),
    "canal=lateral": (236, 9, 0.96, 3.5),
    "canal=multiple": (58, 7, 0.78, 12),
    "canal=posterior": (744, 9, 0.94, 6),
    "canal=lateral,arm=cupula": (61, 7, 0.88, 8),
    "canal=lateral,arm=long": (118, 9, 0.98, 2.6),
    "canal=lateral,arm=short": (57, 6, 0.93, 4),
    "canal=posterior,arm=cupula": (33, 5, 0.75, 14),
    "canal=posterior,arm=long": (668, 9, 0.95, 5.6),
    "canal=posterior,arm=short,basis=half_dix_hallpike": (9, 2, 0.7, 12),
    "canal=posterior,arm=short,basis=sitting_up": (34, 5, 0.8, 11),
    "canal=posterior,arm=short,basis=treatment_response": (27, 2, 0.99, 1.5),
    "mechanism=canalolithiasis": (902, 9, 0.95, 5.4),
    "mechanism=cupulolithiasis": (94, 8, 0.82, 10),
    "mechanism=unknown": (91, 7, 0.88, 9),
    "canal=lateral,mechanism=canalolithiasis": (175, 9, 0.97, 3),
    "canal=lateral,mechanism=cupulolithiasis": (61, 7, 0.88, 8),
    "first_maneuver=epley": (598, 9, 0.94, 5.8),
    "first_maneuver=semont": (121, 6, 0.93, 6.4),
    "first_maneuver=gufoni": (131, 8, 0.95, 3.8),
    "first_maneuver=barbecue_roll": (74, 7, 0.96, 3.4),
    "first_maneuver=brandt_daroff": (38, 4, 0.85, 12),
    "first_maneuver=zuma": (7, 1, 0.9, 5),
}
ENDPOINTS = {
    "every_canal": (0.88, 8),
    "strict": (0.86, 9),
    "patient_reported": (0.9, 7),
    "composite": (0.94, 5.5),
    "same_visit": (0.96, 1.2),
}
UNTESTED, TREATED = FLOW["not_tested_again"], FLOW["positional"] - FLOW["untreated"]
SOONER = 0.7  # resolution against the days on which tests turned negative, in days
FIRST_TESTS = {"lower_quartile": 4, "median": 8, "upper_quartile": 16}
PEOPLE = {
    "stored": {
        "sex": {"female": 1011, "male": 498, "other": None, "unknown": None},
        "age": {"18-44": 214, "45-54": 263, "55-64": 388, "65-74": 371, "75-84": 224, "85+": 63},
        "cause": {
            "idiopathic": 1208,
            "head_trauma": 104,
            "after_neuritis": 61,
            "with_meniere": 34,
            "unknown": 116,
        },
    },
    "positional": {
        "canal": {
            "posterior": 901,
            "lateral": 287,
            "anterior_or_posterior": 51,
            "multiple": 75,
            "anterior": None,
        },
        "side": {"right": 702, "left": 559, "both": 34, "unknown": 19},
        "arm": {"long": 946, "short": 148, "cupula": 114, "unknown": 106},
        "arm_basis": {"sitting_up": 41, "half_dix_hallpike": None, "treatment_response": None},
        "mechanism": {"canalolithiasis": 1090, "cupulolithiasis": 114, "unknown": 110},
        "certainty": {"definite": 1071, "probable": 71, "emerging": 172},
        "first_maneuver": {
            "epley": 731,
            "gufoni": 158,
            "semont": 149,
            "barbecue_roll": 92,
            "zuma": None,
        },
    },
}
REASONS = {
    "vestibular_migraine": 44,
    "no_canal_recorded": 31,
    "focal_neurological_sign": 19,
    "spontaneous_vertical_nystagmus": 17,
    "central": 14,
    "meniere": 12,
    "unilateral_vestibulopathy": 11,
    "cannot_stand": None,
    "gaze_evoked_nystagmus": None,
}
RECOGNITION = {
    "recognised_by_site": 84,
    "on_record_by_day_0": None,
    "recognised_by_day_0": 49,
    "recognised_by_day_30": 71,
    "recognised_after_day_0": 35,
    "recognised_before_treatment": 60,
    "recognised_after_treatment": 24,
    "never_recognised_treated": 28,
    "never_recognised_untreated": None,
    "treated_before_recognition": 52,
}


def build_estimates(plan: Config) -> dict[str, pd.DataFrame]:
    """Analyses that the report reads, each a valid table of schemas.estimate.Estimates."""
    curves = [row for name, part in PARTS.items() for row in build_curve(plan, name, *part)]
    for endpoint, (reach, scale) in ENDPOINTS.items():
        curves += [
            row | {"endpoint": endpoint} for row in build_curve(plan, "all", 1087, 9, reach, scale)
        ]
    people = [
        build_share(
            stratum=f"{variable}={code}", population=population, count=count, whole=FLOW[population]
        )
        for population, variables in PEOPLE.items()
        for variable, counts in variables.items()
        for code, count in counts.items()
    ]
    ages = (("age_lower_quartile", 52), ("age_median", 63), ("age_upper_quartile", 73))
    people += [
        {"population": "stored", "term": term, "estimate": age, "n_episodes": 1523}
        for term, age in ages
    ]
    apart = [
        build_share(stratum=f"reason={code}", count=count, whole=121)
        for code, count in REASONS.items()
    ]
    apart += [build_share(term=term, count=count, whole=121) for term, count in RECOGNITION.items()]
    apart += [
        {"term": f"sessions_before_recognition_{average}", "estimate": number, "n_episodes": 52}
        for average, number in {"mean": 2.4, "median": 2}.items()
    ]
    flow = [
        {"term": term, "estimate": n, "n_episodes": n, "n_sites": 9} for term, n in FLOW.items()
    ]
    return {
        "episode_flow": make_table(flow, analysis="episode_flow", population="pool"),
        "pool_description": make_table(people, analysis="pool_description"),
        "resolution_curves": make_table(
            curves, analysis="resolution_curves", population="positional"
        ),
        "joint_resolution": build_joint(plan),
        "first_test_delay": make_table(
            [
                {"term": f"delay_{part}", "estimate": day, "n_episodes": TREATED, "n_sites": 9}
                for part, day in FIRST_TESTS.items()
            ],
            analysis="first_test_delay",
            population="positional",
        ),
        "non_positional": make_table(
            apart, analysis="non_positional", population="probable_non_positional"
        ),
    }


def build_joint(plan: Config, endpoint: str = "objective") -> pd.DataFrame:
    """Shares resolved with the days of testing as evidence: sooner than tests turned negative, and
    without a share of more than one canal by day 1."""
    rows = [row for name, part in PARTS.items() for row in build_joint_part(plan, name, *part)]
    return make_table(rows, analysis="joint_resolution", population="positional", endpoint=endpoint)


def build_joint_part(
    plan: Config, stratum: str, n: int, sites: int, reach: float, scale: float
) -> list[dict]:
    """All rows of one stratum."""
    days = plan.study.curves.days
    treated = n + UNTESTED if stratum == "all" else round(1.1 * n)
    shared = {"stratum": stratum, "n_episodes": treated, "n_sites": sites}
    no = {"status": "not_identified", "note": "nobody could have been tested by then"}
    if n < plan.study.guards.min_episodes:
        no = {"status": "suppressed", "note": "hidden", "n_episodes": None}
    untold = range(1, 3) if stratum == "canal=multiple" else range(0)
    rows = []
    for day in range(1, days[-1] + 1):
        share = reach * (1 - math.exp(-((day / (scale * SOONER)) ** 0.8)))
        row = shared | {"term": f"resolved_by_day_{day}"}
        if n < plan.study.guards.min_episodes or day in untold:
            rows.append(row | no)
            continue
        width = 2.5 * math.sqrt(share * (1 - share) / n)
        limits = {"lower": max(0, share - width), "upper": min(1, share + width)}
        rows.append(row | limits | {"estimate": share})
        if day in days:
            rows += [
                shared | {"term": f"resolved_by_day_{day}_{end}_misread", "estimate": share + shift}
                for end, shift in (("least", -0.01), ("greatest", 0.01))
            ]
    if "," in stratum or stratum.startswith("first") or n < plan.study.guards.min_episodes:
        return rows
    for day in days:
        known = round(0.5 * n * reach * (1 - math.exp(-((day / scale) ** 0.8))))
        for part, count in (("resolved", known), ("unresolved", round(0.2 * (n - known)))):
            number = {"estimate": count / treated, "lower": 0, "upper": 1, "n_events": count}
            rows.append(shared | number | {"term": f"known_{part}_by_day_{day}"})
    return rows


def build_curve(
    plan: Config, stratum: str, n: int, sites: int, reach: float, scale: float
) -> list[dict]:
    """All rows of one curve; days 15 to 20 of parts below 100 episodes are an interval of no
    information."""
    curves = plan.study.curves
    shared = {"endpoint": "objective", "stratum": stratum, "n_episodes": n, "n_sites": sites}
    few = {"status": "too_few", "note": f"fewer than {plan.study.guards.min_episodes} episodes"}
    if n < plan.study.guards.min_episodes:
        terms = [*(f"resolved_by_day_{day}" for day in curves.days), "median_days"]
        return [
            shared | few | {"term": term, "n_episodes": None, "status": "suppressed"}
            for term in terms
        ]

    def resolved(day):
        return reach * (1 - math.exp(-((day / scale) ** 0.8)))

    def limit(share, side):
        return min(1, max(0, share + side * 1.96 * 1.5 * math.sqrt(share * (1 - share) / n)))

    rows = []
    for day in range(curves.horizon_day + 1):
        gap = n < 100 and 14 < day < 21
        least, most = (resolved(14), resolved(21)) if gap else (resolved(day), resolved(day))
        is_shown = day == 0 or (
            least * n >= plan.study.guards.min_events
            and (1 - most) * n >= plan.study.guards.min_events
        )
        for bound, share in (("upper", 1 - least), ("lower", 1 - most)):
            row = shared | {"term": f"unresolved_{bound}_day_{day}", "n_events": round(least * n)}
            limits = {} if day == 0 else {"lower": limit(share, -1), "upper": limit(share, 1)}
            rows.append(row | {"estimate": share} | limits if is_shown else row | few)
        if day in curves.days:
            row = shared | {"term": f"resolved_by_day_{day}", "n_events": round(least * n)}
            numbers = {"estimate": least, "lower": limit(least, -1), "upper": limit(most, 1)}
            rows.append(row | numbers if is_shown else row | few)
        if day in curves.days:
            shares = {"negative": 0.6 * least, "between": 0.2 * most, "untested": 0.1 * least}
            counts = {part: round(n * share) for part, share in shares.items()}
            counts["positive"] = n - sum(counts.values())
            rows += [
                shared | count_or_hide(left) | {"term": f"known_{part}_day_{day}"}
                for part, left in counts.items()
            ]
    half = next((day for day in range(curves.horizon_day + 1) if resolved(day) >= 0.5), None)
    median = {"estimate": half, "lower": half - 1, "upper": None if n < 40 else half + 2}
    return [*rows, shared | {"term": "median_days"} | median]


def build_share(*, count: int | None, whole: int, **fields: str) -> dict:
    """A share of a whole, or a hidden one."""
    if count is None:
        return fields | {"status": "suppressed", "note": "hidden"}
    return fields | {
        "estimate": count / whole,
        "n_events": count,
        "n_episodes": whole,
        "n_sites": 9,
    }


def count_or_hide(count: int) -> dict:
    """A count among all, hidden from 1 to 10."""
    if 1 <= count <= 10:
        return {"n_episodes": None, "n_sites": None, "status": "suppressed", "note": "hidden"}
    return {"estimate": count, "n_events": count}


def make_table(rows: list[dict], **shared: str) -> pd.DataFrame:
    """Rows as estimates; what a row does not say is a plain share of all."""
    plain = {"status": "ok", "method": "invented", "stratum": "all", "term": "share"}
    frame = pd.DataFrame([plain | shared | row for row in rows]).reindex(
        columns=list(Estimates.describe())
    )
    return Estimates.validate(Estimates.cast(frame), lazy=True)
