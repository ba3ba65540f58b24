"""Recorded against adjudicated diagnosis: how often they agree, and the agreement beyond chance.

Estimated is the agreement between the clinician's own working diagnosis and the reading of the
recorded tests, among positional episodes in which both name one. It says nothing about who is
right. An adjudicated canal that is one of two (torsional downbeat) names none, and is counted by
itself. Arms are compared where both name the long or the short one: debris on the cupula has no arm
in a record. A short arm that was recorded because of a response to a maneuver is left out, since no
test can agree with it.
"""

from collections.abc import Iterator
from functools import partial

import numpy as np
import pandas as pd
from statsmodels.stats.inter_rater import cohens_kappa

from pipeline.statistics import site_limits
from pipeline.statistics.scales import KAPPA as KAPPA_SCALE
from pipeline.statistics.scales import SHARE, limit_by_error, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Episodes
from schemas.derived import Adjudications
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config, Guards

PARTS = {
    "canal": ("posterior", "lateral", "anterior", "multiple"),
    "side": ("right", "left", "both"),
    "arm": ("long", "short"),
    "mechanism": ("canalolithiasis", "cupulolithiasis"),
}
KAPPA = (
    "Cohen's kappa; large-sample interval (Fleiss, Cohen & Everitt 1969) on Fisher's z, or that by "
    "leaving out each site where it is wider"
)


def pair_diagnoses(episodes: Frame[Episodes], adjudications: Frame[Adjudications]) -> pd.DataFrame:
    """Pair recorded and adjudicated diagnoses of the positional episodes.

    Parameters
    ----------
    episodes, adjudications
        The derived tables.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id, and recorded and adjudicated canal, side, arm
        and mechanism.
    """
    recorded = episodes[[*EPISODE, *(f"recorded_{part}" for part in PARTS)]]
    by_response = episodes["arm_basis"].eq("treatment_response").fillna(False).astype(bool)
    recorded = recorded.assign(recorded_arm=recorded["recorded_arm"].mask(by_response, "unknown"))
    verdicts = adjudications[adjudications["positional"].eq("yes")][[*EPISODE, *PARTS]]
    return verdicts.merge(recorded, on=EPISODE, validate="one_to_one").sort_values(
        EPISODE, ignore_index=True
    )


def estimate_agreement(
    episodes: Frame[Episodes], adjudications: Frame[Adjudications], config: Config
) -> Frame[Estimates]:
    """Agreement of recorded and adjudicated diagnoses among the positional episodes."""
    return measure_agreement(pair_diagnoses(episodes, adjudications), config.study.guards)


def measure_agreement(pairs: pd.DataFrame, rule: Guards) -> pd.DataFrame:
    """Measure how far recorded and adjudicated diagnoses agree.

    Parameters
    ----------
    pairs
        Pairs by `pair_diagnoses`.
    rule
        Thresholds.

    Returns
    -------
    Frame[Estimates]
        Of canal, side, arm and mechanism, for the pool (stratum all) and each site (site=...),
        <part>_agreement, the share that agrees, and <part>_kappa, Cohen's kappa (p - e) / (1 - e)
        with p that share and e what chance alone would give; for the pool the table itself.
    """
    rows = []
    for part, values in PARTS.items():
        named = pairs[pairs[part].isin(values) & pairs[f"recorded_{part}"].isin(values)]
        for stratum, members in [
            ("all", named),
            *((f"site={site}", of_site) for site, of_site in named.groupby("site")),
        ]:
            rows += [row | {"stratum": stratum} for row in _measure(members, part, rule)]
        rows += [row | {"stratum": "all"} for row in _count_table(named, part)]
    both = pairs[pairs["canal"].eq("anterior_or_posterior")]
    fitting = both["recorded_canal"].isin(["anterior", "posterior"])
    rows.append(
        _share("one_of_two_canals_fits_the_record", fitting, both, rule) | {"stratum": "all"}
    )
    return tidy_estimates(rows, analysis="diagnosis_agreement", population="positional")


