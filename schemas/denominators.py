"""The ledger of denominators: whom or what the numbers of a report are of,
each larger group that they were taken from, and who was left.

A base is declared here once and counted once (pipeline/analyses/description/denominators.py);
sentences and tables take its number, noun and words from here.
"""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Base:
    """A group that numbers are of.

    Attributes
    ----------
    noun
        What one of them is.
    says
        Who belongs, in words that follow the noun.
    of
        The base of which it is a part.
    without
        Who of that one does not belong; they are counted too, as without_<name>. Empty where a base
        is merely one of several parts.
    short
        Whether it stands in the committee's report, and not in the technical one only.
    several
        Whether one episode may have more than one.
    """

    noun: Literal["episode", "treatment session", "patient", "site"]
    says: str
    of: str = ""
    without: str = ""
    short: bool = False
    several: bool = False


UNTESTED = (
    "no deciding test before the next session, already negative when it was given, after a "
    "recurrence, or a gap in the record"
)
BASES = {
    "handed_in": Base("episode", "handed in by the sites", short=True),
    "stored": Base(
        "episode",
        "stored",
        "handed_in",
        "refused with their whole delivery, or set aside",
        short=True,
    ),
    "patients": Base(
        "patient", "with a stored episode", "stored", "a further episode of the same patient"
    ),
    "sites": Base("site", "with a stored episode"),
    "apart": Base("episode", "probably not positional vertigo", "stored", short=True),
    "positional": Base(
        "episode",
        "of positional vertigo",
        "stored",
        "probably not positional vertigo, or undetermined",
        short=True,
    ),
    "treated": Base(
        "episode",
        "treated for positional vertigo",
        "positional",
        "no treatment recorded",
        short=True,
    ),
    "complete": Base(
        "episode",
        "treated, with a complete record",
        "treated",
        "a test or treatment was set aside, or no test could turn negative",
        short=True,
    ),
    "followed": Base(
        "episode",
        "tested again after the first maneuver",
        "complete",
        "not tested again",
        short=True,
    ),
    "followed_every_canal": Base("episode", "in the curve of tests of every canal", "treated"),
    "followed_strict": Base("episode", "in the curve of test and symptoms together", "treated"),
    "followed_patient_reported": Base("episode", "in the curve of reported symptoms", "treated"),
    "followed_composite": Base("episode", "in the curve of nystagmus gone or turned", "treated"),
    "taken_for_failed": Base(
        "episode",
        "whose first maneuver failed or was taken to have failed",
        "treated",
        "tested negative, not tested before the next session, no repositioning maneuver, or a "
        "gap in the "
        "record",
        short=True,
    ),
    "failed": Base(
        "episode",
        "whose first maneuver was followed by a positive test",
        "taken_for_failed",
        "treated again nevertheless, or another canal had become positive",
        short=True,
    ),
    "compared": Base(
        "episode",
        "in which the same maneuver or another one followed",
        "failed",
        "no second session, a mix of the same and other maneuvers, none, another side, or a "
        "verdict that came too late",
        short=True,
    ),
    "sessions": Base(
        "treatment session", "of episodes treated for positional vertigo", short=True, several=True
    ),
    "first_sessions": Base("treatment session", "given first", "sessions"),
    "first_sessions_tested": Base(
        "treatment session",
        "given first and followed by a deciding test",
        "first_sessions",
        UNTESTED,
        short=True,
    ),
    "second_sessions": Base("treatment session", "given second", "sessions"),
    "second_sessions_tested": Base(
        "treatment session",
        "given second and followed by a deciding test",
        "second_sessions",
        UNTESTED,
        short=True,
    ),
    "third_sessions": Base("treatment session", "given third", "sessions"),
    "third_sessions_tested": Base(
        "treatment session",
        "given third and followed by a deciding test",
        "third_sessions",
        UNTESTED,
        short=True,
    ),
    "later_sessions": Base("treatment session", "given fourth or later", "sessions", several=True),
    "later_sessions_tested": Base(
        "treatment session",
        "given fourth or later and followed by a deciding test",
        "later_sessions",
        UNTESTED,
        short=True,
        several=True,
    ),
}
