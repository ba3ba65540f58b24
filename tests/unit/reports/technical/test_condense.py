"""Long analyses are condensed: whole parts, coarse ones first."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports.technical.condense import MOST, condense_rows


@settings(max_examples=25)
@given(
    st.dictionaries(
        st.sampled_from(
            [f"a={n}" for n in range(9)] + [f"a={n},b={m}" for n in range(9) for m in range(9)]
        ),
        st.integers(1, 700),
        min_size=1,
    )
)
def test_a_long_analysis_keeps_whole_parts_coarse_ones_first(parts):
    rows = pd.DataFrame({"stratum": np.repeat(list(parts), list(parts.values()))}).assign(
        term="share"
    )
    kept = condense_rows("resolution_curves", rows.sample(frac=1, random_state=3), ())
    sizes = kept["stratum"].value_counts().to_dict()
    assert all(parts[stratum] == number for stratum, number in sizes.items())
    assert len(kept) <= MOST or len(sizes) == 1
    assert len(sizes) >= 1
    gone = set(parts) - set(sizes)
    assert all(stratum.count("=") >= max(name.count("=") for name in sizes) for stratum in gone)
    assert set(condense_rows("resolution_curves", rows, ())["stratum"]) == set(sizes)
    if sum(parts.values()) <= MOST:
        assert not gone


@pytest.mark.parametrize(
    ("analysis", "term"),
    [
        ("resolution_curves", "unresolved_upper_day_3"),
        ("resolution_curves", "unresolved_lower_day_30"),
        ("joint_resolution", "resolved_by_day_8"),
    ],
)
def test_curves_by_day_are_in_the_files_only(analysis, term):
    rows = pd.DataFrame({"stratum": "all", "term": [term, "resolved_by_day_7"]})
    assert condense_rows(analysis, rows, (1, 7))["term"].tolist() == ["resolved_by_day_7"]
    elsewhere = condense_rows("published_comparison", rows, (1, 7))["term"].tolist()
    assert elsewhere == rows["term"].tolist()
