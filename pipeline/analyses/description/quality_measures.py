"""What a guideline asks of the care of positional vertigo, as far as deliveries record it.

The guideline is that of Bhattacharyya N et al. (Otolaryngol Head Neck Surg 2017;156(3
Suppl):S1-S47; its recommendation on the Dix-Hallpike test read, the others from memory): test with
the Dix-Hallpike test, and the other ear too where the first is negative; where it shows horizontal
nystagmus or none, do the supine roll test; treat with a repositioning maneuver; see again within a
month whether the vertigo is gone. That the other ear is tested in any case is common practice, and
asked here.

Estimated are shares of episodes in which it is recorded that this was done, and quartiles of the
days from onset to the first maneuver. What nobody recorded may have been done nevertheless, so that
shares are lower bounds. Day 0 is by definition the day of the first maneuver: how soon it came is
told by whether it was given on the day of the first test, and from onset. Deliveries do not record
imaging or vestibular suppressants, on which the guideline has recommendations too.
"""

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from pipeline.adjudication.maneuvers import MOVES_NOTHING
from pipeline.statistics import site_limits
from pipeline.statistics.guard import check_size
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver
from schemas.study import Config, Guards

MONTH = 30  # days
FOR_POSTERIOR, FOR_LATERAL = ("dix_hallpike", "side_lying"), ("supine_roll",)
REASSESSED = f"reassessed_by_day_{MONTH}"
# each measure, and what must hold of an episode for it to be asked
MEASURES = {
    "dix_hallpike_both_sides": "",
    "roll_both_sides": "dix_hallpike_silent",
    "treated_on_first_day": "",
    REASSESSED: "treated",
}
QUARTILES = {"lower_quartile": 0.25, "median": 0.5, "upper_quartile": 0.75}
METHOD = f"share of episodes; {site_limits.METHOD}"


def estimate_quality_measures(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    findings: Frame[Findings],
    adjudications: Frame[Adjudications],
    config: Config,
) -> Frame[Estimates]:
    """Estimate how often what a guideline asks is recorded.

    Returns
    -------
    Frame[Estimates]
        Of positional episodes the share for each of MEASURES, and onset_to_maneuver_<quartile> in
        days.
    """
    listed = list_measures(
        episodes, examinations, treatments, followups, findings, adjudications, config.maneuvers
    )
    guards = config.study.guards
    rows = [_share(listed, measure, guards) for measure in MEASURES]
    rows += _describe_wait(listed.dropna(subset="wait"), guards)
    return tidy_estimates(
        rows, analysis="quality_measures", population="positional", stratum="all", method=METHOD
    )


def list_measures(
    episodes: pd.DataFrame,
    examinations: pd.DataFrame,
    treatments: pd.DataFrame,
    followups: pd.DataFrame,
    findings: pd.DataFrame,
    adjudications: pd.DataFrame,
    maneuvers: Mapping[str, Maneuver],
) -> pd.DataFrame:
    """List what is recorded of positional episodes.

    Parameters
    ----------
    episodes, examinations, treatments, followups, findings, adjudications
        Tables of the warehouse.
    maneuvers
        config.maneuvers: observation and sham maneuvers move nothing.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id; `treated`; `dix_hallpike_both_sides` and
        `roll_both_sides` (by day 0 and before the first maneuver; the side-lying test stands in for
        the Dix-Hallpike test); `dix_hallpike_silent` (done to both sides, with horizontal nystagmus
        or none); `treated_on_first_day` (a maneuver on the day of the first test);
        reassessed_by_day_30 (a later test, or a contact that tells of positional symptoms); and
        `wait`, days from onset to the first maneuver, missing if either is.
    """
    keys = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE].reset_index(drop=True)
    index = pd.MultiIndex.from_frame(keys)
    before = findings[findings["before_treatment"].astype(bool) & findings["day"].le(0)]
    rolled = _find_both_sides(before, FOR_LATERAL)
    tested = _find_both_sides(before, FOR_POSTERIOR)
    still = [code for code, maneuver in maneuvers.items() if maneuver.kind in MOVES_NOTHING]
    moved = treatments[~treatments["maneuver"].isin(still)]
    first_moved = moved.groupby(EPISODE)["day"].min().reindex(index)
    first_test = findings.groupby(EPISODE)["day"].min().reindex(index)
    told = followups[followups["positional_symptoms"].isin(["yes", "no"])]
    seen_again = pd.concat([table[[*EPISODE, "day"]] for table in (examinations, told)])
    seen_again = seen_again[seen_again["day"].between(1, MONTH)]
    onset = episodes.set_index(EPISODE)["onset_day"].reindex(index)
    both = index.isin(tested)
    return keys.assign(
        treated=index.isin(pd.MultiIndex.from_frame(treatments[EPISODE])),
        dix_hallpike_both_sides=both,
        dix_hallpike_silent=both & ~index.isin(_find_off_plane(before, examinations)),
        roll_both_sides=index.isin(rolled),
        treated_on_first_day=first_moved.le(first_test).fillna(False).to_numpy(bool),
        **{REASSESSED: index.isin(pd.MultiIndex.from_frame(seen_again[EPISODE]))},
        wait=(first_moved - onset).astype("Float64").to_numpy(float, na_value=np.nan),
    )


def _find_both_sides(tests: pd.DataFrame, names: tuple[str, ...]) -> pd.Index:
    """The episodes in which these tests were done to the right and to the left."""
    sides = tests[tests["test"].isin(names)].groupby(EPISODE)["side"].nunique()
    return sides.index[sides.ge(2)]


def _find_off_plane(before: pd.DataFrame, examinations: pd.DataFrame) -> pd.MultiIndex:
    """The episodes in which a Dix-Hallpike test showed vertical or torsional nystagmus."""
    key = [*EPISODE, "day", "examination", "test", "side"]
    directions = examinations[[*key, "vertical", "torsion"]]
    seen = before[before["test"].isin(FOR_POSTERIOR)][key].merge(directions, on=key)
    turned = seen["vertical"].isin(["up", "down"]) | seen["torsion"].isin(["right", "left"])
    return pd.MultiIndex.from_frame(seen.loc[turned, EPISODE])


def select_asked(listed: pd.DataFrame, measure: str) -> pd.DataFrame:
    """Select the episodes of `list_measures` of which a measure is asked."""
    asked = MEASURES[measure]
    return listed[listed[asked]] if asked else listed


def _share(listed: pd.DataFrame, measure: str, guards: Guards) -> Fields:
    members = select_asked(listed, measure)
    done = members[measure]
    fields: Fields = {
        "n_episodes": len(members),
        "n_events": int(done.sum()),
        **count_sites(members, events=members[done]),
    }
    refusal = check_size(len(members), None, guards)
    if refusal:
        return withhold(measure, refusal.status, refusal.note, **fields)
    low, high = site_limits.bound_share(done, members["site"], guards)
    return state_within(measure, float(done.mean()), low, high, SHARE, guards, **fields)


def _describe_wait(known: pd.DataFrame, guards: Guards) -> Iterator[Fields]:
    """Quartiles of the days from onset to the first maneuver."""
    fields: Fields = {"n_episodes": len(known), **count_sites(known), "method": "quantiles"}
    refusal = check_size(len(known), None, guards)
    for name, part in QUARTILES.items():
        term = f"onset_to_maneuver_{name}"
        if refusal:
            yield withhold(term, refusal.status, refusal.note, **fields)
        else:
            yield state(term, known["wait"].quantile(part, interpolation="lower"), **fields)
