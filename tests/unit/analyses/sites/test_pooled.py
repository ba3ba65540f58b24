"""From the scale of models to shares and back."""

import numpy as np
import pytest

from pipeline.analyses.sites.pooled import to_scale, to_share


def test_scale_of_chances():
    shares = np.array([0.01, 0.5, 0.632120558828, 0.99])
    assert to_scale(shares)[2] == pytest.approx(0, abs=1e-9)  # 1 - exp(-1)
    assert [to_share(effect) for effect in to_scale(shares)] == pytest.approx(shares)
