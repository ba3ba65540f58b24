"""How the first session was done: what deviates from the maneuver's own protocol."""

from collections.abc import Mapping
from itertools import product

import numpy as np
import pandas as pd

from schemas.failure import Failure
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

ANGLES = ("head_turn_deg", "head_hang_deg")


def find_flaws(
    given: pd.DataFrame, maneuvers: dict[str, Maneuver], failure: Failure
) -> pd.DataFrame:
    """Evidence that the first session was not done as usual;
    a flaw counts if every attempt of the session shows it.

    `given` are the attempts of first sessions. Each maneuver is judged by its own protocol: its own
    usual hold, and its own angles; exercises are meant to be done alone, and a course is judged by
    what was planned. What was not recorded is no flaw. The result has site, episode_id, evidence
    and day, as with every other kind of evidence.
    """
    listed = {code: m.technique.hold_least_s for code, m in maneuvers.items() if m.technique}
    usual = given["maneuver"].map(listed).astype("Float64")
    at_home = [code for code, m in maneuvers.items() if m.kind == "exercise"]
    ranges = list_tolerances(maneuvers, failure)
    flaws = {
        "hold_below_usual": given["hold_s"].lt(usual),
        "not_completed": given["completed"].eq("no"),
        "done_alone": given["performed_by"].isin(failure.alone) & ~given["maneuver"].isin(at_home),
    }
    if failure.doses is not None:
        least = failure.doses.least_share * given["cycles_planned"]
        flaws["fewer_than_planned"] = given["cycles"] < least
    trusted = given["angle_source"].isin(failure.trusted_angle_sources)
    for column in ANGLES:
        name, outside = column.replace("_deg", "_outside"), _lie_outside(given, column, ranges)
        flaws |= {name: outside & trusted, f"{name}_by_estimate": outside & ~trusted}
    return list_shared(given, flaws)


def list_tolerances(
    maneuvers: Mapping[str, Maneuver], failure: Failure
) -> dict[tuple[str, str], tuple[float, float]]:
    """The least and the greatest tolerated angle, degrees, by maneuver and column: those of
    experiments where there are some, else the usual range widened by what is no gross fault."""
    ranges = {}
    if failure.gross_angle is not None:
        beyond = failure.gross_angle.beyond_deg
        for (code, maneuver), column in product(maneuvers.items(), ANGLES):
            if maneuver.technique is not None:
                least, most = maneuver.technique.find_usual(column)
                ranges[code, column] = (
                    -np.inf if least is None else least - beyond,
                    np.inf if most is None else most + beyond,
                )
    for tolerance in failure.tolerances.values():
        ends = (
            -np.inf if tolerance.least is None else tolerance.least,
            np.inf if tolerance.most is None else tolerance.most,
        )
        ranges |= {(code, tolerance.column): ends for code in tolerance.maneuvers}
    return ranges


def list_shared(given: pd.DataFrame, signs: dict[str, pd.Series]) -> pd.DataFrame:
    """The signs that all attempts of a session share."""
    shown = given[[*EPISODE, "day"]].assign(
        **{code: s.fillna(False).astype(bool) for code, s in signs.items()}
    )
    shared = shown.groupby([*EPISODE, "day"])[list(signs)].all().reset_index()
    long = shared.melt([*EPISODE, "day"], var_name="evidence")
    return long.loc[long["value"].astype(bool), [*EPISODE, "evidence", "day"]]


def _lie_outside(
    given: pd.DataFrame, column: str, ranges: Mapping[tuple[str, str], tuple[float, float]]
) -> pd.Series:
    """True for an attempt whose recorded angle lies outside of what its maneuver tolerates."""
    ends = [ranges.get((code, column), (-np.inf, np.inf)) for code in given["maneuver"]]
    least, most = np.array(ends, dtype=float).reshape(-1, 2).T
    value = given[column].to_numpy(float, na_value=np.nan)
    return pd.Series((value < least) | (value > most), index=given.index)
