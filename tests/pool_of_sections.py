"""The analyses behind the report's further sections as disclosed estimates,
with enough numbers for every figure."""

import pandas as pd

from pipeline.reports.committee.attempts import POPULATION as ATTEMPTS
from pipeline.reports.committee.failures import FAILED, OR_NOT_SEEN
from pipeline.reports.committee.matrix import POPULATION as FIRST
from pipeline.reports.committee.order_readings import COMPARISON, DAYS
from pipeline.reports.committee.second_line import POPULATION as SECOND
from pipeline.statistics.tidy import state, tidy_estimates, withhold
from schemas.study import Config
from tests.pool_of_estimates import build_estimates

SITES = {"n_sites": 9}


def build_everything(plan: Config) -> dict[str, pd.DataFrame]:
    """Every analysis that the committee's report reads."""
    return build_estimates(plan) | build_sections(plan)


def build_sections(plan: Config) -> dict[str, pd.DataFrame]:
    """The analyses that tests/pool_of_estimates.py does not have."""
    return {
        "denominators": _tidy("denominators", _list_denominators(), "pool", None),
        "attempt_success": _tidy("attempt_success", _list_attempts(), ATTEMPTS, None),
        "second_line": _tidy("second_line", _list_choices(plan), SECOND),
        "first_choice": _tidy("first_choice", _list_first(), FIRST),
        "first_courses": _tidy("first_courses", _list_courses()),
        "strategies": _tidy("strategies", _list_orders()),
        "sequence_paths": _tidy("sequence_paths", _list_paths(), endpoint=None),
        "failure_reasons": _tidy("failure_reasons", _list_reasons(), None, None),
        "handicap_change": _tidy("handicap_change", _list_totals(plan)),
        "recurrence": _tidy("recurrence", _list_returns(plan), "resolved first spells"),
        "published_comparison": _tidy("published_comparison", _list_trials(plan), None, None),
        "diagnosis_agreement": _tidy("diagnosis_agreement", _list_agreement(), endpoint=None),
    }


def _tidy(
    analysis: str,
    rows: list[dict],
    population: str | None = "positional",
    endpoint: str | None = "objective",
) -> pd.DataFrame:
    shared = {"analysis": analysis, "endpoint": endpoint, "method": "invented"}
    return tidy_estimates(rows, **shared | ({"population": population} if population else {}))


def _share(
    term: str, estimate: float, whole: int, stratum: str = "all", reach: float = 0.07, **more
) -> dict:
    limits = {"lower": max(0.0, estimate - reach), "upper": min(1.0, estimate + reach)}
    counts = {
        "n_episodes": whole,
        "n_events": round(estimate * whole) if 0 <= estimate <= 1 else None,
    } | SITES
    return state(term, estimate, stratum=stratum, **limits | counts | more)


def _count(term: str, number: int, whole: int, stratum: str = "all") -> dict:
    return state(term, number, stratum=stratum, n_episodes=whole, n_events=number, **SITES)


BASES = {  # estimate, and episodes where they are fewer
    "handed_in": (1612,),
    "stored": (1523,),
    "patients": (1400,),
    "sites": (9, 1523),
    "apart": (121,),
    "positional": (1314,),
    "treated": (1268,),
    "complete": (1205,),
    "followed": (1087,),
    "taken_for_failed": (500,),
    "failed": (480,),
    "compared": (420,),
    "sessions": (2100, 1268),
    "first_sessions": (1268,),
    "first_sessions_tested": (1080,),
    "second_sessions": (540,),
    "second_sessions_tested": (430,),
    "third_sessions": (260,),
    "third_sessions_tested": (190,),
    "later_sessions": (160, 110),
    "later_sessions_tested": (117, 85),
    "without_stored": (89,),
    "without_patients": (123,),
    "without_positional": (209,),
    "without_treated": (46,),
    "without_complete": (63,),
    "without_followed": (118,),
    "without_taken_for_failed": (768,),
    "without_failed": (20,),
    "without_compared": (60,),
    "without_first_sessions_tested": (188,),
    "without_second_sessions_tested": (110,),
    "without_third_sessions_tested": (70,),
    "without_later_sessions_tested": (43, 40),
}


