"""How far clinics differ: a forest without names, what a further clinic may expect, and whether they differ more than chance."""

import pandas as pd

from pipeline.committee.picture import state_share
from pipeline.committee.readings import Reading, Readings, read_estimates
from pipeline.committee.section import draw_shares, make_range, make_section
from pipeline.committee.wording import begin_sentence, count_words, say_percent, say_why_missing
from schemas.study import Config

MOST = 8  # clinics drawn: the first letters, which are drawn by lot; more would only make the picture longer


def describe_sites(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """Shares resolved by the first day of the plan in each clinic, in the order of their letters, with the mean and the range for a further one."""
    readings = read_estimates(estimates, "site_pooling", "positional", config.study.resolution.primary)
    title, day = "How far clinics differ", config.study.site_pooling.days[0]
    term = f"smoothed_by_day_{day}"
    sites = [s for s in readings.strata() if s != "all" and readings[s, term].usable]
    sites.sort(key=lambda s: (len(s), s))
    drawn = sites[:MOST]
    mean, further = readings["all", term], readings["all", f"{term}_further_site"]
    if not mean.usable:
        return make_section("sites", title, [f"Clinics cannot be compared in this pool: {say_why_missing(mean)}."])
    rows = [make_range(f"Clinic {s.removeprefix('site=')}", readings[s, term]) for s in drawn]
    rows.append(make_range("Mean of clinics", mean, kind="whole"))
    if further.usable:
        rows.append(make_range("A further clinic like these", further, kind="further"))
    figure = draw_shares(
        rows,
        name="figure-sites",
        title=_say_headline(mean, further, day),
        unit=f"share resolved by day {day}",
        caption="Diamond: mean of all clinics. Dashed: the range in which a further clinic may lie.",
    )
    compared = readings["all", f"{term}_sites_pooled"]
    hidden = int(compared.estimate) - len(sites) if compared.usable else 0
    return make_section(
        "sites",
        title,
        [
            "Clinics have letters in an order drawn by lot, which say nothing of their names or sizes. Differences may lie in patients, in when "
            "they come back, or in records; this is no ranking.",
            _say_beyond_chance(estimates, config, day),
        ],
        finding=_say_further(further, day),
        figure=figure,
        notes=[
            f"Not drawn, but in the mean: {count_words(len(sites) - MOST, 'further clinic')}."
            if len(sites) > MOST
            else "",
            f"The share of {count_words(hidden, 'clinic')} is hidden to protect small groups; it is in the mean."
            if hidden > 0
            else "",
        ],
    )


def _say_headline(mean: Reading, further: Reading, day: int) -> str:
    said = state_share(
        mean, f"resolved by day {day} in the mean of {'all' if mean.n_sites is None else mean.n_sites} clinics"
    )
    if not further.usable or further.lower is None:
        return begin_sentence(said)
    return begin_sentence(
        f"{said}, {say_percent(further.lower)} to {say_percent(further.upper)} possible in a further one"
    )


def _say_further(further: Reading, day: int) -> str:
    if not further.usable or further.lower is None:
        return ""
    return f"In a further clinic like these, anywhere from {say_percent(further.lower)} to {say_percent(further.upper)} may be resolved by day {day}."


def _say_beyond_chance(estimates: dict[str, pd.DataFrame], config: Config, day: int) -> str:
    """Whether clinics vary more than chance around what their case mix lets expect."""
    readings: Readings = read_estimates(estimates, "site_monitoring", "positional", config.study.resolution.primary)
    spread = readings["all", f"overdispersion_day_{day}"]
    if not spread.usable:
        return ""
    many = f"{count_words(spread.n_sites, 'clinic')} large enough" if spread.n_sites else "clinics large enough"
    if spread.note and "more than chance" in spread.note:
        return f"Among {many}, results vary more around what is expected from their case mix than chance alone would make them."
    return f"Among {many}, results vary around what is expected from their case mix about as much as chance alone would make them."
