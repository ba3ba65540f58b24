"""Attempts: their shares, of whom they are, and how many it takes."""

from pipeline.reports.committee.attempts import POPULATION as ATTEMPTS
from pipeline.reports.committee.attempts import describe_attempts
from pipeline.statistics.tidy import withhold
from tests.unit.reports.committee.sections import MANY, number, table, words


def test_attempts_carry_their_shares_and_how_many_it_takes(plan):
    rows = [
        number("success_raw", share, f"attempt_number={n}", lower=share - 0.1, upper=share + 0.1)
        for n, share in (("1", 0.55), ("2", 0.4))
    ]
    rows += [number("attempts_to_resolve_80", 3, "model=mixed", lower=3, upper=4)]
    rows += [withhold("success_raw", "too_few", "few", stratum="attempt_number=3", **MANY)]
    section = describe_attempts(table("attempt_success", rows, ATTEMPTS, None))
    assert "Of first sessions from 8 sites followed by a deciding test" in words(section)
    counted = [
        number("first_sessions", 240, n_episodes=240),
        number("first_sessions_tested", 200, n_episodes=200),
    ]
    ledger = table("denominators", counted, "pool", None)
    section = describe_attempts(table("attempt_success", rows, ATTEMPTS, None) | ledger)
    assert "Of 200 first sessions from 8 sites followed by a deciding test" in words(section)
    assert "200 of 240 first sessions" in section["figure"]["svg"]
    assert "55 % (between 45 and 65 %)" in words(section)
    assert "80 % after 3 (3 to 4)" in words(section)
    assert section["figure"]["svg"].count('class="dot ') == 2
    assert "too few" in section["figure"]["svg"]