def list_disagreements(pairs: pd.DataFrame) -> pd.DataFrame:
    """List the episodes whose recorded and adjudicated variant differ in a part that both name.

    They are for the eyes of their own site.

    Parameters
    ----------
    pairs
        Pairs by `pair_diagnoses`.

    Returns
    -------
    pd.DataFrame
        Those that differ.
    """
    differs = [
        pairs[part].isin(values)
        & pairs[f"recorded_{part}"].isin(values)
        & pairs[part].ne(pairs[f"recorded_{part}"])
        for part, values in PARTS.items()
    ]
    return pairs[np.any(differs, axis=0)]


def _measure(members: pd.DataFrame, part: str, rule: Guards) -> Iterator[dict]:
    agreed = members[part].eq(members[f"recorded_{part}"])
    agree = int(agreed.sum())
    yield _share(f"{part}_agreement", agreed, members, rule)
    fields = {"n_episodes": len(members), "n_events": agree, "method": KAPPA}
    fields |= count_sites(members, events=members[agreed])
    table = _tabulate(members, part).to_numpy()
    if len(members) < rule.min_episodes:
        yield withhold(
            f"{part}_kappa", "too_few", f"fewer than {rule.min_episodes} episodes", **fields
        )
    elif min(members[part].nunique(), members[f"recorded_{part}"].nunique()) < 2:
        yield withhold(
            f"{part}_kappa",
            "not_identified",
            "one side names one value only, so chance alone agrees",
            **fields,
        )
    elif agree == len(members):
        yield state(
            f"{part}_kappa",
            1.0,
            note="all agree, so that the large-sample interval has no width",
            **fields,
        )
    else:
        kappa = cohens_kappa(table)
        error, (low, high, _) = (
            kappa.std_kappa,
            limit_by_error(kappa.kappa, kappa.std_kappa, KAPPA_SCALE, None),
        )
        if members["site"].nunique() >= rule.min_sites:
            site, without = members["site"].to_numpy(str), partial(_find_kappa, members, part)
            by_site = site_limits.site_error(site, kappa.kappa, without)
            reach = limit_by_error(
                kappa.kappa, by_site, KAPPA_SCALE, site_limits.count_effective(site)
            )
            error, low, high = (
                np.fmax(error, by_site),
                np.fmin(low, reach[0]),
                np.fmax(high, reach[1]),
            )
        yield state_within(
            f"{part}_kappa", kappa.kappa, low, high, KAPPA_SCALE, rule, std_error=error, **fields
        )


def _find_kappa(members: pd.DataFrame, part: str, kept: np.ndarray) -> float:
    """Kappa of the episodes that a mask keeps; nan where all of them agree on one value."""
    left = members[kept]
    if min(left[part].nunique(), left[f"recorded_{part}"].nunique()) < 2:
        return np.nan
    return cohens_kappa(_tabulate(left, part).to_numpy(), return_results=False)


def _share(term: str, agreed: pd.Series, members: pd.DataFrame, rule: Guards) -> dict:
    agree = int(agreed.sum())
    fields: Fields = {"n_episodes": len(members), "n_events": agree}
    fields |= count_sites(members, events=members[agreed])
    fields["method"] = f"share of episodes; {site_limits.METHOD}"
    if len(members) < rule.min_episodes:
        return withhold(term, "too_few", f"fewer than {rule.min_episodes} episodes", **fields)
    low, high = site_limits.bound_share(agreed, members["site"], rule)
    return state_within(term, agree / len(members), low, high, SHARE, rule, **fields)


def _tabulate(members: pd.DataFrame, part: str) -> pd.DataFrame:
    """Recorded (rows) by adjudicated (columns), every value on both sides."""
    values = list(PARTS[part])
    return pd.crosstab(members[f"recorded_{part}"], members[part]).reindex(
        index=values, columns=values, fill_value=0
    )


def _count_table(members: pd.DataFrame, part: str) -> Iterator[dict]:
    for recorded, row in _tabulate(members, part).iterrows():
        for adjudicated, number in row.items():
            chosen = members[
                members[f"recorded_{part}"].eq(recorded) & members[part].eq(adjudicated)
            ]
            term = f"{part}:recorded={recorded},adjudicated={adjudicated}"
            yield state(term, number, n_episodes=int(number), **count_sites(chosen), method="count")
