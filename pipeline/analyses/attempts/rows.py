"""The rows of the attempt model: treatment sessions after which a deciding test came,
their covariates and their design."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.analyses.covariates import NUMERIC, describe_covariates
from pipeline.statistics.cloglog import Rows, collapse_rows, find_determined, find_distinct
from pipeline.statistics.design import FOLLOWS, NO_NUMBERS, Design, build_design, find_shared
from pipeline.statistics.guard import Refusal
from pipeline.statistics.tidy import Fields, count_sites
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications, Attempts
from schemas.keys import EPISODE, PATIENT
from schemas.study import Config

LAST_NUMBER = 4  # sessions from this one on are one class
CLINIC, WATCHED, ALONE, VIDEO = "clinic", "home supervised", "home alone", "by video"
SAME, OTHER = "same family or first", "other family"
GAP = "log_gap"
SEPARATED = Refusal(
    "not_identified",
    "separation: all tests after it were negative, or none, so that no finite ratio fits",
)


def describe_attempts(
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    alone: Sequence[str],
) -> pd.DataFrame:
    """Describe the sessions of positional episodes that a deciding test followed.

    They began while the episode was not known to be resolved. Sessions after a recurrence are left
    out: that is another spell, and its first session no second attempt at the first one.

    Parameters
    ----------
    episodes, adjudications, attempts
        The derived tables.
    alone
        config.failure.alone, for `name_place`.

    Returns
    -------
    pd.DataFrame
        One row for each session: the covariates of
        pipeline.analyses.covariates.describe_covariates, those of the session (session,
        attempt_number, previous, family, fit, place), canal, gap (days to the test,
        at least 1) and event (the test was negative). A first session has no other one before it
        and shares a class with a repeated family, since attempt_number tells it apart.
    """
    covariates = describe_covariates(episodes, adjudications, attempts).drop(columns="patient_id")
    canals = adjudications.loc[adjudications["positional"].eq("yes"), [*EPISODE, "canal"]]
    rows = attempts.sort_values([*EPISODE, "session"], ignore_index=True)
    before = rows.groupby(EPISODE)["family"].shift()
    rows["previous"] = np.where(
        before.notna() & rows["family"].ne(before).fillna(False), OTHER, SAME
    )
    number = rows["session"].clip(upper=LAST_NUMBER).astype(str)
    rows["attempt_number"] = number.where(rows["session"] < LAST_NUMBER, f"{LAST_NUMBER}+")
    rows = rows[rows["spell"].eq(1) & rows["at_risk"] & rows["outcome"].ne("not_tested_again")]
    rows = rows.merge(canals, on=EPISODE, validate="many_to_one").merge(
        covariates, on=EPISODE, validate="many_to_one"
    )
    rows["place"] = name_place(rows, alone)
    rows["event"], rows["gap"] = (
        rows["outcome"].eq("negative").astype(bool),
        rows["next_test_days"].astype(float),
    )
    return rows


def name_place(sessions: pd.DataFrame, alone: Sequence[str]) -> np.ndarray:
    """Where a session was done, and whether anybody watched: one factor, since who is alone is
    hardly ever anywhere but at home.

    Parameters
    ----------
    sessions
        With setting and performed_by.
    alone
        Codes of performed_by of whoever did it without anybody watching.

    Returns
    -------
    np.ndarray
        CLINIC, WATCHED, ALONE or VIDEO of each; "several" where attempts of the day differ.
    """
    several = sessions["setting"].eq("several") | sessions["performed_by"].eq("several")
    return np.select(
        [
            sessions["setting"].eq("clinic"),
            several,
            sessions["performed_by"].isin(alone),
            sessions["setting"].eq("telehealth"),
        ],
        [CLINIC, "several", ALONE, VIDEO],
        WATCHED,
    )


@dataclass(frozen=True)
class AttemptDesign:
    """The rows that the model can use and their design.

    Attributes
    ----------
    members
        Sessions by `describe_attempts`, one a row.
    matrix
        The covariates, those without a name (see Design), one column a site, or a single intercept
        if sites are random, then the logarithm of the gap, (rows, columns).
    names
        Names of its columns.
    covariates
        Names of the first of them.
    site, patient
        Numbers of the site and of the patient, (rows,).
    sites
        Names of the sites, by number.
    design
        The design of the covariates, with what was left out of it and why.
    random_sites
        Whether sites have a random intercept.
    complete
        Whether all rows are members; others are of a kind of which all or none were followed by a
        negative test.
    """

    members: pd.DataFrame
    matrix: np.ndarray
    names: list[str]
    covariates: list[str]
    site: np.ndarray
    sites: np.ndarray
    patient: np.ndarray
    design: Design
    random_sites: bool
    complete: bool = True

    @property
    def n_covariates(self) -> int:
        """How many columns come before those of the sites."""
        return self.names.index(_name_sites(self.sites, self.random_sites)[0])

    def keep_determined(self) -> "AttemptDesign":
        """The same without rows at the limit of their likelihood, and without columns that the
        others do not determine: these are refused, and never counted with the reference."""
        _, first, index = find_distinct(
            np.column_stack([self.matrix, self.members["event"].to_numpy(float)])
        )
        stays, known = find_determined(self.single.keep(first), self.n_covariates)
        stays = stays[index]
        matrix = pd.DataFrame(self.matrix[stays], columns=self.names)
        kept = [name for name, stay in zip(self.names, known, strict=True) if stay]
        gone = matrix.columns[matrix.eq(0).all()]
        lost = {
            name: SEPARATED if name in gone else FOLLOWS
            for name in self.covariates
            if name not in kept
        }
        shared = find_shared(matrix.drop(columns=gone.difference(kept)), kept)
        shared = {name: [*self.design.shared.get(name, []), *more] for name, more in shared.items()}
        sites, site = np.unique(self.sites[self.site[stays]], return_inverse=True)
        return replace(
            self,
            members=self.members[stays],
            matrix=matrix[kept].to_numpy(float),
            names=kept,
            covariates=[name for name in self.covariates if name in kept],
            site=site,
            sites=sites,
            patient=self.patient[stays],
            design=replace(
                self.design, refused=self.design.refused | lost, shared=self.design.shared | shared
            ),
            complete=bool(stays.all()),
        )

    @property
    def single(self) -> Rows:
        """Each attempt as a row of its own."""
        event = self.members["event"].to_numpy(float)
        return Rows(self.matrix, np.zeros(len(event)), event, 1 - event)

    def collapse(self) -> tuple[Rows, np.ndarray]:
        """Distinct rows of a site with their counts, and the name of the site of each."""
        event = self.members["event"].to_numpy(bool)
        rows, site = collapse_rows(self.matrix, np.zeros(len(event)), event, self.site)
        return rows, self.sites[site]


def design_attempts(
    rows: pd.DataFrame,
    config: Config,
    *,
    terms: Sequence[str] | None = None,
    numeric: Mapping[str, float] = NO_NUMBERS,
    random_sites: bool | None = None,
) -> AttemptDesign:
    """Design the regression of config.study.attempt_success.terms.

    attempt_number is always in it.

    Parameters
    ----------
    rows
        Sessions by `describe_attempts`.
    config
        The study's configuration.
    terms
        Columns of `rows` that enter in the place of those of the configuration.
    numeric
        For each of them that is a number, beyond NUMERIC, the value that counts as zero.
    random_sites
        Whether sites have a random intercept; None: where they are many.

    Returns
    -------
    AttemptDesign
        The rows that the model can use, and their design.
    """
    plan = config.study.attempt_success
    wanted = plan.terms if terms is None else terms
    entering = tuple(
        dict.fromkeys(("attempt_number", *(term for term in wanted if term != "site")))
    )
    if random_sites is None:
        random_sites = rows["site"].nunique() >= plan.random_sites_from
    design = build_design(
        rows, entering, rows["event"], config.study.guards, numeric={**NUMERIC, **numeric}
    )
    members = rows.loc[design.matrix.index]
    sites, site = np.unique(members["site"].to_numpy(str), return_inverse=True)
    patient = members.groupby(PATIENT, sort=True).ngroup().to_numpy()
    base = np.ones((len(members), 1)) if random_sites else np.eye(len(sites))[site]
    gap = np.log(members["gap"].to_numpy(float))
    matrix = np.column_stack(
        [design.matrix.to_numpy(float), design.unnamed.to_numpy(float), base, gap]
    )
    covariates = list(design.matrix)
    # the gap comes after the sites, so that it has no coefficient where each tests after the same
    # number of days: it would stand for the level of a site
    names = [*covariates, *design.unnamed, *_name_sites(sites, random_sites), GAP]
    return AttemptDesign(
        members, matrix, names, covariates, site, sites, patient, design, random_sites
    )


def _name_sites(sites: np.ndarray, random_sites: bool) -> list[str]:
    return ["intercept"] if random_sites else [f"site={name}" for name in sites]


def count_attempts(members: pd.DataFrame) -> Fields:
    """Count episodes, negative tests and sites behind some attempts."""
    episodes, negative = members[EPISODE].drop_duplicates(), members["event"].astype(bool)
    sites = count_sites(episodes, events=members[negative])
    return {"n_episodes": len(episodes), "n_events": int(members["event"].sum()), **sites}
