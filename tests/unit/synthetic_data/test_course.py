"""The hidden course clears at the planted probabilities and rates."""

from dataclasses import replace

import numpy as np
import pytest

from synthetic_data.course import Course
from synthetic_data.effects import CHANCES, WRONG
from synthetic_data.patients import LEFT, NYSTAGMUS, RIGHT, Cases, draw_cases
from synthetic_data.pool import read_plan
from synthetic_data.scenario import VARIANTS, Scenario
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site

MANEUVERS = read_plan().maneuvers
NAMES = tuple(MANEUVERS)
SITE = Site("S01", 1.0)
COUNT = 20_000


def median_cases(rng: np.random.Generator, variant: str) -> Cases:
    """Median patients, all with one variant in the right ear."""
    cases = draw_cases(rng, Scenario(), COUNT)
    return replace(
        cases,
        pattern=np.full(COUNT, PATTERN_NAMES.index(variant)),
        side=np.full(COUNT, RIGHT),
        presentation=np.full(COUNT, NYSTAGMUS),
        other_cause=np.full(COUNT, None, dtype=object),
        speed=np.ones(COUNT),
    )


def start_course(variant: str, *, site: Site = SITE, seed: int = 5) -> Course:
    rng = np.random.default_rng(seed)
    # no switches
    return Course(rng, Scenario(attempts_per_case=1e9), site, median_cases(rng, variant), MANEUVERS)


def treat_all(course: Course, maneuver: str, side: int = RIGHT) -> float:
    """Share cleared by one attempt given to everyone."""
    who, day = np.arange(COUNT), np.zeros(COUNT)
    course.treat(
        who, day, np.full(COUNT, NAMES.index(maneuver)), np.full(COUNT, side), np.ones(COUNT)
    )
    return np.isfinite(course.resolved_at).mean()


def margin(share: float) -> float:
    """Four standard errors of a share."""
    return 4 * np.sqrt(share * (1 - share) / COUNT)


@pytest.mark.parametrize(
    ("maneuver", "variant"),
    [key for key in CHANCES if key[0] != "brandt_daroff"],
    ids=lambda value: value,
)
def test_one_attempt_clears_at_its_chance(maneuver, variant):
    planted = CHANCES[maneuver, variant]
    assert treat_all(start_course(variant), maneuver) == pytest.approx(planted, abs=margin(planted))


def test_the_wrong_ear_the_wrong_maneuver_and_waiting_do_little_or_nothing():
    assert treat_all(start_course("posterior_long"), "epley", LEFT) == pytest.approx(
        WRONG, abs=margin(WRONG)
    )
    assert treat_all(start_course("posterior_long"), "barbecue_roll") == pytest.approx(
        WRONG, abs=margin(WRONG)
    )
    assert treat_all(start_course("posterior_long"), "observe") == 0
    assert treat_all(start_course("central_down"), "epley") == 0


def test_a_better_site_multiplies_the_hazard():
    share = treat_all(start_course("posterior_long", site=replace(SITE, effect=0.5)), "epley")
    planted = 1 - (1 - CHANCES["epley", "posterior_long"]) ** np.exp(0.5)
    assert share == pytest.approx(planted, abs=margin(planted))


def test_two_attempts_add_their_hazards():
    course = start_course("posterior_long")
    treat_all(course, "epley")
    planted = 1 - (1 - CHANCES["epley", "posterior_long"]) ** 2
    assert treat_all(course, "epley") == pytest.approx(planted, abs=margin(planted))


@pytest.mark.parametrize("variant", VARIANTS)
def test_without_treatment_it_lasts_as_long_as_planted(variant):
    course = start_course(variant)
    course.wait(np.arange(COUNT), np.zeros(COUNT), np.full(COUNT, np.inf))
    mean = VARIANTS[variant].remission_days
    assert course.resolved_at.mean() == pytest.approx(mean, abs=4 * mean / np.sqrt(COUNT))


def test_waiting_in_steps_is_waiting():
    in_one, in_steps = start_course("lateral_geotropic"), start_course("lateral_geotropic")
    who = np.arange(COUNT)
    in_one.wait(who, np.zeros(COUNT), np.full(COUNT, 40.0))
    for day in range(40):
        in_steps.wait(who, np.full(COUNT, float(day)), np.full(COUNT, day + 1.0))
    np.testing.assert_allclose(in_steps.resolved_at, in_one.resolved_at)


def test_exercises_work_over_two_weeks():
    course = start_course("posterior_long")
    treat_all(course, "brandt_daroff")
    course.natural_rate[:] = 0
    course.wait(np.arange(COUNT), np.zeros(COUNT), np.full(COUNT, 100.0))
    planted = CHANCES["brandt_daroff", "posterior_long"]
    cleared = course.resolved_at[np.isfinite(course.resolved_at)]
    assert len(cleared) / COUNT == pytest.approx(planted, abs=margin(planted))
    assert cleared.max() <= 14
    assert (cleared < 7).mean() == pytest.approx(0.57, abs=0.03)  # (1 - .55 ** .5) / .45


def test_nothing_comes_back_before_it_was_gone():
    course = start_course("posterior_long")
    who = np.arange(COUNT)
    course.wait(who, np.zeros(COUNT), np.full(COUNT, np.inf))
    assert (course.recurs_at(who) > course.resolved_at).all()
    within_a_year = course.recurs_at(who) <= course.resolved_at + 365.25
    planted = 1 - np.exp(-Scenario().recurrence_per_year)
    assert within_a_year.mean() == pytest.approx(planted, abs=margin(planted))
    assert not course.present(who, course.resolved_at + 1e-6)[~within_a_year].any()
