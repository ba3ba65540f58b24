"""Why first maneuvers may have failed: for each reason the share of failures whose record holds
evidence for it, in two views."""

import pandas as pd

from pipeline.reports.committee.ledger import Ledger, read_ledger
from pipeline.reports.committee.picture import state_share
from pipeline.reports.committee.section import draw_shares, make_range, make_section, say_sites
from pipeline.reports.readings import AboutShare, Reading, Readings, read_estimates
from pipeline.reports.wording import (
    begin_sentence,
    count_words,
    join_words,
    say_bound,
    say_count,
    say_episodes,
    say_percent,
    say_why_missing,
)
from schemas.denominators import BASES
from schemas.failure import REASON, TECHNIQUE

FAILED = "first maneuver failed"
OR_NOT_SEEN = "first maneuver failed or not tested again"
WITHOUT = BASES["failed"].without
OF_ALL = "never_tested_again"  # the one reason that is counted among those never tested again too


def describe_failures(estimates: dict[str, pd.DataFrame]) -> dict:
    """The reasons with evidence at the time, most frequent first, and what hindsight adds."""
    readings = read_estimates(estimates, "failure_reasons", FAILED)
    title = "Which reasons do the records hold for failures?"
    reasons = [reason for reason in REASON if reason != OF_ALL]
    views = {
        view: {reason: readings[f"view={view},reason={reason}", "share"] for reason in reasons}
        for view in ("at_the_time", "in_hindsight")
    }
    then, later = views["at_the_time"], views["in_hindsight"]
    usable = [reason for reason in reasons if then[reason].usable]
    if not usable:
        return make_section(
            "failures", title, [f"No share can be given: {say_why_missing(then['technique'])}."]
        )
    usable.sort(key=lambda reason: (reason == "undetermined", -then[reason].number, reason))
    first, ledger = then[usable[0]], read_ledger(estimates)
    of = f" (out{ledger.say_of('taken_for_failed')})" if ledger.find("treated").usable else ""
    rows = [make_range(begin_sentence(REASON[reason]), then[reason]) for reason in usable]
    figure = draw_shares(
        rows,
        name="figure-failures",
        title=_say_headline(usable, then),
        unit="share of episodes with evidence for the reason",
        caption=(
            f"{say_episodes(first.n_episodes)}{say_sites(first)} whose first maneuver failed or "
            "was taken to have failed. Only what was known on the day on which the failure was "
            "seen. "
            "Evidence, not a verdict."
        ),
    )
    limits = {
        reason: f"{REASON[reason]} ({say_bound(then[reason])})"
        for reason in reasons
        if then[reason].bounded
    }
    rare, most = (
        [bound for reason, bound in limits.items() if then[reason].nearly_all == all_]
        for all_ in (False, True)
    )
    hidden = [REASON[reason] for reason in reasons if then[reason].status == "suppressed"]
    return make_section(
        "failures",
        title,
        [
            f"In {say_episodes(first.n_episodes)}{say_sites(first)} the first maneuver failed or "
            f"was taken to have failed{of}. The figure gives the share whose record holds "
            "evidence for "
            "each reason. It is evidence, not a verdict; several reasons at once are usual.",
            _say_parts(readings),
            _say_taken(ledger),
            _say_never_tested_again(estimates),
            _say_hindsight(then, later),
        ],
        figure=figure,
        notes=[
            f"In none or few: {'; '.join(rare)}." if rare else "",
            f"In all or nearly all: {'; '.join(most)}." if most else "",
            f"Not shown: {'; '.join(hidden)}." if hidden else "",
        ],
    )


def _say_headline(usable: list[str], then: dict[str, Reading]) -> str:
    """The most frequent reason alone only where its interval lies above that of the next;
    else the two together."""
    named = [reason for reason in usable if reason != "undetermined"]
    if not named:
        return (
            "The records point to no reason in "
            f"{state_share(then['undetermined'], 'of failed first maneuvers')}"
        )
    shares = [
        f"{REASON[reason]} in {state_share(then[reason], '').strip()}" for reason in named[:2]
    ]
    if len(named) == 1:
        return f"The records point to one reason: {shares[0]}"
    first, second = (then[reason] for reason in named[:2])
    if first.lower is not None and second.upper is not None and first.lower > second.upper:
        return f"The records point most often to one reason: {shares[0]}"
    return f"No one reason stands out: {shares[0]}; {shares[1]}"


def _say_parts(readings: Readings) -> str:
    """What was not as usual in the technique, the most frequent first."""
    shares = {
        words: readings[f"view=at_the_time,reason=technique,measure={part}", "share"]
        for part, (words, _) in TECHNIQUE.items()
    }
    told = {words: share for words, share in shares.items() if share.usable}
    if not told:
        return ""
    ranked = sorted(told, key=lambda words: (-told[words].number, words))
    parts = join_words(f"{words} in {_say_number(told[words])}" for words in ranked)
    return f"Of the technique: {parts}."


def _say_number(share: Reading) -> str:
    """'312 episodes (25 %)', or the share alone where the count is hidden."""
    percent = say_percent(share.number)
    return percent if share.n_events is None else f"{say_episodes(share.n_events)} ({percent})"


def _say_taken(ledger: Ledger) -> str:
    """Why these are more than those with a positive test."""
    more = ledger.find("without_failed")
    if not more.usable or not more.estimate or not ledger.find("taken_for_failed").usable:
        return ""
    base = ledger.find("taken_for_failed")
    number = f"{say_count(more.estimate)} of these {count_words(base.number, 'episode')}"
    return f"In {number} no test was positive before the next session: {WITHOUT}."


def _say_never_tested_again(estimates: dict[str, pd.DataFrame]) -> str:
    reading = read_estimates(estimates, "failure_reasons", OR_NOT_SEEN)[
        f"view=at_the_time,reason={OF_ALL}", "share"
    ]
    if not reading.usable:
        return ""
    return (
        f"In {_say_further(reading)} there was no test before the next session, or none at all: "
        "whether the maneuver failed is not known."
    )


def _say_further(unseen: Reading) -> str:
    if unseen.n_events is None or unseen.n_episodes is None:
        return f"{say_percent(unseen.number)} of these and further episodes together"
    together = (
        f"{say_percent(unseen.number)} of {say_episodes(unseen.n_episodes)}, these and the "
        "failed ones together"
    )
    return f"{count_words(unseen.n_events, 'further episode')} ({together})"


def _say_hindsight(then: dict, later: dict) -> str:
    """What the whole record adds, for the reasons that grow most."""
    grown = [
        (later[reason].estimate - then[reason].estimate, reason)
        for reason in then
        if reason != "undetermined"
        and then[reason].usable
        and later[reason].usable
        and later[reason].estimate > then[reason].estimate
        and not isinstance(later[reason].estimate, AboutShare)
    ]
    clauses = [
        (
            f"{REASON[reason]} (from {say_percent(then[reason].estimate)} to "
            f"{say_percent(later[reason].estimate)})"
        )
        for _, reason in sorted(grown, reverse=True)[:3]
    ]
    remission = later["remission_anyway"]
    if remission.usable and not then["remission_anyway"].usable:
        clauses.append(
            f"{REASON['remission_anyway']} ({say_percent(remission.estimate)}, which could not be "
            "known before)"
        )
    return (
        f"In hindsight, with the whole record, evidence grows for: {'; '.join(clauses)}."
        if clauses
        else ""
    )
