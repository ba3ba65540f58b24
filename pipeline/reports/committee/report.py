"""The whole report as one plain dict: the answer first, then what it rests on,
then what it does not say."""

import pandas as pd

from pipeline.reports.committee import standing
from pipeline.reports.committee.afterwards import describe_handicap, describe_recurrence
from pipeline.reports.committee.apart import describe_apart
from pipeline.reports.committee.attempts import describe_attempts
from pipeline.reports.committee.curves import describe_groups, describe_whole
from pipeline.reports.committee.failures import describe_failures
from pipeline.reports.committee.ledger import read_ledger, tabulate_ledger
from pipeline.reports.committee.paths import describe_paths
from pipeline.reports.committee.pool import describe_flow, describe_people
from pipeline.reports.committee.published import describe_published
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.committee.shares import (
    list_columns,
    tabulate_endpoints,
    tabulate_first_maneuvers,
    tabulate_shares,
)
from pipeline.reports.committee.sites import describe_sites
from pipeline.reports.committee.strata import (
    choose_days,
    find_size,
    list_variables,
    say_size,
    say_why_none,
)
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
    agree,
    count_words,
    join_words,
    name_stratum,
    say_episodes,
    say_share,
)
from schemas import codes
from schemas.demonstration import INVENTED
from schemas.notes import NEWER
from schemas.strata import split_stratum
from schemas.study import Config, Resolution


def compose_report(
    estimates: dict[str, pd.DataFrame],
    config: Config,
    used: dict[str, str],
    *,
    invented: bool = False,
) -> dict:
    """What `committee.html.j2` shows: plain texts, tables as lists, figures as SVG.

    `estimates` are disclosed ones (schemas.estimate.Estimates) by analysis; nothing is computed
    from them but their words and places in a figure. `used` are the fingerprints and versions
    behind them; `invented` is true of the demonstration pool only.
    """
    study = config.study
    readings = read_estimates(
        estimates, "resolution_curves", "positional", study.resolution.primary
    )
    return {
        "title": study.title,
        "invented": INVENTED if invented else "",
        "stays": used.get(NEWER, ""),
        "answer": _say_answer(estimates, readings, config),
        "flow": describe_flow(estimates),
        "people": describe_people(estimates, config),
        "ledger": tabulate_ledger(estimates, short=True),
        "whole": describe_whole(readings, config),
        "groups": describe_groups(readings, config),
        "columns": list_columns(config),
        "shares": tabulate_shares(readings, config),
        "first_maneuvers": tabulate_first_maneuvers(readings, read_ledger(estimates), config),
        "endpoints": tabulate_endpoints(estimates, config),
        "sections": [
            describe_attempts(estimates),
            describe_second_line(estimates, config),
            describe_paths(estimates, config),
            describe_failures(estimates),
            describe_handicap(estimates, config),
            describe_recurrence(estimates, config),
            describe_sites(),
            describe_published(estimates, config),
        ],
        "apart": describe_apart(estimates, config),
        "resolution": _say_resolution(study.resolution),
        "standing": {
            "answer_note": standing.ANSWER_NOTE,
            "cannot": standing.CANNOT,
            "choice": standing.CHOICE,
            "how_to_read": standing.HOW_TO_READ,
            "not_compared": standing.NOT_COMPARED,
            "red_flags": standing.RED_FLAGS,
            "cautions": list(standing.CAUTIONS),
            "limits": standing.say_limits(study, _say_agreement(estimates)),
            "hidden": standing.say_hidden(study),
            "methods": [{"name": name, "text": text} for name, text in standing.METHODS],
        },
        "methods": sorted(
            {r.method for r in readings.values() if r.usable and r.method and r.method != "count"}
        ),
        "used": [{"name": name.replace("_", " "), "value": value} for name, value in used.items()],
    }


