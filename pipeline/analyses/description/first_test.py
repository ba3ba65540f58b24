"""How long clinics wait before they test again: days from day 0, the day of the first maneuver,
to the first test afterwards.

Estimated is, for treated episodes of positional vertigo, the share S(t) tested by day t had
everybody been seen for as long, and quartiles of the delay. The day of a test is known exactly, so
the curve is that of Kaplan EL, Meier P (J Am Stat Assoc 1958;53:457-481), by lifelines; who was
never tested counts up to the last contact. A test on day 0 after the maneuver is not counted: it
tells of the visit. Limits of shares leave out one site at a time or, where these reach further, are
exact ones at the effective number by Greenwood's variance (Greenwood M. Reports on Public Health
and Medical Subjects 33, 1926, from memory); those of a single site are exact. Quartiles have none.
"""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from lifelines import KaplanMeierFitter

from pipeline.statistics.guard import Refusal, check_sites, check_size
from pipeline.statistics.jackknife import RESTS_ON_ONE, refit_without_each_site
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.share_limits import ShareBounds, bound_share, clopper_pearson, keep_falling
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.delivery import Examinations, Followups, Treatments
from schemas.derived import Adjudications, Attempts
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.study import Config

METHOD = (
    "Kaplan-Meier (lifelines); intervals leave out one site at a time or, where these reach "
    "further, "
    "and of a single site, are exact"
)
# of those not yet tested
QUARTILES = {"lower_quartile": 0.75, "median": 0.5, "upper_quartile": 0.25}
NOT_REACHED = Refusal("not_identified", "the data end there")


def estimate_first_test(
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
    config: Config,
) -> Frame[Estimates]:
    """Estimate how long clinics wait before they test again.

    Returns
    -------
    Frame[Estimates]
        Of all, by setting of the first session and by site: tested_by_day_<t> on the days of the
        plan, and delay_lower_quartile, delay_median and delay_upper_quartile in days.
    """
    delays = list_delays(examinations, treatments, followups, adjudications, attempts)
    parts = [("all", delays)]
    for variable in ("setting", "site"):
        parts += [
            (f"{variable}={value}", part) for value, part in delays.groupby(variable, sort=True)
        ]
    rows = [
        row | {"stratum": stratum}
        for stratum, part in parts
        for row in _estimate(part, stratum, config)
    ]
    return tidy_estimates(rows, analysis="first_test_delay", population="positional", method=METHOD)


def list_delays(
    examinations: Frame[Examinations],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    adjudications: Frame[Adjudications],
    attempts: Frame[Attempts],
) -> pd.DataFrame:
    """List the delay to the first test after day 0 of treated positional episodes.

    Returns
    -------
    pd.DataFrame
        One row for each episode: site, episode_id, setting of the first session, `days` to that
        test or, where there is none, to the last contact, and whether it was `tested`.
    """
    positional = adjudications.loc[adjudications["positional"].eq("yes"), EPISODE]
    first = attempts.loc[attempts["session"].eq(1), [*EPISODE, "setting"]]
    members = first.merge(positional, on=EPISODE, validate="one_to_one")
    later = examinations[examinations["day"].gt(0)].groupby(EPISODE)["day"].min().rename("test_day")
    contacts = pd.concat(
        [table[[*EPISODE, "day"]] for table in (examinations, treatments, followups)]
    )
    last = contacts.groupby(EPISODE)["day"].max().clip(lower=0).rename("last_day")
    known_days = members.merge(later, on=EPISODE, how="left").merge(last, on=EPISODE, how="left")
    tested = known_days["test_day"].notna()
    days = known_days["test_day"].where(tested, known_days["last_day"]).fillna(0).astype(float)
    return members.assign(days=days.to_numpy(), tested=tested.to_numpy(bool))


def _estimate(part: pd.DataFrame, stratum: str, config: Config) -> Iterator[dict]:
    guards, days, alone = config.study.guards, config.study.curves.days, stratum.startswith("site=")
    fields: Fields = {"n_episodes": len(part), **count_sites(part)}
    terms = [
        *(f"tested_by_day_{day}" for day in days),
        *(f"delay_{quartile}" for quartile in QUARTILES),
    ]
    refused = check_size(len(part), None, guards) or (
        None if alone else check_sites(fields["n_sites"], guards)
    )
    if refused:
        yield from (withhold(term, refused.status, refused.note, **fields) for term in terms)
        return
    curve = KaplanMeierFitter().fit(part["days"], part["tested"])
    bounds = _bound_alone(curve, days, len(part)) if alone else _bound_by_sites(part, curve, days)
    for k, day in enumerate(days):
        if np.isnan([bounds.low[k], bounds.high[k]]).any():
            yield withhold(f"tested_by_day_{day}", RESTS_ON_ONE.status, RESTS_ON_ONE.note, **fields)
            continue
        row_fields = fields | {"std_error": None if alone else bounds.tell_error(k)}
        yield state_within(
            f"tested_by_day_{day}",
            1 - bounds.share[k],
            1 - bounds.high[k],
            1 - bounds.low[k],
            SHARE,
            guards,
            **row_fields,
        )
    for quartile, left in QUARTILES.items():
        untested = curve.survival_function_.iloc[:, 0]
        reached = untested.index[untested <= left]
        if len(reached):
            yield state(f"delay_{quartile}", reached[0], **fields)
        else:
            yield withhold(f"delay_{quartile}", NOT_REACHED.status, NOT_REACHED.note, **fields)


def _share_untested(rows: pd.DataFrame, days: tuple[int, ...]) -> np.ndarray:
    return (
        KaplanMeierFitter()
        .fit(rows["days"], rows["tested"])
        .survival_function_at_times(days)
        .to_numpy()
    )


def _bound_by_sites(
    part: pd.DataFrame, curve: KaplanMeierFitter, days: tuple[int, ...]
) -> ShareBounds:
    """The share not yet tested on each day, its limits by leaving out each site or,
    where these reach further, exact ones."""
    without = refit_without_each_site(
        part["site"].to_numpy(), lambda kept: _share_untested(part[kept], days)
    )
    sizes = part.groupby("site").size().to_numpy()
    share = curve.survival_function_at_times(days).to_numpy()
    effective = _count_effective(curve, days, len(part))
    return keep_falling(bound_share(share, without, np.ones(len(sizes)), sizes, effective))


def _bound_alone(curve: KaplanMeierFitter, days: tuple[int, ...], number: int) -> ShareBounds:
    """The same of one site, with exact limits alone."""
    share = curve.survival_function_at_times(days).to_numpy()
    low, high = clopper_pearson(share, _count_effective(curve, days, number))
    return keep_falling(ShareBounds(share, np.full(len(days), np.nan), low, high))


def _count_effective(curve: KaplanMeierFitter, days: tuple[int, ...], number: int) -> np.ndarray:
    """So many episodes watched all the time would be as uncertain: S (1 - S)
    / Greenwood's variance, at most all of them."""
    events = curve.event_table
    falls = events["observed"] / (
        events["at_risk"] * (events["at_risk"] - events["observed"])
    ).where(lambda x: x > 0)
    relative = falls.fillna(0).cumsum()
    at = np.searchsorted(relative.index.to_numpy(), days, side="right") - 1
    share, spread = curve.survival_function_at_times(days).to_numpy(), relative.to_numpy()[at]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(
            (share > 0) & (spread > 0), np.minimum((1 - share) / (share * spread), number), number
        )
