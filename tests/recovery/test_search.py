"""The search of the model of the days of testing, on pools in which one from afar, with all
parameters free, ended at a lower maximum: unit tests on small courses do not show that."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analyses.resolution.courses import (
    classify_canals,
    classify_days,
    lay_out_days,
    list_members,
)
from pipeline.analyses.resolution.fitted import PRIOR_TESTS, make_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.derivation.tables import derive_rows
from pipeline.statistics.hidden_end import fit_hidden_end
from pipeline.statistics.hidden_end_model import Courses, Prior
from tests.recovery.days_of_tests import read_curves_plan
from tests.recovery.pools import draw_pool


def lay_out(scenario: str, seed: int) -> Courses:
    """The courses of a pool by canal, as the first of the two fits has them."""
    config = read_curves_plan()
    delivered, _ = draw_pool(scenario, seed)
    rows = delivered | derive_rows(delivered, config, [config.study.resolution.primary])
    members = list_members(rows["adjudications"], rows["spells"])
    tests = select_deciding_tests(
        rows["examinations"], rows["findings"], rows["adjudications"], config.criteria
    )
    reasons = list_examined_days(rows["examinations"])
    days = lay_out_days(members, tests, reasons, rows["treatments"], rows["followups"], config)
    horizon, misreading = days.habit.shape[1], config.study.misreading
    classes = classify_days(classify_canals(members), days.sessions, horizon, None)
    prior = Prior(PRIOR_TESTS, misreading.sensitivity, misreading.specificity)
    return make_courses(classes, days, prior)


@pytest.mark.parametrize("scenario", ["misread_tests", "equal_sites"])
def test_a_search_from_afar_ends_no_lower_than_one_that_is_led(scenario):
    """Led: tests are first as right as the plan says and appointments kept alike, then free."""
    courses = lay_out(scenario, 1)
    certain = replace(courses.prior, tests=np.inf, appointments=np.inf)
    led = fit_hidden_end(courses, fit_hidden_end(replace(courses, prior=certain)).rates)
    assert fit_hidden_end(courses).value > led.value - 0.01
