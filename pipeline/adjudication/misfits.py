"""Why a test does not fit a criterion, or fits it less certainly, in words.

They quote the test, so they stay where the record is.
"""

import pandas as pd

from pipeline.adjudication.ears import OTHER_EAR, are_silent, have_test, name_ear, show_nystagmus
from pipeline.adjudication.patterns import LISTED, check_pattern, check_signs, find_pattern
from pipeline.adjudication.readings import FIRM
from schemas import codes
from schemas.criteria import Criterion, Signs

UNTIMED = {
    "unknown": "the duration was not measured",
    "borderline": "the duration lies in the band around one minute",
}
SEEN_IN = {
    "vertical": "vertical part",
    "torsion_toward": "torsion toward",
    "horizontal": "horizontal part",
}
BOUNDS = {
    "latency_least_s": ("latency_s", "latency {:g} s, not at least {:g} s"),
    "peak_most": ("peak_spv", "greatest velocity {:g} degrees per second, not at most {:g}"),
    "velocity_kept_below": (
        "spv_at_40s",
        "velocity at 40 s {:g}, not below {:g} of the greatest one",
    ),
}


def list_missing(test: pd.DataFrame, before: pd.DataFrame, criterion: Criterion) -> list[str]:
    """List what keeps a test from meeting a criterion of its test, in words.

    Parameters
    ----------
    test
        One row: an examination joined with its finding, or a pair of rolls.
    before
        All tests of the episode that could tell.
    criterion
        The criterion.
    """
    fitting = check_pattern(test, criterion, unmeasured=True).iloc[0]
    missing = _say_misfits(
        test.iloc[0], criterion, [key for key, fits in fitting.items() if not fits]
    )
    ears = name_ear(test, criterion.side)
    on_ear = f" on the {ears.iloc[0]}" if ears.iloc[0] in OTHER_EAR else ""
    for tests in (criterion.silent_tests, criterion.unseen_in):
        if have_test(test, ears, before[before["test"].isin(tests) & show_nystagmus(before)])[0]:
            missing.append(f"{_name_tests(tests)} shows nystagmus{on_ear}")
    if (
        criterion.silent_tests
        and not have_test(test, ears, before[before["test"].isin(criterion.silent_tests)])[0]
    ):
        missing.append(f"{_name_tests(criterion.silent_tests)} was not done{on_ear}")
    if criterion.unless_silent and are_silent(test, ears, before, criterion.unless_silent)[0]:
        missing.append(f"{_name_tests(criterion.unless_silent)} shows nothing{on_ear}")
    also_seen = criterion.also_seen
    if (
        also_seen is not None
        and not have_test(test, ears, before[find_pattern(before, also_seen, unmeasured=False)])[0]
    ):
        missing.append(f"{_name_tests(also_seen.tests)} does not show the rest{on_ear}")
    return missing


def list_doubts(test: pd.DataFrame, criterion: Criterion) -> list[str]:
    """What lowers the certainty of a firm criterion that a test (one row) meets, in words."""
    doubts = []
    if criterion.certainty == "definite" and criterion.duration is not None:
        doubts = [
            words for name, words in UNTIMED.items() if test["duration_class"].iloc[0] == name
        ]
    for expected in criterion.expects:
        fitting = check_signs(test, expected, unmeasured=True).iloc[0]
        doubts += _say_misfits(
            test.iloc[0], expected, [key for key, fits in fitting.items() if not fits]
        )
    return doubts if criterion.certainty in FIRM else []


def _name_tests(tests: tuple[str, ...]) -> str:
    return " or ".join(codes.TEST[test] for test in tests)


def _say_misfits(test: pd.Series, signs: Signs, keys: list[str]) -> list[str]:
    """For each key that does not fit what was seen and what is asked for."""
    misfits = []
    for key in keys:
        if key in LISTED:
            name, wanted = SEEN_IN.get(key, key.replace("_", " ")), " or ".join(getattr(signs, key))
            misfits.append(f"{name} {test[key]}, not {wanted}".replace("_", " "))
        elif key == "felt_or_fast":
            misfits.append("neither vertigo nor a velocity above that of healthy people")
        elif key == "velocity":
            misfits.append(
                f"velocity {test['velocity_class']}, not {' or '.join(signs.velocity or ())}"
            )
        elif key == "duration":
            misfits.append(
                f"duration {test['duration_class']}, not {' or '.join(signs.duration or ())}"
            )
        else:
            column, words = BOUNDS[key]
            misfits.append(words.format(test[column], getattr(signs, key)))
    return misfits
