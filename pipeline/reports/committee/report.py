"""The whole report as one plain dict: the answer first, then what it rests on,
then what it does not say."""

import pandas as pd

from pipeline.reports.cautions import say_red_flags
from pipeline.reports.committee import standing
from pipeline.reports.committee.afterwards import describe_handicap, describe_recurrence
from pipeline.reports.committee.apart import describe_apart
from pipeline.reports.committee.attempts import describe_attempts
from pipeline.reports.committee.contents import list_contents
from pipeline.reports.committee.curves import describe_groups
from pipeline.reports.committee.failures import describe_failures
from pipeline.reports.committee.guideline import describe_guideline
from pipeline.reports.committee.harm import describe_harm
from pipeline.reports.committee.known import STRIPS_CAPTION
from pipeline.reports.committee.ledger import read_ledger, tabulate_ledger
from pipeline.reports.committee.matrix import read_first_choice
from pipeline.reports.committee.order_pictures import describe_orders
from pipeline.reports.committee.order_readings import read_orders
from pipeline.reports.committee.paths import describe_paths
from pipeline.reports.committee.pool import describe_flow, describe_people
from pipeline.reports.committee.published import describe_published
from pipeline.reports.committee.questions import answer_questions
from pipeline.reports.committee.resolved import (
    Course,
    find_sites,
    find_treated,
    is_told,
    read_course,
    read_half,
    read_share,
    say_parts,
    say_resolved,
    say_untold,
)
from pipeline.reports.committee.second_line import describe_second_line
from pipeline.reports.committee.shares import (
    has_bounds,
    list_columns,
    tabulate_endpoints,
    tabulate_first_maneuvers,
    tabulate_shares,
)
from pipeline.reports.committee.since import NOTE, Earlier, describe_since
from pipeline.reports.committee.sites import describe_sites
from pipeline.reports.committee.standing import CURVE_CAPTION
from pipeline.reports.committee.strata import (
    choose_days,
    find_size,
    list_variables,
    say_why_none,
)
from pipeline.reports.committee.technique import describe_technique
from pipeline.reports.committee.variants import describe_variants
from pipeline.reports.committee.whole import describe_whole
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import (
    count_words,
    join_words,
    name_stratum,
    say_episodes,
    say_share,
)
from schemas import codes
from schemas.analysis import TESTS_AS_GIVEN
from schemas.demonstration import INVENTED
from schemas.notes import FIRST_YEAR, LAST_YEAR, NEWER
from schemas.strata import split_stratum
from schemas.study import Config, Resolution

MODEL = (
    "These shares are of all who were treated, tested again or not. A test can only show later "
    "what happened earlier, and those who still have symptoms come back sooner: the shares come "
    "from a model that allows for both."
)


def compose_report(
    estimates: dict[str, pd.DataFrame],
    config: Config,
    used: dict[str, str],
    *,
    earlier: Earlier | None = None,
    invented: bool = False,
) -> dict:
    """Compose what `committee.html.j2` shows.

    Parameters
    ----------
    estimates
        Disclosed ones (schemas.estimate.Estimates) by analysis; nothing is computed from them but
        their words and places in a figure.
    config
        The plan.
    used
        Fingerprints and versions behind the estimates.
    earlier
        The release before this one.
    invented
        Whether it is the demonstration pool.

    Returns
    -------
    dict
        Plain texts, tables as lists, figures as SVG.
    """
    study = config.study
    course = read_course(estimates, config)
    shares = tabulate_shares(course, config)
    first_maneuvers = tabulate_first_maneuvers(course, read_ledger(estimates), config)
    sections = [
        describe_orders(estimates, config),
        describe_second_line(estimates, config),
        describe_paths(estimates, config),
        describe_attempts(estimates),
        describe_failures(estimates),
        describe_technique(estimates),
        describe_harm(estimates, config),
        describe_guideline(estimates),
        describe_handicap(estimates, config),
        describe_recurrence(estimates, config),
        describe_sites(estimates, config),
        describe_published(estimates, config),
    ]
    apart = describe_apart(estimates, config)
    since = describe_since(earlier, estimates, used, config)
    variants = describe_variants(
        read_first_choice(estimates, config),
        read_orders(estimates, config),
        course,
        estimates,
        config,
    )
    return {
        "title": study.title,
        "issued": _say_issued(used),
        "since": since,
        "contents": list_contents(sections, apart, variants, moved=bool(since)),
        "files": [{"path": path, "title": title} for path, title in standing.FILES.items()],
        "headings": standing.HEADINGS,
        "variants": variants,
        "variants_note": f"{CURVE_CAPTION} Dashed: the whole pool. {STRIPS_CAPTION}"
        if any(variant["figure"] for variant in variants)
        else "",
        "invented": INVENTED if invented else "",
        "stays": used.get(NEWER, ""),
        "answer": _say_answer(estimates, course, config),
        "questions": answer_questions(estimates, sections, apart, config),
        "flow": describe_flow(estimates),
        "people": describe_people(estimates, config),
        "ledger": tabulate_ledger(estimates, short=True),
        "whole": describe_whole(course, estimates, config),
        "groups": describe_groups(course, config),
        "groups_note": standing.COMPARED_CAPTION,
        "columns": list_columns(config),
        "shares": shares,
        "shares_note": standing.SHARES_NOTE
        + (f" {standing.BOUNDS_NOTE}" if has_bounds(shares) else ""),
        "first_maneuvers": first_maneuvers,
        "endpoints": tabulate_endpoints(estimates, config),
        "tests_as_given": TESTS_AS_GIVEN,
        "sections": sections,
        "apart": apart,
        "resolution": _say_resolution(study.resolution),
        "standing": {
            "model": MODEL if shares else "",
            "answer_note": standing.ANSWER_NOTE,
            "cannot": standing.CANNOT,
            "choice": standing.CHOICE,
            "how_to_read": standing.HOW_TO_READ,
            "not_compared": standing.NOT_COMPARED,
            "red_flags": standing.RED_FLAGS,
            "cautions": [say_red_flags(config.criteria), *standing.CAUTIONS],
            "limits": standing.say_limits(study, _say_agreement(estimates)),
            "hidden": standing.say_hidden(study),
            "since": NOTE,
            "methods": [{"name": name, "text": text} for name, text in standing.METHODS],
        },
        "methods": sorted(
            {
                reading.method
                for readings in (course.model, course.tests)
                for reading in readings.values()
                if reading.usable and reading.method and reading.method != "count"
            }
        ),
        "used": [{"name": name.replace("_", " "), "value": value} for name, value in used.items()],
    }


