"""How an analysis of the plan (schemas/declared) is run on a warehouse.

An analysis is a function whose parameters are names of warehouse tables, and `config` if it needs
it. It is imported only when it runs, so that counting does not wait for libraries that only a model
needs.
"""

import importlib
import inspect
from collections.abc import Callable

from pipeline.derivation.tables import DELIVERED
from pipeline.warehouse import Warehouse
from schemas.columns import Frame
from schemas.declared import PLAN
from schemas.estimate import Estimates
from schemas.study import Config

# of these each site's current delivery counts; how many rows came in is told of all deliveries
OF_SITES_NOW = (*DELIVERED, "planned_days")
ANALYSES = {
    name: analysis.function for name, analysis in PLAN.items() if not analysis.of_the_demonstration
}
# what the demonstration pool is compared with
PLANTED = [name for name, analysis in PLAN.items() if analysis.of_the_demonstration]
# The folders of pipeline/analyses, and what a run calls each. One process answers a question, so
# that libraries and tables are read once for all its analyses; the longest begins first, so that
# no core waits for it at the end.
QUESTIONS = {
    "order": "Which maneuver, and in which order",
    "resolution": "When positional vertigo resolved",
    "sensitivity": "Whether other choices would change the answers",
    "attempts": "How sessions ended, and why some failed",
    "sites": "How far sites differ",
    "description": "Who was treated, and what was found",
    "afterwards": "What came after resolution",
}


def module_of(analysis: str) -> str:
    """The module in which an analysis lives."""
    return ANALYSES[analysis].split(":")[0]


def list_analyses(question: str) -> list[str]:
    """The analyses of a question, in the order of the plan."""
    folder = f"pipeline.analyses.{question}."
    return [name for name in ANALYSES if module_of(name).startswith(folder)]


def find_analysis(analysis: str) -> Callable[..., Frame[Estimates]]:
    """The function of an analysis; raises KeyError for a name that is none."""
    module, function = ANALYSES[analysis].split(":")
    return getattr(importlib.import_module(module), function)


def run_analysis(analysis: str, warehouse: Warehouse, config: Config) -> Frame[Estimates]:
    """The estimates of one analysis; of delivered tables it sees each site's current delivery."""
    estimate = find_analysis(analysis)
    given = {
        name: config if name == "config" else warehouse.read(name, current=name in OF_SITES_NOW)
        for name in inspect.signature(estimate).parameters
    }
    return estimate(**given)
