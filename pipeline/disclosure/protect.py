"""What must not leave by itself: numbers of small groups, and of what is nearly all one site's,
each judged by its declared kind.

A count of fewer than min_cell people is hidden (cell size rule of the Centers for Medicare &
Medicaid Services), nobody like a few, so that a mark says no more than that they are fewer. A share
is hidden where those with the event, or without it, are as few; where it is known of how many it is
one, a bound says so much: under 6 % of 189. A number that rests on one site, or nearly so, tells of
that site: the dominance rule for one contributor (Hundepool A et al. Statistical Disclosure
Control. Wiley 2012, chapter 4, from memory).
"""

from collections.abc import Mapping
from math import ceil, floor

import numpy as np
import pandas as pd

from pipeline.disclosure.people import PLACE, BySite, Described
from schemas.columns import Frame
from schemas.estimate import Estimates
from schemas.identities import CONTRASTS
from schemas.quantities import OF_SESSIONS, SHARES, compile_pattern
from schemas.study import Disclosure

NUMBERS = ["estimate", "std_error", "lower", "upper", "p_value", "p_adjusted"]
COUNTS = ["n_episodes", "n_events", "n_sites"]
HIDDEN = (
    "hidden: it counts too few people or rests on one site, or such a number could be "
    "worked out from it"
)
BOUND = "hidden: those that it counts, or those that it does not, are fewer than may be shown"
FINE = "not released: so fine a division would tell of small groups"
WHOLE_SHARES = ("share", "part")  # kinds of shares that are a count of a count
LEDGER, FLOW = (
    "denominators",
    "episode_flow",
)  # how many records there are tells nothing of care: what is one site's may be shown
BY_DEFINITION = "by definition"  # note of a number that is the same for any pool
OWN = "site="  # rows of single sites


def is_dominated(sites: np.ndarray, rule: Disclosure) -> bool:
    """Whether one site is more of a group than is allowed, or too few sites are in it."""
    some = sites[sites > 0]
    return len(some) > 0 and bool(
        len(some) < rule.min_sites or some.max() > rule.max_share * some.sum()
    )


def hide_rows(safe: pd.DataFrame, labels: list, why: str = HIDDEN) -> pd.DataFrame:
    """The same rows, those of the `labels` without numbers and counts; all with one note,
    so that it tells none from another."""
    safe = safe.copy()
    safe.loc[labels, [*NUMBERS, *COUNTS, "rounded"]] = pd.NA
    safe.loc[labels, "status"] = "suppressed"
    safe.loc[labels, "note"] = why
    return safe


def hide_small_groups(
    estimates: Frame[Estimates], described: pd.Series, by_site: BySite, rule: Disclosure
) -> pd.DataFrame:
    """The rows of all analyses, each judged by itself; results printed in papers hide nobody of
    this pool."""
    # a pool of one site shows itself anyway
    some_sites = estimates["n_sites"].fillna(0).max() >= rule.min_sites
    changes = {}
    for label, row in zip(estimates.index, estimates.to_dict("records"), strict=True):
        what = described[label]
        if what is not None:
            changes[label] = _judge(
                row, what, _read_sites(by_site, label, row) if some_sites else {}, rule
            )
    judgements = pd.DataFrame.from_dict(changes, orient="index", columns=["why", "least", "most"])
    safe = hide_rows(estimates, list(judgements.index[judgements["why"].notna()]), "")
    safe.loc[judgements.index, "note"] = judgements["why"].where(
        judgements["why"].notna(), safe.loc[judgements.index, "note"]
    )
    bounded = judgements.index[judgements["why"].eq(BOUND)]
    safe.loc[bounded, "status"] = "bounded"
    safe.loc[bounded, ["lower", "upper"]] = judgements.loc[bounded, ["least", "most"]].to_numpy()
    safe.loc[bounded, "n_episodes"] = estimates.loc[bounded, "n_episodes"]
    counts = [
        label
        for label in bounded
        if described[label].quantity.kind == "count" and _is_whole(described[label])
    ]
    safe.loc[counts, "n_episodes"] = pd.NA
    return hide_contrasts(_hide_counts(safe, described, by_site, rule))


def _read_sites(by_site: BySite, label: object, row: Mapping) -> dict[str, np.ndarray | None]:
    """The people of each site behind the counts of a row."""
    counts = {"episodes": row["n_episodes"], "events": row["n_events"]}
    return {
        name: None if pd.isna(n) else by_site.of(label, name, float(n))
        for name, n in counts.items()
    }


def _is_whole(what: Described) -> bool:
    """Whether n_episodes of a count is the count itself."""
    return what.events == what.episodes


Judged = tuple[
    str | None, float | None, float | None
]  # why it is hidden, and what it may be said to be at least or at most


