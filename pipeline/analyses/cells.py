"""Which episode is of which variant, and with which maneuver its treatment began.

Nothing after the first session decides on either.
"""

from collections.abc import Mapping

import pandas as pd

from pipeline.adjudication.failure import list_first_sessions
from schemas.columns import Frame
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver
from schemas.order_plan import Variant

# of a session that is of no cell: maneuvers of two families or more, or one that is not listed
NO_FAMILY = "none"


def find_members(verdicts: pd.DataFrame, variant: Variant) -> pd.Series:
    """Find the verdicts that are of a variant.

    Parameters
    ----------
    verdicts
        One verdict a row: canal, arm, arm_basis, mechanism and certainty.
    variant
        What defines it.

    Returns
    -------
    pd.Series
        Boolean, on the index of `verdicts`.
    """
    belongs = pd.Series(True, index=verdicts.index)
    for column, value in variant.values.items():
        belongs &= verdicts[column].eq(value).fillna(False).astype(bool)
    return belongs if variant.suspected else belongs & verdicts["certainty"].ne("suspected")


def name_families(families: pd.Series, maneuvers: Mapping[str, Maneuver]) -> pd.Series:
    """The family of each session, NO_FAMILY where it had several or one that is not listed."""
    listed = {each.family for each in maneuvers.values() if each.kind != "unlisted"}
    return families.where(families.isin(listed), NO_FAMILY)


def list_cells(
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    variants: Mapping[str, Variant],
    maneuvers: Mapping[str, Maneuver],
) -> pd.DataFrame:
    """List the positional episodes that a first session treated, by variant and family.

    The session moved something, and the episode was not known to be resolved when it began, nor to
    have returned.

    Parameters
    ----------
    adjudications, attempts
        Tables of the warehouse.
    variants
        Variants by name. An episode is listed once with each to which it belongs, and not at all if
        with none.
    maneuvers
        config.maneuvers: what each code of a maneuver is.

    Returns
    -------
    pd.DataFrame
        variant, site, episode_id, patient_id; family (that of the session, or NO_FAMILY); setting
        and performed_by of the session; tested (a deciding test came after its day, before any
        other session), days (from the session to that test, nan if none) and negative (the test
        was). Sorted by variant, in the order of `variants`, and episode.
    """
    first = list_first_sessions(attempts, adjudications, maneuvers).drop(columns="canal")
    first = first[first["spell"].eq(1) & first["at_risk"]]
    defining = ["canal", "arm", "arm_basis", "mechanism", "certainty"]
    described = first.merge(
        adjudications[[*EPISODE, *defining]], on=EPISODE, validate="one_to_one"
    ).sort_values(EPISODE, ignore_index=True)
    family = name_families(described["family"], maneuvers)
    tested = described["outcome"].isin(["negative", "positive"]).astype(bool)
    cells = described[[*EPISODE, "patient_id", "setting", "performed_by"]].assign(
        family=family,
        tested=tested,
        days=described["next_test_days"].astype(float).where(tested),
        negative=described["outcome"].eq("negative").astype(bool),
    )
    parts = [
        cells[find_members(described, variant)].assign(variant=name)
        for name, variant in variants.items()
    ]
    return pd.concat(parts, ignore_index=True)
