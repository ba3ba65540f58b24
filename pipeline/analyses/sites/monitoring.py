"""Each site's resolution beside what its case mix lets expect: planned, and withdrawn,
since sites test on different days.

In 40 simulated pools of ten equal sites that test first on day 1, 3, 7, 14 or 28 and treat again on
the day of a positive test, 36 % of sites lay outside 95 % control limits around what their case mix
lets expect by day 7, and 42 % by day 30 (94 % of those that test on day 28). So no site is compared
with others, and nothing is said on whether sites vary more than expected by chance, until the days
of tests are part of the model. Counted are the sites that are large enough for the comparison of
the plan.
"""

import pandas as pd

from pipeline.analyses.resolution.shares import select_followed
from pipeline.analyses.sites.pooled import TEST_DAYS
from pipeline.statistics.tidy import count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.derived import Adjudications, Spells
from schemas.estimate import Estimates
from schemas.study import Config


def estimate_site_monitoring(
    spells: Frame[Spells], adjudications: Frame[Adjudications], config: Config
) -> Frame[Estimates]:
    """How many sites are large enough, how many are not, and for each day of the plan why they are
    not compared (stratum all)."""
    study = config.study
    rule = study.site_monitoring
    followed = select_followed(spells, adjudications, study.resolution.primary)
    sizes = followed.groupby("site").size()
    large = followed["site"].isin(sizes.index[sizes >= rule.min_episodes])
    rows = [
        _count_sites("sites_large_enough", followed[large], rule.min_episodes),
        _count_sites("sites_below_minimum", followed[~large], rule.min_episodes),
    ]
    fields = {
        "stratum": "all",
        "method": "none",
        "n_episodes": int(large.sum()),
        **count_sites(followed["site"][large]),
    }
    rows += [
        withhold(f"overdispersion_day_{day}", TEST_DAYS.status, TEST_DAYS.note, **fields)
        for day in rule.days
    ]
    return tidy_estimates(
        rows, analysis="site_monitoring", population="positional", endpoint=study.resolution.primary
    )


def _count_sites(term: str, rows: pd.DataFrame, least: int) -> dict:
    sites = count_sites(rows["site"])
    fields = {
        "stratum": "all",
        "method": "count",
        "note": f"the least is {least} episodes",
        **sites,
    }
    return state(term, sites["n_sites"], n_episodes=len(rows), **fields)
