"""Probabilities of choices: without each site, where hardly any, and where all chose so."""

import numpy as np
import pandas as pd
import pytest

from pipeline.analyses.order.choice_probabilities import NOT_CHOSEN, find_probabilities, find_usable
from pipeline.analyses.order.propensity import leave_out_sites
from tests.unit.analyses.order.test_propensity import draw


def test_probabilities_without_a_site_are_those_of_a_fit_without_it(plan):
    rows = draw()
    chosen = rows["choice"].eq("change").to_numpy()
    terms, stays = ("mechanism", "onset", "age_decade"), leave_out_sites(rows["site"])
    chances = find_probabilities(rows, terms, chosen, stays, plan.study.guards)
    assert (chances[~stays] == 0).all()
    without = find_probabilities(
        rows[stays[1]], terms, chosen[stays[1]], stays[:1, stays[1]], plan.study.guards
    )
    assert chances[1, stays[1]] == pytest.approx(without[0], abs=1e-6)
    assert chances[0].sum() == pytest.approx(chosen.sum())  # as of any logistic fit


def test_what_hardly_anybody_could_choose_is_refused_and_what_all_choose_is_certain(plan):
    """Of 700 with free debris 6 were given it, of 700 with adherent debris half."""
    number = np.arange(1400)
    free = number < 700
    rows = pd.DataFrame({"site": np.where(number % 2, "S1", "S2"), "mechanism": free.astype(str)})
    stays, guards = leave_out_sites(rows["site"]), plan.study.guards
    chosen = np.where(free, number < 6, number % 4 < 2)
    assert find_probabilities(rows, ("mechanism",), chosen, stays, guards) is NOT_CHOSEN
    found = find_probabilities(rows[~free], ("mechanism",), chosen[~free], stays[:, ~free], guards)
    assert found[0] == pytest.approx(np.full(700, 0.5))
    everybody = find_probabilities(rows, ("mechanism",), np.ones(1400, bool), stays, guards)
    assert (everybody == stays).all()


def test_columns_without_both_choices_are_not_usable():
    design = np.array(
        [[1, 1, 0, 0, 55], [1, 1, 1, 0, 61], [1, 0, 1, 0, 70], [1, 0, 0, 0, 48]], dtype=float
    )
    assert list(find_usable(design, np.array([True, True, False, False]))) == [
        True,
        False,
        True,
        False,
        True,
    ]