def _list_denominators() -> list[dict]:
    return [
        state(name, counts[0], stratum="all", n_episodes=counts[-1], method="count", **SITES)
        for name, counts in BASES.items()
    ]


def _list_attempts() -> list[dict]:
    shares = {"1": (0.52, 1080), "2": (0.4, 430), "3": (0.37, 190), "4+": (0.3, 85)}
    rows = [
        _share("success_raw", share, n, f"attempt_number={number}")
        for number, (share, n) in shares.items()
    ]
    return [
        *rows,
        state(
            "attempts_to_resolve_80",
            3,
            lower=3,
            upper=4,
            stratum="model=mixed",
            n_episodes=1080,
            **SITES,
        ),
    ]


def _list_choices(plan: Config) -> list[dict]:
    chosen = {"repeat": 230, "change": 190}
    rows = [_count("failed_first_session", 480, 480)]
    rows += [_count(f"choice_{arm}", n, n) for arm, n in chosen.items()]
    rows += [
        state(f"effective_n_{arm}", 0.8 * n, stratum="all", n_episodes=420, **SITES)
        for arm, n in chosen.items()
    ]
    for stratum, share in (
        ("all", 1.0),
        ("variant=posterior_long_arm", 0.5),
        ("variant=adherent_debris", 0.2),
    ):
        for day in plan.study.second_line.days:
            repeat, change = 0.2 + day / 75, 0.26 + day / 75
            for arm, risk in (("repeat", repeat), ("change", change)):
                rows.append(
                    _share(f"risk_{arm}_day_{day}", risk, round(share * chosen[arm]), stratum)
                )
            limits = {"lower": -0.02, "upper": 0.14, "comparison": "repeat"}
            rows.append(
                _share(f"risk_difference_day_{day}", change - repeat, round(share * 420), stratum)
                | limits
            )
        for arm, days in (("repeat", 12.5), ("change", 11.0)):
            limits = {"lower": days - 2, "upper": days + 2}
            rows.append(
                _share(f"mean_days_{arm}", days, round(share * chosen[arm]), stratum) | limits
            )
        limits = {"lower": -3.5, "upper": 0.5, "comparison": "repeat"}
        rows.append(_share("mean_days_difference", -1.5, round(share * 420), stratum) | limits)
    return rows


def _list_first() -> list[dict]:
    """First maneuvers of three variants that have a curve, and of one that is named by the
    response to a maneuver."""
    shares = {
        ("posterior_long_arm", "epley"): (0.64, 400),
        ("posterior_long_arm", "semont"): (0.6, 120),
        ("lateral_geotropic", "gufoni"): (0.72, 100),
        ("several_canals", "epley"): (0.4, 40),
    }
    rows = [
        _share("first_test_negative", share, whole, f"variant={variant},family={family}")
        for (variant, family), (share, whole) in shares.items()
    ]
    few = "variant=posterior_long_arm,family=gans"
    rows.append(withhold("first_test_negative", "too_few", "few", stratum=few))
    circular = "variant=short_arm_by_treatment_response"
    note = "circular: the arm is named by the response that is compared"
    return [*rows, withhold("first_test_negative", "not_identified", note, stratum=circular)]


def _list_orders() -> list[dict]:
    """The usual order of one variant, and three others, of which one differs clearly."""
    days = {"epley": 6.0, "epley > semont": 6.6, "epley > epley > gans": 6.9, "semont": 6.2}
    rows = []
    for order, mean in days.items():
        fields = {"stratum": f"variant=posterior_long_arm,strategy={order}"} | SITES
        share = 1.02 - mean / 60
        rows.append(state(DAYS, mean, lower=mean - 1, upper=mean + 1, **fields))
        for term in ("resolved_after_1_sessions", "resolved_by_day_30"):
            rows.append(state(term, share, lower=share - 0.05, upper=share + 0.04, **fields))
        if order != "epley":
            less = {"comparison": COMPARISON} | fields
            ends = {"lower": mean - 6.7, "upper": mean - 5.3}
            rows.append(state(f"difference_{DAYS}", mean - 6.0, **ends, **less))
    return rows


