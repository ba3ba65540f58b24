"""What an analysis takes and gives is typed by the tables' own models."""

import inspect
from typing import get_type_hints

import pandas as pd
import pytest

from pipeline.analyses.plan import ANALYSES, find_analysis
from pipeline.derivation.tables import adjudicate, time_spells
from schemas.columns import Frame
from schemas.derived import Adjudications, Findings, ReasonsAgainst, Spells
from schemas.estimate import Estimates
from schemas.study import Config
from schemas.warehouse import model_of


@pytest.mark.parametrize("analysis", ANALYSES)
def test_parameters_of_an_analysis_are_the_tables_of_their_names(analysis):
    function = find_analysis(analysis)
    hints = get_type_hints(function)
    for name in inspect.signature(function).parameters:
        assert hints[name] == (Config if name == "config" else Frame[model_of(name)])
    assert hints["return"] == Frame[Estimates]


def test_derived_tables_are_typed():
    assert (
        get_type_hints(adjudicate)["return"]
        == tuple[Frame[Findings], Frame[ReasonsAgainst], Frame[Adjudications]]
    )
    assert get_type_hints(time_spells)["return"] == tuple[pd.DataFrame, Frame[Spells]]
