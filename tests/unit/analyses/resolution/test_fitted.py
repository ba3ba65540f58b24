"""The fit of a pool: rates by variant and family where there are enough sessions, drawn to those of
the canal, and a maximum whatever they are divided by."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analyses.resolution.courses import lay_out_days, list_members
from pipeline.analyses.resolution.fitted import fit_courses
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.states import select_deciding_tests
from pipeline.statistics.hidden_end_model import NEGATIVE, POSITIVE
from tests.unit.analyses.resolution.tested_episodes import gather

COURSES = [{7: False}] * 40 + [{7: True, 14: False}] * 20


@pytest.fixture
def laid_out(plan):
    rows = gather(plan, COURSES)
    members = list_members(rows["adjudications"], rows["spells"])
    tests = select_deciding_tests(
        rows["examinations"], rows["findings"], rows["adjudications"], plan.criteria
    )
    reasons = list_examined_days(rows["examinations"])
    days = lay_out_days(members, tests, reasons, rows["treatments"], rows["followups"], plan)
    return members, days


def test_few_sessions_share_the_rate_of_all(plan, laid_out):
    members, days = laid_out
    assert {jump.family for jump in fit_courses(members, days, plan.study).classes.jumps} == {
        "epley"
    }
    few = fit_courses(members, days, plan.study, least=61)
    assert {jump.family for jump in few.classes.jumps} == {""}


def test_a_variant_with_hardly_any_records_has_nearly_the_rates_of_its_canal(plan, laid_out):
    members, days = laid_out
    canal = members["canal"].iloc[0]
    named = np.full(len(members), f"{canal}/most", dtype=object)
    named[0] = f"{canal}/one"
    fitted = fit_courses(members, days, plan.study, named.astype(str), least=11)
    assert fitted.classes.variants == (f"{canal}/most", f"{canal}/one")
    natural = fitted.fit.rates.natural.reshape(2, -1)
    prior = fitted.courses.prior.natural.reshape(2, -1)
    distance = np.abs(np.log(natural / prior))
    assert (distance[1] < 0.7).all()  # two resolutions are known beforehand, one may be seen


def test_the_same_rows_have_the_same_fit_and_others_their_own(plan, laid_out):
    members, days = laid_out
    fit = fit_courses(members, days, plan.study).fit
    assert fit_courses(members.copy(), replace(days), plan.study).fit is fit
    negative = replace(days, result=np.where(days.result == POSITIVE, NEGATIVE, days.result))
    assert fit_courses(members, negative, plan.study).fit.value != fit.value