def _list_courses() -> list[dict]:
    """Two first maneuvers of one variant, as they are and had all begun so."""
    rows = []
    for family, mean in (("epley", 6.3), ("semont", 7.1)):
        fields = {"stratum": f"variant=posterior_long_arm,family={family}"} | SITES
        for prefix, more in (("", 0.0), ("standardised_", 0.4)):
            value = mean + more
            ends = {"lower": value - 1.1, "upper": value + 1.2}
            rows.append(state(f"{prefix}{DAYS}", value, **ends, **fields))
    return rows


def _list_paths() -> list[dict]:
    start, epley = "path=start", "path=epley"
    rows = [_count("reached", 1205, 1205, start), _count("next=epley", 700, 1205, start)]
    rows += [
        _count("next=rarer", 505, 1205, start),
        _share("share_resolved_at_next_test", 0.55, 600, epley),
    ]
    ends = {
        "resolved_at_next_test": 330,
        "next=epley": 150,
        "next=semont": 60,
        "no_further_session": 60,
        "never_tested_again": 100,
    }
    return rows + [_count(term, n, 700, epley) for term, n in ends.items()]


def _list_reasons() -> list[dict]:
    shares = {"technique": 0.25, "canal_switch": 0.2, "wrong_side": 0.08, "undetermined": 0.4}
    rows = [
        _share("share", share + grown, 500, f"view={view},reason={reason}") | {"population": FAILED}
        for view, grown in (("at_the_time", 0.0), ("in_hindsight", 0.03))
        for reason, share in shares.items()
    ]
    never = _share("share", 0.25, 660, "view=at_the_time,reason=never_tested_again") | {
        "population": OR_NOT_SEEN
    }
    return [*rows, never]


def _list_totals(plan: Config) -> list[dict]:
    means = dict(zip((0, *plan.study.handicap.days), (44, 31, 23, 15), strict=True))
    rows = [
        _share(f"mean_day_{day}", mean, 900) | {"lower": mean - 3, "upper": mean + 3}
        for day, mean in means.items()
    ]
    for day in plan.study.handicap.days:
        change = means[day] - means[0]
        limits = {"lower": change - 3, "upper": change + 3, "comparison": "day 0"}
        rows.append(_share(f"change_by_day_{day}", change, 900) | limits)
    falls = zip(plan.study.handicap.important_changes, (0.7, 0.55), strict=True)
    return rows + [_share(f"fell_by_{points}_by_day_30", share, 640) for points, share in falls]


def _list_returns(plan: Config) -> list[dict]:
    days = plan.study.recurrence.days
    rows = [_share(f"recurrence_free_day_{day}", 1 - day / 900, 560) for day in days]
    return [*rows, _share(f"recurrence_free_day_{days[-1]}", 0.78, 380, "canal=posterior")]


def _list_trials(plan: Config) -> list[dict]:
    rows = []
    for name, trial in plan.published.trials.items():
        for arm in trial.arms:
            stratum, term = (
                f"trial={name},first_maneuver={arm.family}",
                f"resolved_by_day_{trial.day}",
            )
            printed = _share(term, arm.events / arm.total, arm.total, stratum) | {
                "population": "published"
            }
            pair = (printed, _share(term, 0.6, 240, stratum) | {"population": "positional"})
            rows += [row | {"endpoint": trial.endpoint} for row in pair]
    return rows


def _list_agreement() -> list[dict]:
    kappa = state(
        "canal_kappa", 0.84, lower=0.76, upper=0.92, stratum="all", n_episodes=1100, **SITES
    )
    return [_share("canal_agreement", 0.92, 1100), kappa]
