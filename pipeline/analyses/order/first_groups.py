"""Who began with which maneuver, by variant, as they are and weighted to be like all who could have
been given it."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.analyses.cells import NO_FAMILY
from pipeline.analyses.order.propensity import leave_out_sites, weigh_choice
from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE
from pipeline.statistics.tidy import Fields, count_sites
from schemas.study import Study

STANDARDISED = "standardised_"
LEFT_OUT = "without those whose probability of one choice was next to none"


@dataclass(frozen=True)
class Group:
    """A cell as it is, or as if all patients of the variant had been given its family.

    Attributes
    ----------
    prefix
        What its terms begin with.
    fields
        Of its rows.
    rows
        Whose first session was of it, of the members.
    weights
        Theirs, of all and without each of their sites, (1 + sites, episodes).
    refusal
        Why it has no numbers.
    note
        What to keep in mind.
    """

    prefix: str
    fields: Fields
    rows: np.ndarray
    weights: np.ndarray = field(default_factory=lambda: np.zeros((1, 0)))
    refusal: Refusal | None = None
    note: str | None = None


def list_groups(known: pd.DataFrame, study: Study) -> Iterator[Group]:
    """List each cell as it is and standardised, by variants of the plan and names of families.

    Parameters
    ----------
    known
        As describe_first of pipeline/analyses/order/decisions.py gives it, with the variant of each
        member, missing where it is none, and NO_FAMILY for a session that is of no cell.
    study
        The plan.

    Yields
    ------
    Group
        A cell has no standardised one where fewer than two families of its variant were given to
        enough.
    """
    for variant in study.strategies.variants:
        members = known[known["variant"].eq(variant).fillna(False) & known["family"].ne(NO_FAMILY)]
        sizes = members["family"].value_counts()
        enough = set(sizes.index[sizes >= study.guards.min_episodes])
        compared = members[members["family"].isin(enough)]
        for family in sorted(sizes.index):
            cell = members[members["family"].eq(family)]
            fields: Fields = {"stratum": f"variant={variant},family={family}"}
            fields |= {"n_episodes": len(cell), **count_sites(cell)}
            refusal = check_size(len(cell), None, study.guards)
            refusal = refusal or check_sites(fields["n_sites"], study.guards)
            rows = cell.index.to_numpy()
            weights = leave_out_sites(cell["site"]).astype(float)
            yield Group("", fields, rows, weights, refusal)
            if family in enough and len(enough) > 1:
                yield _standardise(compared, family, fields, study)


def _standardise(compared: pd.DataFrame, family: str, fields: Fields, study: Study) -> Group:
    """A cell with the weights that make it like all who are compared."""
    plan = study.first_choice
    choice = np.where(compared["family"].eq(family), "change", "repeat")
    numbered = compared.assign(choice=choice, row=compared.index).reset_index(drop=True)
    contrast = weigh_choice(numbered, plan.terms, plan.truncate, study.guards)
    if isinstance(contrast, Refusal):
        rows = compared.index[compared["family"].eq(family)].to_numpy()
        return Group(STANDARDISED, fields, rows, refusal=contrast)
    kept = contrast.rows[contrast.changed]
    weights = contrast.weights[:, contrast.changed]
    names = np.unique(contrast.rows["site"].to_numpy(str))
    weights = weights[np.r_[True, np.isin(names, kept["site"])]]
    told = fields | {"n_episodes": len(kept), **count_sites(kept)}
    refusal = check_sites(told["n_sites"], study.guards)
    if not weights.any(axis=1).all():
        refusal = RESTS_ON_ONE
    note = LEFT_OUT if contrast.left_out else None
    return Group(STANDARDISED, told, kept["row"].to_numpy(), weights, refusal, note)
