"""E-values against printed ones, and against the bias that the confounder they stand for would
make."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.e_value import find_e_value, find_limit_e_value

# Hammond EC, Horn D. JAMA 1958: smoking and lung cancer, 10.73 (8.02 to 14.36). E-values as printed
# by the R package EValue (Mathur MB et al. Epidemiology 2018;29:e45-e47) in its vignette on
# unmeasured confounding.
PRINTED = {10.73: 20.94777, 8.02: 15.52336}
RATIOS = st.floats(0.01, 100)


@pytest.mark.parametrize(("ratio", "printed"), PRINTED.items())
def test_agrees_with_the_printed_values(ratio, printed):
    assert find_e_value(ratio) == pytest.approx(printed, abs=5e-6)


def test_the_limit_nearer_to_one_counts():
    # VanderWeele TJ, Ding P. Ann Intern Med 2017;167:268-274: 3.9 (1.8 to 8.7) gives 7.2 and 3.0
    # (from memory)
    assert find_e_value(3.9) == pytest.approx(7.2, abs=0.07)
    assert find_limit_e_value(1.8, 8.7) == pytest.approx(3.0)
    assert find_limit_e_value(8.02, 14.36) == pytest.approx(PRINTED[8.02], abs=5e-6)
    assert find_limit_e_value(1 / 8.7, 1 / 1.8) == pytest.approx(3.0)
    assert find_limit_e_value(0.9, 1.2) == 1


@given(RATIOS)
def test_a_confounder_of_that_strength_explains_the_ratio_exactly(ratio):
    """The greatest bias of a confounder with ratios E and E is E E / (E + E - 1): Ding P,
    VanderWeele TJ. Epidemiology 2016;27:368-377."""
    strength = find_e_value(ratio)
    assert strength**2 / (2 * strength - 1) == pytest.approx(max(ratio, 1 / ratio), rel=1e-9)


@pytest.mark.parametrize("ratio", [0, -1, np.nan])
def test_what_is_no_ratio_is_refused(ratio):
    with pytest.raises(ValueError, match="above 0"):
        find_e_value(ratio)
