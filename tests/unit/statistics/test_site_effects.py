"""Effects of sites: no spread where there is none."""

import numpy as np
import pytest

from pipeline.analyses.sites.pooled import to_scale
from pipeline.statistics.site_effects import fit_fixed, fit_random


def test_no_spread_between_sites_is_no_spread():
    rng = np.random.default_rng(9)
    happened, site = rng.random(400) < 0.5, np.repeat([f"S{n}" for n in range(8)], 50)
    happened = happened.reshape(8, 50)
    happened[:] = np.sort(happened[0])  # the same count everywhere
    fit = fit_random(np.ones((400, 1)), happened.ravel(), site)
    assert fit.sigma2 == 0
    assert fit.coefficients == pytest.approx(to_scale([happened.mean()]), abs=1e-8)


def test_separated_first_sessions_are_refused():
    design = np.column_stack([np.ones(40), np.arange(40) < 20]).astype(float)
    happened = np.arange(40) < 30
    happened[:20] = True  # every member of the second column
    assert fit_fixed(design, happened).status == "not_identified"