def _judge(
    row: Mapping, what: Described, sites: Mapping[str, np.ndarray | None], rule: Disclosure
) -> Judged:
    """Why a number is hidden, None if it is not; and its bounds where they may be said."""
    kind, number = what.quantity.kind, row["estimate"]
    if what.quantity.stays:
        return FINE, None, None
    if row["status"] != "ok" or pd.isna(number):
        return None, None, None
    single_site = OWN in row["stratum"] or OWN in row["term"]
    if kind == "count" and number < rule.least_shown:
        return BOUND, None, rule.least_shown - 1
    people = row["n_episodes"]
    if pd.notna(people) and people < rule.least_shown:
        return HIDDEN, None, None
    if (
        not single_site
        and row["analysis"] not in (LEDGER, FLOW)
        and _tells_of_a_site(row, sites, rule)
    ):
        return HIDDEN, None, None
    judged = kind in SHARES and row["note"] != BY_DEFINITION
    return _judge_share(row, what, rule, single_site) if judged else (None, None, None)


def _tells_of_a_site(
    row: Mapping, sites: Mapping[str, np.ndarray | None], rule: Disclosure
) -> bool:
    """Whether a site is nearly all of those counted, or of those of them who have the event."""
    counted = [sites[name] for name in ("episodes", "events") if sites.get(name) is not None]
    if pd.notna(row["n_sites"]) and 1 <= row["n_sites"] < rule.min_sites and sites:
        return True
    return any(is_dominated(each, rule) for each in counted)


def _judge_share(row: Mapping, what: Described, rule: Disclosure, single_site: bool) -> Judged:
    """Of a share the event and the rest are two groups, neither of which may be small."""
    size = float(row["n_episodes"])
    if what.quantity.kind == OF_SESSIONS and row["estimate"] > 0:
        size = max(size, round(row["n_events"] / row["estimate"]))
    event = row["n_events"] if what.quantity.kind in WHOLE_SHARES else row["estimate"] * size
    least = find_least(what, rule)
    if min(event, size - event) >= least:
        return None, None, None
    if single_site or size < 2 * least:
        return HIDDEN, None, None
    if event < least:
        return BOUND, None, ceil(100 * least / size) / 100
    return BOUND, floor(100 * (size - least) / size) / 100, None


def find_least(what: Described, rule: Disclosure) -> int:
    """Find the fewest people with the event, or without it, of whom a share is shown.

    An estimate of a share is no count of them.
    """
    return rule.least_shown if what.quantity.kind in WHOLE_SHARES else rule.min_cell


def _hide_counts(
    safe: pd.DataFrame, described: pd.Series, by_site: BySite, rule: Disclosure
) -> pd.DataFrame:
    """The same rows without the counts that their kind lets stay, of single sites,
    and of few people."""
    keeps = {
        column: pd.Series(
            [
                what is None or (name in what.kind.counts and what.quantity.sized)
                for what in described
            ],
            index=safe.index,
        )
        for column, name in (("n_episodes", "episodes"), ("n_events", "events"))
    }
    single_site = (
        safe["stratum"].str.contains(OWN) | safe["term"].str.contains(OWN)
    ) & described.notna()
    small = (
        (safe["n_episodes"].lt(rule.least_shown).fillna(False))
        & described.notna()
        & safe["status"].ne("ok")
    )
    unusable = safe["status"].ne("ok") & described.notna()
    counted = safe.loc[unusable, "n_episodes"].dropna().astype(float)
    sites = {label: by_site.of(label, "episodes", number) for label, number in counted.items()}
    dominated = [
        label
        for label, counts in sites.items()
        if counts is not None and is_dominated(counts, rule)
    ]
    for column, kept in keeps.items():
        safe.loc[~kept | single_site | small, column] = pd.NA
        safe.loc[dominated, column] = pd.NA
    safe.loc[unusable, "n_events"] = pd.NA
    safe.loc[unusable, "n_sites"] = pd.NA
    return safe


def hide_contrasts(safe: pd.DataFrame) -> pd.DataFrame:
    """The same rows without comparisons of two arms of which one has no number:
    it would follow from the other and the comparison."""
    usable: dict[tuple, set[str]] = {}
    compared = {contrast.analysis for contrast in CONTRASTS}
    stated = safe[safe["analysis"].isin(compared) & safe["status"].eq("ok")]
    places = list(zip(*(stated[name].astype(object).fillna("") for name in PLACE), strict=True))
    terms = stated["term"].tolist()
    for place, term in zip(places, terms, strict=True):
        usable.setdefault(place, set()).add(term)
    hidden = []
    for contrast in CONTRASTS:
        patterns = [compile_pattern(term) for term in contrast.terms]
        for label, term, place in zip(stated.index, terms, places, strict=True):
            if place[0] != contrast.analysis:
                continue
            match = next(filter(None, (pattern.fullmatch(term) for pattern in patterns)), None)
            if match and not all(
                arm.format_map(match.groupdict()) in usable[place] for arm in contrast.arms
            ):
                hidden.append(label)
    return hide_rows(safe, hidden) if hidden else safe
