"""A different text of a column is judged once, and every cell that holds it is named as if the
whole table had been judged."""

import pandas as pd
import pandera.pandas as pa
import pytest

from pipeline.intake.check import ProgramFault, find_failures, find_wrong_cells
from pipeline.intake.handed import hold_once
from pipeline.intake.parse import type_cells
from pipeline.intake.problem import DESCRIBED
from schemas.delivery import TABLES, Submission

MODELS = TABLES | {"submission": Submission}
ENTRIES = (
    None,
    "EP-1",
    "no!",
    "0",
    "-7",
    "999999999",
    "1.5",
    "yes",
    "none",
    "left",
    "0",
    "no!",
    None,
)


@pytest.mark.parametrize("table", MODELS)
def test_every_cell_of_a_wrong_text_is_named(table):
    model = MODELS[table]
    index = range(2, len(ENTRIES) + 2)
    texts = pd.DataFrame(
        {name: pd.Series(hold_once(ENTRIES), index=index) for name in DESCRIBED[table]}
    )
    rows, _ = type_cells(table, texts, DESCRIBED[table])
    whole = find_failures(model, rows)
    expected = whole[whole["column"].notna()].itertuples(index=False, name=None)
    wrong = find_wrong_cells(model, rows, texts)
    assert set(wrong) == set(expected)
    assert len(wrong) == len(set(wrong)) > len(ENTRIES)


def test_a_column_of_another_type_is_our_own_fault():
    texts = pd.DataFrame({name: ["1"] for name in DESCRIBED["treatments"]})
    with pytest.raises(ProgramFault, match="columns or types are not those of"):
        find_wrong_cells(TABLES["treatments"], texts, texts)


@pytest.mark.parametrize("table", MODELS)
def test_no_rule_across_columns_blames_a_row_of_gaps(table):
    model = MODELS[table]
    gaps = model.empty().reindex([0])
    rules = model.to_schema().checks
    assert rules
    assert find_failures(pa.DataFrameSchema(checks=rules), gaps).empty
