"""Hiding small counts, and whatever they could be worked out from within one sum; the audit looks at all tables together.

A count from 1 to min_cell - 1 is hidden (cell size rule of the Centers for Medicare & Medicaid Services); zero may be shown. Where
parts add up to a total that is shown, hiding one part alone would hide nothing: the next smallest parts are hidden with it. A number that
rests on one site, or nearly so, tells of that site: the dominance rule for one contributor (Hundepool A et al. Statistical Disclosure
Control. Wiley 2012, chapter 4, from memory), applied to episodes.
"""

import pandas as pd

from schemas.estimate import Estimates
from schemas.study import Disclosure

ONE_SITE = "hidden: it rests on one site, or nearly so"
NUMBERS = ["estimate", "std_error", "lower", "upper", "p_value", "p_adjusted"]
NEAR = "counts left out: nearly those of another variation"
VARIATION = "variation="
COUNTS = ["n_episodes", "n_events"]
NOT_A_SHARE = [
    "median_days",
    "sessions_median",
    "reclassified_day_median",
    "age_lower_quartile",
    "age_median",
    "age_upper_quartile",
]
CURVE_STEP = r"unresolved_(upper|lower)_day_"
PATH_PARTS = r"next=|resolved_at_(next|later)_look$|no_further_session$|never_looked$"
FLOW_SUMS = (
    ("refused", "set_aside", "stored"),
    ("positional", "probable_non_positional", "undetermined"),
    ("untreated", "incomplete_record", "never_positive", "not_looked", "followed"),
)


def hide_small_groups(estimates: pd.DataFrame, rule: Disclosure) -> pd.DataFrame:
    """The same rows with every number left out that would show a group of fewer than `rule.min_cell` people.

    A median, a mean or a coefficient does not tell how many had the event: there only their count is left out. Results printed in
    papers hide nobody of this pool.
    """
    pool = estimates["population"].ne("published")
    small = _find_small(estimates, rule.min_cell) & pool
    one_site = find_dominated(estimates, rule)
    told_by_number = ~_is_no_share(estimates) | estimates["n_episodes"].between(1, rule.min_cell - 1)
    hidden = (small & told_by_number) | _find_complements(estimates, small | one_site, rule.min_cell)
    hidden |= _find_further_steps(estimates, hidden | one_site)
    safe = hide_rows(hide_rows(estimates, one_site, ONE_SITE), hidden, name_small(rule.min_cell))
    daily = estimates["term"].str.match(
        CURVE_STEP
    )  # a curve is drawn without its events: on every day they would tell who came when
    safe.loc[(small & ~told_by_number) | daily, "n_events"] = pd.NA
    safe = hide_near_counts(safe, rule.min_cell)
    return Estimates.validate(Estimates.cast(safe), lazy=True)


def name_small(least: int) -> str:
    """Why a number is hidden that tells of fewer than `least` people."""
    return f"hidden: it would show a group of 1 to {least - 1} people"


def hide_rows(estimates: pd.DataFrame, hidden: pd.Series, why: str) -> pd.DataFrame:
    """The same rows without the numbers of those that are `hidden`."""
    safe = estimates.copy()
    safe.loc[hidden, NUMBERS + COUNTS] = pd.NA
    safe.loc[hidden, "status"] = "suppressed"
    safe.loc[hidden, "note"] = why
    return safe


def hide_near_counts(estimates: pd.DataFrame, least: int) -> pd.DataFrame:
    """The same rows, the variations of one answer without the counts that differ by fewer than `least` from those of another: the groups are
    the same but for a few people, and who takes one from the other counts these. Of two such rows the first keeps its counts; where a
    variation loses those of the whole, its parts lose theirs, which add up to it."""
    varied = estimates[estimates["stratum"].str.startswith(VARIATION) & estimates["n_episodes"].notna()]
    names = varied["stratum"].str.split(",", n=1, expand=True).reindex(columns=[0, 1]).fillna("")
    near = {kind: pd.Series(False, index=estimates.index) for kind in COUNTS}
    for _, rows in varied.groupby([varied["population"], varied["term"], names[1]]):
        for kind, found in zip(COUNTS, _find_near(rows, least), strict=True):
            near[kind][found] = True
    lost = near["n_episodes"][varied.index]
    keys = pd.MultiIndex.from_arrays([varied["term"], names[0]])
    near["n_episodes"][varied.index] |= keys.isin(keys[lost & names[1].eq("")])
    safe = estimates.copy()
    said = near["n_episodes"] | near["n_events"]
    safe.loc[near["n_episodes"], "n_episodes"] = pd.NA
    safe.loc[said, "n_events"] = pd.NA
    safe.loc[said, "note"] = (safe.loc[said, "note"].fillna("") + "; " + NEAR).str.removeprefix("; ")
    return safe


def _find_near(rows: pd.DataFrame, least: int) -> tuple[list, list]:
    """The labels of the rows whose episodes, and of those whose events or others, are nearly as many as those of a row before that keeps them."""
    episodes_near, events_near = [], []
    kept: dict[str, set[int]] = {"episodes": set(), "events": set(), "others": set()}
    for label, episodes, events in zip(rows.index, rows["n_episodes"], rows["n_events"], strict=True):
        counts = {"episodes": episodes} | ({} if pd.isna(events) else {"events": events, "others": episodes - events})
        near = {kind for kind, n in counts.items() if any(0 < abs(n - other) < least for other in kept[kind])}
        if "episodes" in near:
            episodes_near.append(label)
            continue
        if near:
            events_near.append(label)
        for kind in ("episodes",) if near else counts:
            kept[kind].add(counts[kind])
    return episodes_near, events_near


