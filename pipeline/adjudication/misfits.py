"""Why a test does not fit a criterion, or fits it less certainly, in words.

They quote the test, so they stay where the record is.
"""

import pandas as pd

from pipeline.adjudication.ears import OTHER_EAR, have_test, name_ear
from pipeline.adjudication.patterns import LISTED, check_pattern, check_signs, find_pattern
from schemas import codes
from schemas.criteria import Criterion, Signs

SEEN_IN = {
    "vertical": "vertical part",
    "torsion_toward": "torsion toward",
    "horizontal": "horizontal part",
}
BOUNDS = {
    "latency_least_s": ("latency_s", "latency {:g} s, not at least {:g} s"),
    "latency_most_s": ("latency_s", "latency {:g} s, not at most {:g} s"),
    "latency_below_s": ("latency_s", "latency {:g} s, not below {:g} s"),
    "peak_least": ("peak_spv", "greatest velocity {:g} degrees per second, not at least {:g}"),
    "velocity_kept_least": (
        "spv_at_40s",
        "velocity at 40 s {:g}, not at least {:g} of the greatest one",
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
        if have_test(test, ears, before[before["test"].isin(tests) & before["nystagmus"]])[0]:
            missing.append(f"{_name_tests(tests)} shows nystagmus{on_ear}")
    if (
        criterion.silent_tests
        and not have_test(test, ears, before[before["test"].isin(criterion.silent_tests)])[0]
    ):
        missing.append(f"{_name_tests(criterion.silent_tests)} was not done{on_ear}")
    also_seen = criterion.also_seen
    if (
        also_seen is not None
        and not have_test(test, ears, before[find_pattern(before, also_seen, unmeasured=False)])[0]
    ):
        missing.append(f"{_name_tests(also_seen.tests)} does not show the rest{on_ear}")
    return missing


def list_doubts(test: pd.DataFrame, criterion: Criterion) -> list[str]:
    """What lowers the certainty of an established criterion that a test (one row) meets,
    in words."""
    unmeasured = criterion.duration is not None and test["duration_class"].iloc[0] == "unknown"
    doubts = ["the duration was not measured"] if unmeasured else []
    for expected in criterion.expects:
        fitting = check_signs(test, expected, unmeasured=True).iloc[0]
        doubts += _say_misfits(
            test.iloc[0], expected, [key for key, fits in fitting.items() if not fits]
        )
    return doubts if criterion.certainty == "definite" else []


def _name_tests(tests: tuple[str, ...]) -> str:
    return " or ".join(codes.TEST[test] for test in tests)


def _say_misfits(test: pd.Series, signs: Signs, keys: list[str]) -> list[str]:
    """For each key that does not fit what was seen and what is asked for."""
    misfits = []
    for key in keys:
        if key in LISTED:
            name, wanted = SEEN_IN.get(key, key.replace("_", " ")), " or ".join(getattr(signs, key))
            misfits.append(f"{name} {test[key]}, not {wanted}".replace("_", " "))
        elif key == "duration":
            misfits.append(
                f"duration {test['duration_class']}, not {' or '.join(signs.duration or ())}"
            )
        else:
            column, words = BOUNDS[key]
            misfits.append(words.format(test[column], getattr(signs, key)))
    return misfits
