"""The analyses by name, in the order of the plan, and how one is run on a warehouse.

An analysis is a function whose parameters are names of warehouse tables, and `config` if it needs it. It is imported only when it
runs, so that counting does not wait for libraries that only a model needs.
"""

import importlib
import inspect
from collections.abc import Callable

import pandas as pd

from pipeline.derivation.tables import DELIVERED
from pipeline.warehouse import Warehouse
from schemas.study import Config

ANALYSES = {
    "episode_flow": "pipeline.analyses.description.counts:count_flow",
    "denominators": "pipeline.analyses.description.denominators:count_denominators",
    "pool_description": "pipeline.analyses.description.counts:describe_pool",
    "non_positional": "pipeline.analyses.description.counts:describe_non_positional",
    "diagnosis_agreement": "pipeline.analyses.description.agreement:estimate_agreement",
    "failure_reasons": "pipeline.analyses.attempts.failure_reasons:estimate_failure_reasons",
    "resolution_curves": "pipeline.analyses.resolution.curves:estimate_resolution_curves",
    "resolution_regression": "pipeline.analyses.resolution.regression:estimate_resolution_regression",
    "attempt_success": "pipeline.analyses.attempts.success:estimate_attempt_success",
    "second_line": "pipeline.analyses.order.second_line:estimate_second_line",
    "sequence_paths": "pipeline.analyses.order.paths:describe_sequences",
    "handicap_change": "pipeline.analyses.afterwards.handicap:estimate_handicap_change",
    "recurrence": "pipeline.analyses.afterwards.recurrence:estimate_recurrence",
    "competing_events": "pipeline.analyses.resolution.competing_events:estimate_competing_events",
    "site_pooling": "pipeline.analyses.sites.pooling:estimate_site_pooling",
    "site_monitoring": "pipeline.analyses.sites.monitoring:estimate_site_monitoring",
    "published_comparison": "pipeline.analyses.resolution.published_comparison:compare_published",
    "sensitivity": "pipeline.analyses.sensitivity.variations:estimate_sensitivity",
    "model_agreement": "pipeline.analyses.sensitivity.model_agreement:check_model_agreement",
}
LONGEST = "sensitivity"  # begins first, so that no core waits for it at the end


def module_of(analysis: str) -> str:
    """The module in which an analysis lives."""
    return ANALYSES[analysis].split(":")[0]


def find_analysis(analysis: str) -> Callable[..., pd.DataFrame]:
    """The function of an analysis; raises KeyError for a name that is none."""
    module, function = ANALYSES[analysis].split(":")
    return getattr(importlib.import_module(module), function)


def run_analysis(analysis: str, warehouse: Warehouse, config: Config) -> pd.DataFrame:
    """The estimates of one analysis; of delivered tables it sees each site's current delivery."""
    estimate = find_analysis(analysis)
    given = {
        name: config if name == "config" else warehouse.read(name, current=name in DELIVERED)
        for name in inspect.signature(estimate).parameters
    }
    return estimate(**given)