def _say_answer(
    estimates: dict[str, pd.DataFrame], readings: Readings, config: Config
) -> list[str]:
    """The answer in a few sentences: resolved by when, half by when, by canal,
    and what is not in these numbers."""
    shares = {
        day: readings["all", f"resolved_by_day_{day}"]
        for day in choose_days(config.study.curves.days)
    }
    shown = [f"{say_share(share)} by day {day}" for day, share in shares.items() if share.usable]
    if not shown:
        return [
            "This report cannot tell how soon positional vertigo resolves: "
            f"{say_why_none(readings, 'all')}."
        ]
    size = find_size(readings, "all")
    sites = "" if size.n_sites is None else f" from {count_words(size.n_sites, 'site')}"
    ledger = read_ledger(estimates)
    of = f" (out{ledger.say_of('followed')})" if ledger.find("complete").usable else ""
    sentences = [
        f"Of {say_episodes(size.n_episodes)} of positional vertigo{sites}, tested again after the "
        f"first maneuver{of}, {join_words(shown)} were resolved."
    ]
    sentences += [_say_joint(estimates, config), _say_half(readings, config)]
    sentences.append(_say_canals(readings, config))
    sentences.append(describe_second_line(estimates, config)["finding"])
    apart = read_estimates(estimates, "episode_flow", "pool")["all", "probable_non_positional"]
    if apart.usable and apart.estimate:
        sentences.append(
            f"{count_words(apart.estimate, 'further episode')} "
            f"{agree(apart.estimate, 'was', 'were')} probably not positional vertigo, kept apart "
            "and counted in none of these numbers."
        )
    return [sentence for sentence in sentences if sentence]


def _say_joint(estimates: dict[str, pd.DataFrame], config: Config) -> str:
    """The same shares with the days of testing as evidence; nothing where the model has none."""
    primary = config.study.resolution.primary
    readings = read_estimates(estimates, "joint_resolution", "positional", primary)
    shares = {day: readings["all", f"resolved_by_day_{day}"] for day in config.study.curves.days}
    shown = [f"{say_share(share)} by day {day}" for day, share in shares.items() if share.usable]
    if not shown:
        return ""
    return (
        "These shares are of the days on which tests turned negative, which come later where a "
        "clinic tests late. A model that takes into account when clinics test, of all who were "
        f"treated, tested again or not, puts resolution at {join_words(shown)}."
    )


def _say_agreement(estimates: dict[str, pd.DataFrame]) -> str:
    """How often the clinicians' own diagnosis of the canal is that of the tests,
    and the agreement beyond chance."""
    readings = read_estimates(estimates, "diagnosis_agreement", "positional")
    share, kappa = readings["all", "canal_agreement"], readings["all", "canal_kappa"]
    if not (share.usable and kappa.usable) or kappa.lower is None:
        return ""
    return (
        "Where both name a canal, the clinicians' own diagnosis agrees with that of the tests in "
        f"{say_share(share)}; agreement beyond chance (kappa) is {kappa.estimate:.2f}, between "
        f"{kappa.lower:.2f} and {kappa.upper:.2f}."
    )


def _say_half(readings: Readings, config: Config) -> str:
    median = readings["all", "median_days"]
    if median.status == "not_identified":
        return f"Fewer than half were seen to be resolved by day {config.study.curves.horizon_day}."
    if not median.usable:
        return ""
    sentence = f"Half were resolved by about day {median.estimate:.0f}"
    if median.lower is None:
        return f"{sentence}."
    if median.upper is None:
        return f"{sentence} (day {median.lower:.0f} or later)."
    return f"{sentence} (between day {median.lower:.0f} and day {median.upper:.0f})."


def _say_canals(readings: Readings, config: Config) -> str:
    """The two largest canals on the early day."""
    day = choose_days(config.study.curves.days)[0]
    term = f"resolved_by_day_{day}"
    canals = [
        s for s in readings.strata() if list_variables(s) == ("canal",) and readings[s, term].usable
    ]
    canals = [
        s for s in canals if split_stratum(s)["canal"] in ("posterior", "lateral", "anterior")
    ]
    canals.sort(key=lambda s: (-(find_size(readings, s).n_episodes or 0), s))
    clauses = [
        f"{say_share(readings[s, term])} in the {name_stratum(s, config)} ({say_size(readings, s)})"
        for s in canals[:2]
    ]
    return f"Resolved by day {day}: {join_words(clauses)}." if clauses else ""


def _say_resolution(resolution: Resolution) -> list[str]:
    """What counts as resolved and what as a recurrence, in sentences."""
    sentences = [
        "Days are counted from the first maneuver. An episode is resolved when "
        f"{codes.ENDPOINT[resolution.primary]}."
    ]
    if resolution.confirmation_day > 1:
        sentences.append(
            f"Here a test confirms only from {resolution.confirmation_day} days after the last "
            "maneuver."
        )
    if resolution.primary != "same_visit":
        sentences.append(
            "A negative test within the same visit does not count: nystagmus tires when it is "
            "provoked again."
        )
    sentences.append(
        f"Positional vertigo after {resolution.recurrence_gap} or more symptom-free days is a "
        "recurrence: a new spell, not a failure."
    )
    return sentences