def _is_no_share(estimates: pd.DataFrame) -> pd.Series:
    """Numbers from which the count of events cannot be worked out: medians and means, and coefficients of a model."""
    model = estimates["analysis"].eq("resolution_regression") & ~estimates["term"].str.startswith("fitted_share")
    mean = estimates["analysis"].eq("handicap_change") & estimates["term"].str.startswith(
        ("mean_", "change_", "difference_")
    )
    return estimates["term"].isin(NOT_A_SHARE) | model | mean


def _find_small(estimates: pd.DataFrame, least: int) -> pd.Series:
    """Rows in which a group of people is too small: those counted, those with the event, those without it."""
    without = estimates["n_episodes"] - estimates["n_events"]
    groups = pd.concat([estimates["n_episodes"], estimates["n_events"], without], axis=1)
    return groups.apply(lambda count: count.between(1, least - 1).fillna(False)).any(axis=1)


def _find_complements(estimates: pd.DataFrame, small: pd.Series, least: int) -> pd.Series:
    """Further rows to hide, so that a total less the parts that are shown never tells of fewer than `least` people.

    Of each sum the next smallest parts above zero are hidden, until more than one is hidden and together they are enough.
    """
    hidden = pd.Series(False, index=estimates.index)
    count = estimates["n_events"].fillna(estimates["n_episodes"]).astype(float)
    for group in _list_sums(estimates):
        parts = small[group]
        if parts.any():
            candidates = count[group][~parts & count[group].gt(0)].sort_values(kind="stable").index
            for candidate in candidates:
                if parts.sum() > 1 and count[group][parts].sum() >= least:
                    break
                parts[candidate] = hidden[candidate] = True
    return hidden


def find_dominated(estimates: pd.DataFrame, rule: Disclosure) -> pd.Series:
    """Rows of fewer than `rule.min_sites` sites, or of one that is more than `rule.max_share` of them, and that are not a site's own: they would
    show that site. Where episodes went tells nothing of care, and a pool of so few sites shows itself anyway."""
    sites = estimates["n_sites"].fillna(0)
    if sites.max() < rule.min_sites:
        return pd.Series(False, index=estimates.index)
    own = estimates["stratum"].str.startswith("site=") | estimates["analysis"].eq("episode_flow")
    few = sites.between(1, rule.min_sites - 1) | estimates["largest_share"].gt(rule.max_share).fillna(False)
    return few & ~own & estimates["population"].ne("published")


def _find_further_steps(estimates: pd.DataFrame, hidden: pd.Series) -> pd.Series:
    """Rows of paths that go on from a step whose count is hidden: they begin with that very count."""
    steps = estimates[hidden & estimates["analysis"].eq("sequence_paths") & estimates["term"].str.startswith("next=")]
    further = pd.Series(False, index=estimates.index)
    for stratum, term in zip(steps["stratum"], steps["term"], strict=True):
        before, family = stratum.replace("path=start", "path="), term.removeprefix("next=")
        path = f"{before}{' > ' if not before.endswith('=') else ''}{family}"
        own = estimates["stratum"].eq(path) | estimates["stratum"].str.startswith(f"{path} > ")
        further |= own & estimates["analysis"].eq("sequence_paths")
    return further


def _list_sums(estimates: pd.DataFrame) -> list[pd.Index]:
    """Sets of rows whose counts add up to a total that is shown elsewhere."""
    flow = estimates[estimates["analysis"].eq("episode_flow")]
    sums = [flow.index[flow["term"].isin(parts)] for parts in FLOW_SUMS]
    shares = estimates[estimates["analysis"].eq("pool_description") & estimates["term"].eq("share")]
    variable = shares["stratum"].str.split("=").str[0]
    sums += [rows.index for _, rows in shares.groupby([shares["population"], variable])]
    paths = estimates[estimates["analysis"].eq("sequence_paths") & estimates["term"].str.match(PATH_PARTS)]
    sums += [rows.index for _, rows in paths.groupby("stratum")]
    second = estimates[estimates["analysis"].eq("second_line")]
    for parts in ("choice_", "changed_to_"):
        sums += [
            rows.index for _, rows in second[second["term"].str.startswith(parts)].groupby(["endpoint", "stratum"])
        ]
    known = estimates[estimates["analysis"].eq("resolution_curves") & estimates["term"].str.startswith("known_")]
    day = known["term"].str.extract(r"_day_(\d+)$", expand=False)
    sums += [rows.index for _, rows in known.groupby([known["endpoint"], known["stratum"], day])]
    cells = estimates[estimates["analysis"].eq("diagnosis_agreement") & estimates["term"].str.contains(":recorded=")]
    named = cells["term"].str.extract(r"^(?P<part>\w+):recorded=(?P<recorded>\w+),adjudicated=(?P<adjudicated>\w+)$")
    sums += [rows.index for _, rows in cells.groupby([named["part"], named["recorded"].eq(named["adjudicated"])])]
    return [group for group in sums if len(group) > 1]
