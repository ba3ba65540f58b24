"""Every analysis of the plan and what it can state, in the order of the plan: one place for models,
protection, pages and the catalogue."""

from functools import cache

from schemas.analysis import Analysis
from schemas.declared import (
    afterwards,
    attempts,
    description,
    order,
    resolution,
    sensitivity,
    sites,
)
from schemas.quantities import Found, Quantity, Undeclared

PLAN: dict[str, Analysis] = {
    "episode_flow": description.EPISODE_FLOW,
    "denominators": description.DENOMINATORS,
    "pool_description": description.POOL_DESCRIPTION,
    "non_positional": description.NON_POSITIONAL,
    "diagnosis_agreement": description.DIAGNOSIS_AGREEMENT,
    "first_test_delay": description.FIRST_TEST_DELAY,
    "quality_measures": description.QUALITY_MEASURES,
    "planted_variants": description.PLANTED_VARIANTS,
    "planted_answers": order.PLANTED_ANSWERS,
    "failure_reasons": attempts.FAILURE_REASONS,
    "resolution_curves": resolution.RESOLUTION_CURVES,
    "joint_resolution": resolution.JOINT_RESOLUTION,
    "joint_prediction": resolution.JOINT_PREDICTION,
    "resolution_regression": resolution.RESOLUTION_REGRESSION,
    "attempt_success": attempts.ATTEMPT_SUCCESS,
    "first_choice": order.FIRST_CHOICE,
    "first_courses": order.FIRST_COURSES,
    "technique": attempts.TECHNIQUE,
    "adverse_events": attempts.ADVERSE_EVENTS,
    "second_line": order.SECOND_LINE,
    "strategies": order.STRATEGIES,
    "weighted_strategies": order.WEIGHTED_STRATEGIES,
    "sequence_paths": order.SEQUENCE_PATHS,
    "handicap_change": afterwards.HANDICAP_CHANGE,
    "recurrence": afterwards.RECURRENCE,
    "competing_events": resolution.COMPETING_EVENTS,
    "site_pooling": sites.SITE_POOLING,
    "site_monitoring": sites.SITE_MONITORING,
    "published_comparison": resolution.PUBLISHED_COMPARISON,
    "sensitivity": sensitivity.SENSITIVITY,
    "model_agreement": sensitivity.MODEL_AGREEMENT,
}
DECLARED = {name: analysis.quantities for name, analysis in PLAN.items()}


def find_declared(analysis: str, term: str) -> Quantity:
    """The quantity that is declared with this very pattern of its term,
    such as `risk_{arm}_day_{day}`; raises Undeclared if none is."""
    for quantity in DECLARED[analysis]:
        if quantity.term == term:
            return quantity
    raise Undeclared(f"{analysis} declares no “{term}”")


@cache
def find_quantity(analysis: str, stratum: str, term: str) -> Found:
    """The first declaration that fits a row; raises Undeclared with a sentence that names the
    row."""
    for quantity in DECLARED.get(analysis, ()):
        from_term, part = quantity.pattern.fullmatch(term), quantity.strata.fullmatch(stratum)
        if from_term and part:
            return Found(quantity, part.groupdict() | from_term.groupdict())
    raise Undeclared(
        f"{analysis} states “{term}” of “{stratum}”, which no declaration of schemas/declared "
        "knows: nothing is released until it says what the number is and whom it counts."
    )
