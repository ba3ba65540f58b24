"""The paths that were taken: which maneuver family followed which,
and how many were seen to be resolved after each step.

Described are treated positional episodes with a complete record. For each beginning of a path of up
to three sessions: how many reached it, and what became of them, so that the parts add up to those
who reached it and a flow picture can be drawn:
- resolved_at_next_test, resolved_at_later_test: resolution was seen before another session, at the
  first test after it or later (a negative test before a return within the recurrence gap shows no
  resolution);
- next=<family>: another session followed; families given to few are counted together as next=rarer
  (of all of them, next_without_test had no test before that session);
- no_further_session: not seen to be resolved, tested again, no other session;
- never_tested_again: no other session, and no further test.
The only share is of those who reached this point and were tested before another session. Whoever
reaches a second session has failed the first, and whoever reaches the third has lasted longer:
paths differ in who takes them, and their whole is never compared by outcome.
"""

from collections.abc import Iterator

import pandas as pd

from pipeline.derivation.first_events import COMPLETE
from pipeline.statistics import site_limits
from pipeline.statistics.guard import check_size
from pipeline.statistics.scales import SHARE, state_within
from pipeline.statistics.tidy import Fields, count_sites, state, tidy_estimates, withhold
from schemas.columns import Frame
from schemas.derived import Adjudications, Sequences
from schemas.estimate import Estimates
from schemas.keys import EPISODE
from schemas.strata import THEN
from schemas.study import Config, Guards

MOST_SESSIONS = 3  # beginnings of paths that are described; few take longer ones
START = "start"
COUNT = "count"
INTERVAL = f"share of those tested before another session; {site_limits.METHOD}; descriptive"


def describe_sequences(
    sequences: Frame[Sequences], adjudications: Frame[Adjudications], config: Config
) -> Frame[Estimates]:
    """Counts and shares along the paths, for all and by canal (schemas.estimate.Estimates).

    The stratum names the sessions so far as path=<family> > <family>, families of one session
    joined by +; path=start is before the first. A beginning is followed further only if at least
    config.study.guards.min_episodes took it. The n_events of a count are the count itself, its
    n_episodes those of whom it is a part. Limits: Clopper CJ, Pearson ES. Biometrika
    1934;26:404-413.
    """
    guards = config.study.guards
    verdicts = adjudications.loc[adjudications["positional"].eq("yes"), [*EPISODE, "canal"]]
    treated = sequences.merge(verdicts, on=EPISODE, validate="one_to_one")
    members = treated[treated["status"].isin(COMPLETE)]
    steps = members.assign(
        families=members["path"].str.split(THEN), shown=members["outcomes"].str.split(THEN)
    )
    rows = [
        _count("treated", treated, treated, "all"),
        _count(
            "incomplete_record", treated, treated[treated["status"].eq("incomplete_record")], "all"
        ),
        _count("never_positive", treated, treated[treated["status"].eq("never_positive")], "all"),
        *_follow(steps, steps, (), "", guards),
    ]
    for canal, part in steps.groupby("canal", sort=True):
        rows += _follow(part, part, (), f"canal={canal},", guards)
    return tidy_estimates(rows, analysis="sequence_paths", population="positional")


def _follow(
    members: pd.DataFrame, before: pd.DataFrame, taken: tuple[str, ...], part: str, guards: Guards
) -> Iterator[dict]:
    """All rows of the path `taken` by `members`, who come from those `before`,
    and of the paths that go on from it."""
    stratum = f"{part}path={THEN.join(taken) or START}"
    refused = check_size(len(members), None, guards)
    if refused:
        counts: Fields = {"n_episodes": len(before), "n_events": len(members)}
        counts |= count_sites(members, among=before)
        yield withhold(
            "reached", refused.status, refused.note, stratum=stratum, method=COUNT, **counts
        )
        return
    done = len(taken)
    yield _count("reached", before, members, stratum)
    on = members[members["sessions"].gt(done)]
    if done:
        yield from _count_ends(members, done, stratum)
        yield _share_resolved(members, done, stratum, guards)
    following = on["families"].str[done]
    sizes = following.value_counts()
    named = sorted(sizes.index[sizes >= guards.min_episodes])
    for family in named:
        yield _count(f"next={family}", members, on[following.eq(family)], stratum)
    yield _count("next=rarer", members, on[~following.isin(named)], stratum)
    if done:
        yield _count(
            "next_without_test",
            members,
            on[on["shown"].str[done - 1].eq("not_tested_again").astype(bool)],
            stratum,
        )
    if done < MOST_SESSIONS:
        for family in named:
            yield from _follow(on[following.eq(family)], members, (*taken, family), part, guards)


def _count_ends(members: pd.DataFrame, done: int, stratum: str) -> Iterator[dict]:
    """How many end here, and how."""
    ended = members[members["sessions"].eq(done)]
    resolved, outcome = ended["status"].eq("resolved"), ended["shown"].str[done - 1]
    at_next = ended["at_next_test"].fillna(False)
    ends = {
        "resolved_at_next_test": resolved & at_next,
        "resolved_at_later_test": resolved & ~at_next,
        "no_further_session": ~resolved & ~outcome.eq("not_tested_again"),
        "never_tested_again": ~resolved & outcome.eq("not_tested_again"),
    }
    for term, which in ends.items():
        yield _count(term, members, ended[which.astype(bool)], stratum)


def _share_resolved(members: pd.DataFrame, done: int, stratum: str, guards: Guards) -> dict:
    """Of those tested after this session and before another one,
    the share in whom that test was the first of resolution."""
    tested = members[members["shown"].str[done - 1].ne("not_tested_again").astype(bool)]
    resolved = tested[
        tested["sessions"].eq(done).astype(bool) & tested["at_next_test"].fillna(False).astype(bool)
    ]
    fields: Fields = {"stratum": stratum, "method": INTERVAL}
    fields |= {"n_episodes": len(tested), "n_events": len(resolved)}
    fields |= count_sites(tested, events=resolved)
    refused = check_size(len(tested), None, guards)
    if refused:
        return withhold("share_resolved_at_next_test", refused.status, refused.note, **fields)
    low, high = site_limits.bound_share(tested.index.isin(resolved.index), tested["site"], guards)
    return state_within(
        "share_resolved_at_next_test",
        len(resolved) / len(tested),
        low,
        high,
        SHARE,
        guards,
        **fields,
    )


def _count(term: str, base: pd.DataFrame, chosen: pd.DataFrame, stratum: str) -> dict:
    counts = {
        "n_episodes": len(base),
        "n_events": len(chosen),
        **count_sites(chosen, among=base),
    }
    return state(term, len(chosen), stratum=stratum, method=COUNT, **counts)