def _say_issued(used: dict[str, str]) -> list[str]:
    """Of which years the records are and which release it is, as far as that is known."""
    years = [used[name] for name in (FIRST_YEAR, LAST_YEAR) if name in used]
    said = [f"Records of {' to '.join(dict.fromkeys(years))}"] if years else []
    return [*said, *([f"release {used['release']}"] if "release" in used else [])]


def _say_answer(estimates: dict[str, pd.DataFrame], course: Course, config: Config) -> list[str]:
    """The answer in a few sentences: resolved by when, half by when, by canal."""
    model, days = course.model, choose_days(config.study.curves.days)
    shares = [
        f"{say_share(share)} by day {day}"
        for day in days
        if (share := read_share(model, "all", day)).usable
    ]
    whom = _say_whom(estimates, course)
    untold = say_untold(model, "all", days, "" if shares else whom)
    if not shares and not untold:
        return [
            "This report cannot tell how soon positional vertigo resolves: "
            f"{say_why_none(model, 'all')}."
        ]
    told = [f"{whom}{join_words(shares)} were resolved."] if shares else []
    sentences = [*told, untold, _say_half(model, config), _say_canals(course, config)]
    return [sentence for sentence in sentences if sentence]


def _say_whom(estimates: dict[str, pd.DataFrame], course: Course) -> str:
    """'Of 840 episodes of positional vertigo from 9 sites, ...', to be followed by shares."""
    size, ledger = find_treated(course.model, "all"), read_ledger(estimates)
    sites = find_sites(course, "all")
    clinics = "" if sites is None else f" from {count_words(sites, 'site')}"
    of = f" (out{ledger.say_of('complete')})" if ledger.find("treated").usable else ""
    return (
        f"Of {say_episodes(size)} of positional vertigo{clinics}, treated and with a complete "
        f"record{of}, "
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


def _say_half(model: Readings, config: Config) -> str:
    last = config.study.curves.days[-1]
    half = read_half(model, "all", last)
    if half.below:
        return f"Fewer than half were resolved by day {last}."
    if half.day is None:
        return ""
    sentence = f"Half were resolved by about day {half.day}"
    if half.early is None:
        return f"{sentence}{'' if half.late is None else f' (by day {half.late} at the latest)'}."
    if half.late is None:
        return f"{sentence} (day {half.early} or later)."
    return f"{sentence} (between day {half.early} and day {half.late})."


def _say_canals(course: Course, config: Config) -> str:
    """The two largest canals on the early day."""
    day = choose_days(config.study.curves.days)[0]
    canals = [
        stratum
        for stratum in course.model.strata()
        if list_variables(stratum) == ("canal",)
        and split_stratum(stratum)["canal"] in ("posterior", "lateral", "anterior")
        and is_told(course.model, stratum, day)
    ]
    canals.sort(key=lambda s: (-(find_size(course.tests, s).n_episodes or 0), s))
    shares = {
        s: f"{say_resolved(course.model, s, day)} in the {name_stratum(s, config)} "
        f"({say_episodes(find_treated(course.model, s))})"
        for s in canals[:2]
    }
    return say_parts(course.model, shares, day)


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
