"""The page's program does not outlive its window, and no page is cut off that somebody uses."""

import pytest

from pipeline.desk.clock import ASLEEP, QUIET, UNUSED, Clock


class Time:
    def __init__(self):
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def time():
    return Time()


def pass_by(clock: Clock, time: Time, seconds: float, calls: float | None = None) -> bool:
    """Whether it is over within some seconds, looked at each second; the page calls so often."""
    for second in range(int(seconds)):
        time.now += 1
        if calls and second % calls == 0:
            clock.hear()
        if clock.is_over():
            return True
    return False


def test_a_window_that_was_closed_ends_it_after_some_minutes(time):
    clock = Clock(time)
    assert not pass_by(clock, time, QUIET)
    assert pass_by(clock, time, 2)


def test_a_hidden_window_keeps_it(time):
    assert not pass_by(Clock(time), time, UNUSED, calls=60)


def test_an_hour_without_use_ends_it(time):
    clock = Clock(time)
    assert not pass_by(clock, time, UNUSED - 10, calls=15)
    clock.use()
    assert not pass_by(clock, time, UNUSED, calls=15)
    assert pass_by(clock, time, 2, calls=15)


def test_the_button_ends_it_at_once(time):
    clock = Clock(time)
    clock.end()
    assert clock.is_over()


def test_a_machine_that_slept_gives_the_page_time_to_wake(time):
    clock = Clock(time)
    time.now += QUIET + ASLEEP
    assert not clock.is_over()
    assert not pass_by(clock, time, QUIET)
    assert pass_by(clock, time, 2)
