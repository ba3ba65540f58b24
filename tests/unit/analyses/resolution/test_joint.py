"""The model with the days of testing: shares with limits and bounds, and a status where there is
too little."""

import numpy as np
import pytest

from pipeline.analyses.resolution import fitted, joint
from pipeline.analyses.resolution.joint import estimate_joint
from pipeline.statistics.hidden_end_influence import Knowledge
from pipeline.statistics.npmle_search import NotConverged
from schemas.notes import release_note
from tests.unit.analyses.resolution.tested_episodes import gather

COURSES = [{7: False}] * 30 + [{7: True, 14: False}] * 20 + [{}] * 10


def estimate(plan, courses=COURSES, **more):
    estimates = estimate_joint(**gather(plan, courses, **more), config=plan)
    return estimates.set_index(["stratum", "term"])


def test_a_day_before_anybody_is_tested_or_asked_has_no_number(plan):
    estimates = estimate(plan)
    early = estimates.loc[("all", "resolved_by_day_1")]  # the first who say anything do so on day 3
    assert early["status"] == "not_identified"
    assert ("all", "resolved_by_day_1_least_misread") not in estimates.index
    assert estimates.loc[("all", "resolved_by_day_7"), "status"] == "ok"


def test_few_sites_give_a_status_and_many_a_share(plan):
    few = estimate(plan, sites=2).loc["all"].filter(regex=r"^resolved_by_day", axis=0)
    assert few["status"].eq("not_identified").all()
    estimates = estimate(plan)
    share = estimates.loc[("all", "resolved_by_day_7")]
    assert share["status"] == "ok"
    assert share["lower"] < share["estimate"] < share["upper"]
    assert 0.4 < share["estimate"] < 0.8
    shares = estimates.loc["all"]["estimate"].filter(regex=r"^resolved_by_day_\d+$")
    assert shares.dropna().is_monotonic_increasing
    least = estimates.loc[("all", "resolved_by_day_7_least_misread"), "estimate"]
    greatest = estimates.loc[("all", "resolved_by_day_7_greatest_misread"), "estimate"]
    assert least <= share["estimate"] <= greatest


def test_where_tests_do_not_tell_misreading_limits_reach_over_all_its_rates(plan):
    estimates = estimate(plan).loc["all"]
    assert estimates.loc["tests_that_tell_misreading_resolved", "estimate"] < fitted.PRIOR_TESTS
    share = estimates.loc["resolved_by_day_14"]
    assert share["lower"] <= estimates.loc["resolved_by_day_14_least_misread", "estimate"]
    assert share["upper"] >= estimates.loc["resolved_by_day_14_greatest_misread", "estimate"]


def test_what_is_known_is_counted_whatever_the_model_says(plan, monkeypatch):
    def fail(*given):
        raise NotConverged("no end")

    monkeypatch.setattr("pipeline.analyses.resolution.joint.fit_courses", fail)
    estimates = estimate(plan).loc["all"]
    assert estimates.loc["resolved_by_day_7", "status"] == "not_converged"
    for day, resolved, unresolved in ((1, 0, 20), (7, 30, 20), (14, 50, 0)):
        known = estimates.loc[f"known_resolved_by_day_{day}"]
        assert known["estimate"] == pytest.approx(resolved / 60)
        assert known["n_events"] == resolved
        assert known["lower"] <= resolved / 60 <= known["upper"]
        known = estimates.loc[f"known_unresolved_by_day_{day}"]
        assert known["estimate"] == pytest.approx(unresolved / 60)


def test_a_share_that_the_form_alone_tells_is_withheld(plan, monkeypatch):
    def know(courses, fit, days, groups, spread):
        shape = groups.shape[1], len(days)
        share = fit.share_ended(np.array(days))
        return Knowledge(
            np.broadcast_to(share, shape),
            np.full(shape, 0.05),
            np.full(shape, 50.0),
            np.where(np.array(days) < 10, 2.0, 50.0) * np.ones(shape),
            np.zeros(2),
        )

    monkeypatch.setattr(joint, "know_shares", know)
    estimates = estimate(plan).loc["all"]
    note = estimates.loc["resolved_by_day_7", "note"]
    assert note == joint.FORM_ALONE.note
    assert release_note(note, "not_identified") == note  # readers learn why
    assert estimates.loc["resolved_by_day_14", "status"] == "ok"


def test_shares_of_strata_come_of_one_model_and_stand_in_all_of_them(plan):
    estimates = estimate(plan)
    everybody = estimates.loc["all"]["estimate"].filter(regex=r"^resolved_by_day_\d+$")
    of_canal = estimates.loc["canal=posterior"]["estimate"].filter(regex=r"^resolved_by_day_\d+$")
    np.testing.assert_allclose(  # all are of that canal
        everybody.dropna().astype(float), of_canal.dropna().astype(float)
    )
