"""The sessions of the model of technique: how far each was from usual, and where it was done."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.adjudication.technique import DEVIATIONS, measure_deviations
from pipeline.analyses.attempts.rows import count_attempts, describe_attempts
from pipeline.analyses.covariates import NOT_RECORDED
from pipeline.statistics.guard import Refusal, check_size
from pipeline.statistics.spline import bend
from schemas.columns import Frame
from schemas.delivery import Episodes, Treatments
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE
from schemas.study import Config, Guards

# where the slope may change: this project's proposal
KNOTS = {"hold": (0.0, 0.5, 1.5), "head_turn": (0.0, 10.0, 20.0), "head_hang": (0.0, 10.0, 20.0)}
RECORDED, DOSE = "recorded", " dose "


@dataclass(frozen=True)
class Dose:
    """One deviation in the model.

    Attributes
    ----------
    name
        Of DEVIATIONS.
    columns
        Its columns of the spline; one where few lie beyond its middle knot.
    """

    name: str
    columns: tuple[str, ...]

    def weigh(self, deviation: float) -> np.ndarray:
        """What each column is at a deviation, (columns,)."""
        return bend(np.array([deviation]), KNOTS[self.name])[0, : len(self.columns)]


def describe_technique(
    episodes: Frame[Episodes],
    treatments: Frame[Treatments],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> pd.DataFrame:
    """Describe the technique of the sessions of the attempt model in which something was moved.

    Returns
    -------
    pd.DataFrame
        One row for each session: the columns of rows.describe_attempts, and of each deviation its
        size (missing where it is not known), `<name>_known`, and the columns of its spline, 0 where
        it is not known.
    """
    rows = describe_attempts(episodes, adjudications, attempts, config.failure.alone)
    rows = rows[rows["fit"].ne("not_applicable")]
    off = measure_deviations(treatments, config.maneuvers)
    rows = rows.merge(off, on=[*EPISODE, "day"], how="left", validate="one_to_one")
    for name in DEVIATIONS.values():
        rows[f"{name}_known"] = np.where(rows[name].notna(), RECORDED, NOT_RECORDED)
        bent = bend(rows[name].fillna(0.0).to_numpy(float), KNOTS[name])
        rows[[f"{name}{DOSE}{k}" for k in range(bent.shape[1])]] = bent
    return rows


def choose_doses(rows: pd.DataFrame, guards: Guards) -> tuple[list[Dose], dict[str, Refusal]]:
    """The deviations of which enough is known: a line where few lie beyond the middle knot,
    else a spline."""
    doses, refused = [], {}
    for name in DEVIATIONS.values():
        columns = tuple(column for column in rows if str(column).startswith(f"{name}{DOSE}"))
        refusal = check_outcomes(rows[rows[name].gt(0)], guards)
        if refusal:
            refused[name] = refusal
            continue
        bent = check_outcomes(rows[rows[name].gt(KNOTS[name][1])], guards) is None
        doses.append(Dose(name, columns if bent else columns[:1]))
    return doses, refused


def check_outcomes(members: pd.DataFrame, guards: Guards) -> Refusal | None:
    """Refuse sessions of too few episodes, or with too few negative tests, or too few others."""
    counts, without = count_attempts(members), int((~members["event"]).sum())
    return check_size(counts["n_episodes"], counts["n_events"], guards, without)
