"""Does a test show a pattern?

One boolean for each key of the pattern, so that a match and its explanation cannot differ.
"""

from collections.abc import Callable

import pandas as pd

from schemas.criteria import Pattern, Signs

LISTED = ("vertical", "torsion_toward", "horizontal", "vertigo", "reverses_on_sitting", "alike")


def check_pattern(examined: pd.DataFrame, pattern: Pattern, *, unmeasured: bool) -> pd.DataFrame:
    """Check each key that a pattern sets.

    Parameters
    ----------
    examined
        Examinations joined with their findings, or pairs of rolls.
    pattern
        The pattern.
    unmeasured
        The answer where nothing was measured: true for criteria, which ask what is possible, false
        for flags, which ask what was seen.

    Returns
    -------
    pd.DataFrame
        bool, a row for each test and a column for each key: whether the test fits it.
    """
    return check_signs(examined, pattern, unmeasured=unmeasured).assign(
        tests=examined["test"].isin(pattern.tests)
    )


def check_signs(examined: pd.DataFrame, signs: Signs, *, unmeasured: bool) -> pd.DataFrame:
    """As check_pattern, whatever the test."""
    keys = {}
    for key in LISTED:
        allowed = getattr(signs, key)
        if allowed is not None:
            keys[key] = (
                examined[key].isin(allowed)
                | (examined[key].isin(["not_tested"]) | examined[key].isna()) & unmeasured
            )
    if signs.duration is not None:
        untimed = ["unknown"] if unmeasured and not signs.timed else []
        keys["duration"] = examined["duration_class"].isin([*signs.duration, *untimed])
    if signs.velocity is not None:
        unmeasured_too = ["unknown"] if unmeasured else []
        keys["velocity"] = examined["velocity_class"].isin([*signs.velocity, *unmeasured_too])
    if signs.felt_or_fast:
        keys["felt_or_fast"] = examined["vertigo"].ne("none") | examined["velocity_class"].eq(
            "fast"
        )
    bounds: dict[str, Callable[[float], pd.Series]] = {
        "latency_least_s": lambda limit: examined["latency_s"] >= limit,
        "peak_most": lambda limit: examined["peak_spv"] <= limit,
        "velocity_kept_below": lambda limit: (
            examined["spv_at_40s"] < limit * examined["peak_spv"].where(examined["peak_spv"] > 0)
        ),
    }
    for key, holds in bounds.items():
        limit = getattr(signs, key)
        if limit is not None:
            keys[key] = holds(limit).fillna(unmeasured)
    return pd.DataFrame(keys, index=examined.index).astype(bool)


def find_pattern(examined: pd.DataFrame, pattern: Pattern, *, unmeasured: bool) -> pd.Series:
    """True for each test that fits every key of the pattern."""
    fits = examined["test"].isin(pattern.tests)
    if fits.any():  # most patterns are of few tests: only these are looked at further
        of_test = fits.to_numpy(bool)
        signs = check_signs(examined[of_test], pattern, unmeasured=unmeasured)
        fits[of_test] = signs.all(axis=1).to_numpy()
    return fits
