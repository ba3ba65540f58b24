"""How far a maneuver was from how it is usually done: by the usual ranges of config/maneuvers.yaml,
each maneuver by its own."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from schemas.columns import Frame
from schemas.delivery import Treatments
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

DEVIATIONS = {  # column of treatments: its deviation
    "hold_s": "hold",
    "head_turn_deg": "head_turn",
    "head_hang_deg": "head_hang",
}


def measure_deviations(
    treatments: Frame[Treatments], maneuvers: Mapping[str, Maneuver]
) -> pd.DataFrame:
    """Measure how far each session was from the usual ranges.

    Of several attempts of a session the nearest one counts, as one that was done as usual may have
    been enough.

    Parameters
    ----------
    treatments
        The delivered table.
    maneuvers
        What each code of a maneuver is.

    Returns
    -------
    pd.DataFrame
        One row for each site, episode_id and day with a treatment, and at least 0: `hold`, how many
        times the shortest usual hold would have to be halved, log2(usual / held); a longer hold is
        none. `head_turn` and `head_hang`, degrees outside of the usual range. Missing where nothing
        usual is known of the maneuver, or nothing was recorded.
    """
    measured = treatments[[*EPISODE, "day"]].copy()
    for column, name in DEVIATIONS.items():
        value = treatments[column].astype("Float64").to_numpy(float, na_value=np.nan)
        least, most = (
            treatments["maneuver"].map(ends).to_numpy(float)
            for ends in _list_ends(column, maneuvers)
        )
        off = _shorten(value, least) if name == "hold" else _lie_outside(value, least, most)
        measured[name] = off
    return measured.groupby([*EPISODE, "day"], as_index=False)[list(DEVIATIONS.values())].min()


def _list_ends(
    column: str, maneuvers: Mapping[str, Maneuver]
) -> tuple[dict[str, float], dict[str, float]]:
    """The least and the greatest usual value of a column by maneuver; nan where there is none."""
    least: dict[str, float] = {}
    most: dict[str, float] = {}
    for code, maneuver in maneuvers.items():
        if maneuver.technique:
            for ends, end in zip((least, most), maneuver.technique.find_usual(column), strict=True):
                ends[code] = np.nan if end is None else end
    return least, most


def _shorten(held: np.ndarray, least: np.ndarray) -> np.ndarray:
    """Halvings of the shortest usual hold; a hold of less than a second counts as one second."""
    return np.maximum(np.log2(least / np.maximum(held, 1.0)), 0.0)


def _lie_outside(value: np.ndarray, least: np.ndarray, most: np.ndarray) -> np.ndarray:
    """Distance from a range of which at least one end is known."""
    known = ~np.isnan(value) & ~(np.isnan(least) & np.isnan(most))
    below, above = np.nan_to_num(least - value), np.nan_to_num(value - most)
    return np.where(known, np.maximum(np.maximum(below, above), 0.0), np.nan)
