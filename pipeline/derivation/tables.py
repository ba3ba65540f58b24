"""All derived tables from the delivered ones: what the tests mean,
then the rows that the models see."""

from collections.abc import Collection, Mapping

import pandas as pd

from pipeline.adjudication.adjudicate import adjudicate_episodes
from pipeline.adjudication.days import keep_until_reclassified
from pipeline.adjudication.failure import Record, explain_failures
from pipeline.adjudication.findings import describe_tests
from pipeline.adjudication.later_flags import raise_later_flags
from pipeline.adjudication.reasons import list_reasons
from pipeline.derivation.attempts import list_attempts
from pipeline.derivation.examined_days import list_examined_days
from pipeline.derivation.sequences import list_sequences
from pipeline.derivation.spells import TIMED, measure_spells
from pipeline.derivation.states import (
    find_states,
    mark_confirming,
    select_deciding_tests,
    select_every_test,
)
from schemas.columns import Frame
from schemas.derived import Adjudications, Findings, ReasonsAgainst, Spells
from schemas.keys import EPISODE
from schemas.study import Config

DELIVERED = ("episodes", "examinations", "treatments", "followups", "set_aside")
DECIDING_TABLES = ("examinations", "treatments")


def derive_tables(delivered: Mapping[str, pd.DataFrame], config: Config) -> dict[str, pd.DataFrame]:
    """Derive every table of schemas.derived.

    Parameters
    ----------
    delivered
        The tables DELIVERED by name, with the current delivery of each site.
    config
        Criteria, maneuvers and the plan.

    Returns
    -------
    dict
        The derived tables by name.
    """
    derived = derive_rows(delivered, config)
    record = Record(
        **{
            name: delivered[name]
            for name in ("episodes", "examinations", "treatments", "followups")
        },
        **{name: derived[name] for name in ("findings", "adjudications", "attempts", "spells")},
    )
    return derived | {
        "examined_days": list_examined_days(record.examinations),
        "sequences": list_sequences(record.attempts, record.adjudications, record.spells),
        "later_flags": raise_later_flags(
            record.examinations, record.findings, record.attempts, record.spells, config.criteria
        ),
        "failure_reasons": explain_failures(
            record, config.criteria, config.maneuvers, config.failure
        ),
    }


def derive_rows(
    delivered: Mapping[str, pd.DataFrame], config: Config, endpoints: Collection[str] = TIMED
) -> dict[str, pd.DataFrame]:
    """Derive the tables that the models of time and success need.

    Parameters
    ----------
    delivered
        The tables DELIVERED by name.
    config
        Criteria, maneuvers and the plan.
    endpoints
        Endpoints of spells besides the objective one.

    Returns
    -------
    dict
        findings, reasons_against, adjudications, spells, and attempts, which belong to the spells
        of the objective endpoint.
    """
    findings, reasons, adjudications = adjudicate(delivered, config)
    timed = tuple(dict.fromkeys(("objective", *endpoints)))
    tests, spells = time_spells(delivered, findings, adjudications, config, timed)
    episodes, treatments = delivered["episodes"], delivered["treatments"]
    objective = spells[spells["endpoint"].eq("objective")]
    attempts = list_attempts(
        episodes, treatments, tests, find_states(tests), objective, adjudications, config.maneuvers
    )
    return {
        "findings": findings,
        "reasons_against": reasons,
        "adjudications": adjudications,
        "spells": spells,
        "attempts": attempts,
    }


def adjudicate(
    delivered: Mapping[str, pd.DataFrame], config: Config
) -> tuple[Frame[Findings], Frame[ReasonsAgainst], Frame[Adjudications]]:
    """What the tests mean: findings, reasons against, and adjudications."""
    episodes, examinations, treatments, followups = (delivered[name] for name in DELIVERED[:4])
    findings = describe_tests(examinations, treatments, config.criteria)
    reasons = list_reasons(episodes, examinations, findings, treatments, config.criteria)
    verdicts = adjudicate_episodes(
        episodes, examinations, findings, treatments, followups, reasons, config.criteria
    )
    return findings, reasons, verdicts


def time_spells(
    delivered: Mapping[str, pd.DataFrame],
    findings: Frame[Findings],
    adjudications: Frame[Adjudications],
    config: Config,
    endpoints: Collection[str] = TIMED,
) -> tuple[pd.DataFrame, Frame[Spells]]:
    """The tests that decide on resolution, and the spells by `endpoints` that they bound."""
    episodes, examinations, treatments, followups, set_aside = (
        delivered[name] for name in DELIVERED
    )
    confirmation_day = config.study.resolution.confirmation_day
    tests = select_deciding_tests(examinations, findings, adjudications, config.criteria)
    tests["confirming"] = mark_confirming(tests, treatments, config.maneuvers, confirmation_day)
    of_every_canal = select_every_test(examinations, findings, adjudications, config.criteria)
    of_every_canal["confirming"] = mark_confirming(
        of_every_canal, treatments, config.maneuvers, confirmation_day
    )
    contacts = keep_until_reclassified(followups, adjudications)
    contacts = contacts.assign(after_attempt=pd.array([pd.NA] * len(contacts), dtype="Int64"))
    contacts["confirming"] = mark_confirming(
        contacts, treatments, config.maneuvers, confirmation_day
    )
    treated = pd.MultiIndex.from_frame(treatments[EPISODE].drop_duplicates())
    holes = set_aside[set_aside["table"].isin(DECIDING_TABLES) & set_aside["episode_id"].notna()]
    incomplete = pd.MultiIndex.from_frame(holes[EPISODE].drop_duplicates())
    return tests, measure_spells(
        episodes,
        tests,
        of_every_canal,
        contacts,
        treated,
        incomplete,
        config.study.resolution,
        endpoints,
    )
