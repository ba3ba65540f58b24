"""The ledger of denominators, counted: how many belong to each base of schemas/denominators.py,
and how many of the larger one do not.

Who belongs is asked of the functions that the analyses themselves use, so that a base has one
definition. An estimate counts what its base is made of; n_episodes is how many episodes they are,
which is less where sessions are counted.
"""

from collections.abc import Iterator, Sequence

import pandas as pd

from pipeline.analyses.attempts.failure_reasons import list_taken_for_failed
from pipeline.analyses.attempts.rows import LAST_NUMBER, describe_attempts
from pipeline.analyses.description.counts import list_handed_in
from pipeline.analyses.order.choices import list_choices
from pipeline.derivation.first_events import COMPLETE
from pipeline.derivation.spells import TIMED
from pipeline.statistics.tidy import count_sites, state, tidy_estimates
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.denominators import BASES
from schemas.derived import Adjudications, Attempts, FailureReasons, Spells
from schemas.estimate import Estimates
from schemas.keys import EPISODE, PATIENT
from schemas.store import Deliveries, RowCounts
from schemas.study import Config

SESSION = [*EPISODE, "session"]
FOLLOWED = ("resolved", "unresolved")
ORDINALS = {1: "first", 2: "second", 3: "third", LAST_NUMBER: "later"}


def count_denominators(
    row_counts: Frame[RowCounts],
    deliveries: Frame[Deliveries],
    episodes: Frame[Episodes],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    spells: Frame[Spells],
    failure_reasons: Frame[FailureReasons],
    config: Config,
) -> Frame[Estimates]:
    """Count who belongs to each base of schemas/denominators.py.

    Returns
    -------
    Frame[Estimates]
        One row for each base, named as it is, and one without_<name> for those of the larger base
        who are not in it.
    """
    verdicts = adjudications[[*EPISODE, "positional"]]
    members = {"handed_in": list_handed_in(row_counts, deliveries), "stored": verdicts}
    members["patients"] = episodes.sort_values(EPISODE).drop_duplicates(PATIENT)
    members |= _list_episodes(verdicts, spells)
    members |= _list_sessions(episodes, adjudications, attempts, config.failure.alone)
    choices = list_choices(
        episodes, adjudications, attempts, spells, config.study.resolution.primary, config
    )
    members |= {
        "taken_for_failed": list_taken_for_failed(failure_reasons),
        "failed": choices,
        "compared": choices[choices["choice"].isin(["repeat", "change"])],
    }
    rows = [row for name in BASES for row in _count_base(name, members)]
    return tidy_estimates(
        rows, analysis="denominators", population="pool", stratum="all", method="count"
    )


def _list_episodes(verdicts: pd.DataFrame, spells: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The bases that verdicts and the first spell of each episode decide."""
    positional = verdicts.loc[verdicts["positional"].eq("yes"), EPISODE]
    first = spells[spells["spell"].eq(1)].merge(positional, on=EPISODE, validate="many_to_one")
    objective = first[first["endpoint"].eq("objective")]
    followed = {
        f"followed_{name}": first[first["endpoint"].eq(name) & first["status"].isin(FOLLOWED)]
        for name in TIMED
        if name != "objective"
    }
    return followed | {
        "apart": verdicts[verdicts["positional"].eq("probable_non_positional")],
        "positional": positional,
        "treated": objective[objective["status"].ne("untreated")],
        "complete": objective[objective["status"].isin(COMPLETE)],
        "followed": objective[objective["status"].isin(FOLLOWED)],
    }


def _list_sessions(
    episodes: pd.DataFrame,
    adjudications: pd.DataFrame,
    attempts: pd.DataFrame,
    alone: Sequence[str],
) -> dict[str, pd.DataFrame]:
    """All sessions of positional episodes, and those whose success is estimated,
    by their number."""
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    given = attempts.merge(positional, on=EPISODE, validate="many_to_one")
    tested = describe_attempts(episodes, adjudications, attempts, alone)
    sessions = {"sessions": given[SESSION]}
    for number, name in ORDINALS.items():
        for suffix, rows in (("", given), ("_tested", tested)):
            counted = (
                rows["session"].ge(number) if number == LAST_NUMBER else rows["session"].eq(number)
            )
            sessions[f"{name}_sessions{suffix}"] = rows.loc[counted, SESSION]
    return sessions


def _count_base(name: str, members: dict[str, pd.DataFrame]) -> Iterator[dict]:
    base = BASES[name]
    if base.noun == "site":
        stored = members["stored"]
        yield state(name, stored["site"].nunique(), n_episodes=len(stored), **count_sites(stored))
        return
    yield _count(name, members[name])
    if base.without:
        yield _count(f"without_{name}", _leave_out(members[base.of], members[name]))


def _count(term: str, rows: pd.DataFrame) -> dict:
    known = rows.drop_duplicates(EPISODE) if "session" in rows else rows
    return state(term, len(rows), n_episodes=len(known), **count_sites(known))


def _leave_out(base: pd.DataFrame, part: pd.DataFrame) -> pd.DataFrame:
    """The rows of the whole that are not in the part; of rows that are not known one by one,
    as many of each site as are missing."""
    key = [column for column in SESSION if column in base and column in part]
    if "episode_id" in key:
        return base[~pd.MultiIndex.from_frame(base[key]).isin(pd.MultiIndex.from_frame(part[key]))]
    missing = base["site"].value_counts().sub(part["site"].value_counts(), fill_value=0).astype(int)
    return pd.DataFrame({"site": missing.index.repeat(missing)})
