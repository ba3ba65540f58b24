"""What was planted beside what the release answers, and beside the naive answer: for the
demonstration pool only, whose makers know the truth.

For each variant and order of maneuvers that the release tells of: the share that would truly have
been clear by each day of the plan, and the mean days with vertigo, had all who were treated for the
variant been treated so (`truth/answers.csv` of the pool, made by running each patient's hidden
course under each order); and by how much the order differs from the usual one. Beside each stands
the released answer with its limits. The naive answer to which first maneuver clears a variant is
the share whose next test was negative, whenever it came and whoever was given the maneuver.

Truth and answer are not of quite the same people: the truth is of those who had the variant, the
answer of those whose tests were read as having it.
"""

from collections.abc import Iterator

import pandas as pd

from pipeline.statistics.tidy import Fields, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.strata import THEN, split_stratum
from schemas.study import Study

# by variant of the plan, the variant of the generator
PLANTED_AS = {
    "posterior_long_arm": "posterior_long",
    "short_arm_by_sitting_up": "posterior_short",
    "short_arm_by_half_dix_hallpike": "posterior_short",
    "posterior_on_cupula": "posterior_cupula",
    "lateral_geotropic": "lateral_geotropic",
    "lateral_apogeotropic_free": "lateral_free",
    "lateral_apogeotropic_on_cupula": "lateral_cupula",
}
NAIVE = "first_test_negative"
DAYS_ILL = "mean_days_with_vertigo"
KEPT = ["estimate", "lower", "upper", "status", "note"]


def compare_answers(
    strategies: Frame[Estimates], first_choice: Frame[Estimates], truth: pd.DataFrame, study: Study
) -> Frame[Estimates]:
    """Set each released answer beside the planted one.

    Parameters
    ----------
    strategies, first_choice
        What was released of these analyses.
    truth
        One row per variant and order of the generator: variant, strategy, and a number of each
        kind.
    study
        The plan.

    Returns
    -------
    Frame[Estimates]
        By variant and order (variant=...,strategy=...): planted_, found_ and naive_ with the name
        of the number, and the same of the difference from the usual order.
    """
    planted = truth.set_index(["variant", "strategy"])
    answers = _by_key(strategies)
    raw = _by_key(first_choice)
    rows: list[Fields] = []
    for variant in [name for name in study.strategies.variants if name in PLANTED_AS]:
        orders = [
            split_stratum(stratum)["strategy"]
            for stratum in dict.fromkeys(strategies["stratum"])
            if split_stratum(stratum).get("variant") == variant
        ]
        for order in orders:
            if (PLANTED_AS[variant], order) in planted.index:
                rows += _compare(variant, order, orders[0], planted, answers, raw, study)
    return tidy_estimates(
        rows, analysis="planted_answers", population="demonstration pool", method="simulation"
    )


def _by_key(estimates: Frame[Estimates]) -> dict[tuple[str, str], Fields]:
    keys = zip(estimates["stratum"], estimates["term"], strict=True)
    return dict(zip(keys, estimates[KEPT].to_dict("records"), strict=True))


def _compare(
    variant: str,
    order: str,
    usual: str,
    planted: pd.DataFrame,
    answers: dict[tuple[str, str], Fields],
    raw: dict[tuple[str, str], Fields],
    study: Study,
) -> Iterator[Fields]:
    """All rows of one order of a variant; `usual` is the order it is compared with."""
    stratum = f"variant={variant},strategy={order}"
    name = PLANTED_AS[variant]
    plan = study.strategies
    first_test = f"resolved_by_day_{plan.retest_days}"  # the day of the next test of an order
    naive = [raw.get((f"variant={variant},family={one}", NAIVE)) for one in (order, usual)]
    # until the next test it is its first maneuver alone
    days = [day for day in plan.days if day > plan.retest_days or THEN not in order]
    told = [*(f"resolved_by_day_{day}" for day in days), DAYS_ILL]
    measures = [measure for measure in told if measure in planted]  # a plan may have other days
    for measure in measures:
        truth = planted.at[(name, order), measure]
        yield state(f"planted_{measure}", truth, stratum=stratum)
        yield from _tell(f"found_{measure}", answers.get((stratum, measure)), stratum)
        if measure == first_test:
            yield from _tell(f"naive_{measure}", naive[0], stratum)
        if order == usual or (name, usual) not in planted.index:
            continue
        difference = f"difference_{measure}"
        yield state(
            f"planted_{difference}", truth - planted.at[(name, usual), measure], stratum=stratum
        )
        yield from _tell(f"found_{difference}", answers.get((stratum, difference)), stratum)
        if measure == first_test and all(each and each["status"] == "ok" for each in naive):
            both = [float(each["estimate"]) for each in naive if each]
            yield state(f"naive_{difference}", both[0] - both[1], stratum=stratum)


def _tell(term: str, answer: Fields | None, stratum: str) -> Iterator[Fields]:
    """The row of an answer as it was released, or with the reason why there is none."""
    if answer is None:
        return
    fields = {"lower": answer["lower"], "upper": answer["upper"], "stratum": stratum}
    if answer["status"] == "ok":
        yield state(term, answer["estimate"], **fields)
    else:
        yield withhold(term, answer["status"], answer["note"], **fields)
