"""How far clinics differ in how soon vertigo resolves, whenever they test."""

import pandas as pd

from pipeline.reports.committee.section import make_section
from pipeline.reports.committee.site_pictures import picture_funnel
from pipeline.reports.readings import Readings, read_estimates
from pipeline.reports.wording import BLANK, count_words, join_words, say_why_missing
from schemas.study import Config

TITLE = "How far do clinics differ?"
MEANING = (
    "Each clinic's rate of resolution is set beside the mean of the clinics, for the same variants "
    "of positional vertigo under the same sessions. The days on which a clinic tests are part of "
    "the comparison, so that none is judged by when it tests. Patients may differ in other ways, "
    "and so this does not say how good a clinic is."
)
WARNING = (
    "In simulated pools of clinics that were all alike, 4 in 100 lay outside the first limits and "
    "none outside the second."
)

FITS = {  # outcome of the prediction: how many clinics are as predicted, in words
    "tests": "when {clinics} test",
    "positive_tests": "what tests show at {clinics}",
    "reports": "what patients of {clinics} report",
}


def describe_sites(estimates: dict[str, pd.DataFrame], config: Config) -> dict:
    """The section in plain words: how many clinics lie outside control limits, and where a further
    one is expected; or why this cannot be told."""
    primary = config.study.resolution.primary
    readings = read_estimates(estimates, "site_monitoring", "positional", primary)
    outside = readings["all", "sites_outside_95"]
    if not outside.usable:
        sentences = [f"Clinics are not compared: {say_why_missing(outside)}.", MEANING]
        return make_section("sites", TITLE, sentences)
    return make_section(
        "sites",
        TITLE,
        [MEANING, _say_further(readings), _say_fit(estimates, primary)],
        finding=_say_outside(readings, config),
        figure=picture_funnel(readings, config, title=_head_funnel(readings), noun="clinic"),
        notes=[WARNING],
    )


def _say_outside(readings: Readings, config: Config) -> str:
    compared = readings["all", "sites_large_enough"]
    few, rare = (
        int(readings["all", term].estimate or 0)
        for term in ("sites_outside_95", "sites_outside_998")
    )
    least = config.study.site_monitoring.min_episodes
    whom = f"Of {count_words(compared.estimate or 0, 'clinic')} with at least {least} episodes, "
    limits = "limits that one in twenty equal clinics would pass by chance"
    if few == 0:
        return f"{whom}none lies outside the {limits}."
    further = readings["all", "sites_outside_998"]
    strict = f", and {rare or 'none'} outside those that one in 500 would" if further.usable else ""
    return f"{whom}{few} lie{'s' if few == 1 else ''} outside the {limits}{strict}."


def _head_funnel(readings: Readings) -> str:
    """The finding as a heading: how many clinics lie outside the first limits."""
    few = int(readings["all", "sites_outside_95"].number)
    compared = int(readings["all", "sites_large_enough"].estimate or 0)
    verb = "lie" if few > 1 else "lies"
    return f"{few or 'None'} of {compared} clinics {verb} outside the 95{BLANK}% limits"


def _say_further(readings: Readings) -> str:
    further = readings["all", "rate_ratio_further_site"]
    if not further.usable or further.lower is None or further.upper is None:
        return ""
    return (
        f"In a further clinic of this kind vertigo would resolve between {further.lower:.2f} and "
        f"{further.upper:.2f} times as fast as at the mean of these (95 % prediction interval)."
    )


def _say_fit(estimates: dict[str, pd.DataFrame], primary: str) -> str:
    """At how many clinics the model predicts what was seen, in one sentence."""
    readings = read_estimates(estimates, "joint_prediction", "positional", primary)
    said = []
    for outcome, words in FITS.items():
        judged, beyond = (
            readings["all", f"{outcome}_sites_{which}"] for which in ("judged", "beyond_chance")
        )
        if judged.usable and beyond.usable:
            within = f"{judged.number - beyond.number:.0f} of {judged.number:.0f} clinics"
            said.append(words.format(clinics=within))
    if not said:
        return ""
    return (
        f"Where enough is known to judge, the model predicts {join_words(said)} as well as chance "
        "allows; one in twenty would seem badly predicted by chance alone."
    )
