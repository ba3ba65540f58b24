"""Receiving one delivery: gate, reading, checking.

Every handed-in row ends as stored, set aside, or refused with the whole delivery.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.intake import across
from pipeline.intake.causes import fold
from pipeline.intake.changes import compare_deliveries
from pipeline.intake.check import Known, check_cells, require_checks
from pipeline.intake.gate import SET_APART, find_identifiers
from pipeline.intake.handed import Handed
from pipeline.intake.keep import (
    NOTHING,
    Checked,
    count_rows,
    describe_delivery,
    keep_apart,
    list_planned_days,
    seal,
    store_rows,
)
from pipeline.intake.parse import match_columns
from pipeline.intake.plausible import find_implausible
from pipeline.intake.problem import DESCRIBED, PSEUDONYMS, Problem, is_refused, list_problems
from pipeline.intake.progress import Notify, silent
from pipeline.intake.read import UNOPENED, read_delivery
from pipeline.intake.recognised import NO_RECORDS, find_no_records, find_words_for_nothing
from pipeline.intake.submission import read_submission
from pipeline.intake.totals import COUNTS, find_differing_totals
from pipeline.intake.withdrawals import Withdrawals, leave_out, read_withdrawals
from schemas.delivery import TABLES
from schemas.rules import GATE_RULES
from schemas.site_map import SiteMap
from schemas.store import KEPT
from schemas.study import Config

MISSING = ("column_missing", "column_misspelt")
# rows cannot be compared
UNREAD = frozenset(("table_missing", *MISSING, *UNOPENED))


@dataclass(frozen=True)
class Received:
    """What became of one delivery.

    Attributes
    ----------
    site, delivery
        Whose it is, and its number.
    compared_with
        The number of the delivery that its changes are counted from.
    tables
        By name the stored rows of schemas.delivery.TABLES, each behind its provenance, and those of
        schemas.store.KEPT. A refused delivery has no stored and no set-aside rows.
    """

    site: str
    delivery: str
    compared_with: str | None
    tables: dict[str, pd.DataFrame]

    @property
    def accepted(self) -> bool:
        """Whether its rows are stored."""
        return bool(self.tables["deliveries"]["status"].eq("accepted").all())


def receive_delivery(
    folder: Path,
    config: Config,
    previous: Received | None = None,
    notify: Notify = silent,
    handed: Handed | None = None,
    withdrawals: Withdrawals | None = None,
) -> Received:
    """Receive a delivery.

    Bad data end in problems. Whatever refuses a delivery, its rows are judged as far as they can be
    read, so that one check tells all that is to be mended; none of them is kept.

    Parameters
    ----------
    folder
        .../<site>/<delivery>.
    config
        The plan.
    previous
        The last accepted delivery of the same site.
    notify
        Hears what is done.
    handed
        What was read of it by its site's own names, if it was read before.
    withdrawals
        What its site's list says, if it was read before.

    Returns
    -------
    Received
        Its tables as they are kept.

    Raises
    ------
    ChecksOff
        Where the environment switched the checks off.
    ProgramFault
        Where a row went astray.
    """
    require_checks()
    site, delivery = folder.parent.name, folder.name
    site_map = config.sites.get(site, SiteMap())
    handed = handed or read_delivery(folder, site_map, notify)
    withdrawn = withdrawals or read_withdrawals(folder.parent, site_map)
    notify("looking for identifiers")
    problems = [*search(handed, site_map), *handed.problems, *withdrawn.problems]
    fields: dict[str, Any] = {}
    texts: dict[str, pd.DataFrame] = {}
    gone: dict[str, set[int]] = {}
    judged = NOTHING
    if handed.sheets:
        submission = handed.sheet("submission")
        fields, faults = read_submission(submission, site, delivery) if submission else ({}, [])
        hit = {p.row for p in problems if p.table == "submission" and p.rule in GATE_RULES}
        faults = [p for p in faults if p.row is None or p.row not in hit]
        texts, header = match_tables(handed)
        if withdrawn.patients:
            texts, gone = leave_out(texts, withdrawn.patients, withdrawn.episodes)
            # the site counted them before they withdrew
            fields |= dict.fromkeys(COUNTS) if any(gone.values()) else {}
        problems = [
            p
            for p in problems + faults + header
            if p.severity == "refuse" or p.row not in gone.get(p.table or "", ())
        ]
        judged = check_tables(texts, problems, fields, config, notify)
        notify("looking at the delivery as a whole")
        problems = judged.problems + doubt(judged, previous)
    problems = fold(problems, {sheet.table: sheet.header_row for sheet in handed.sheets})
    judged = replace(judged, problems=problems)
    accepted = not is_refused(problems)
    checked = judged if accepted else NOTHING
    tables = store_rows(handed, checked) | {"set_aside": keep_apart(checked)}
    tables |= {
        "deliveries": describe_delivery(handed, fields, accepted),
        "planned_days": list_planned_days(fields if accepted else {}),
        "row_counts": count_rows(handed, tables, gone, accepted),
        "problems": list_problems(problems, checked.texts, checked.rows),
        "changes": KEPT["changes"].empty(),
    }
    compared_with = previous.delivery if accepted and previous else None
    if previous and compared_with:
        tables["changes"] = compare_deliveries(previous.tables, tables).assign(
            previous_delivery=compared_with
        )
    judged = checked = NOTHING  # memory that is needed below
    texts = {}
    sealed = {name: seal(name, tables.pop(name), site, delivery) for name in list(tables)}
    return Received(site, delivery, compared_with, sealed)


def doubt(judged: Checked, previous: Received | None) -> list[Problem]:
    """What cannot be meant so of the delivery as a whole; nothing where tables could not be read or
    rows belong to nobody."""
    rules = {problem.rule for problem in judged.problems}
    missing = {
        problem.closest or problem.column for problem in judged.problems if problem.rule in MISSING
    }
    if not UNREAD.isdisjoint(rules.difference(MISSING)) or not missing.isdisjoint(PSEUDONYMS):
        return []
    # a column that is not there would seem to have changed in all episodes
    if previous is None or missing:
        return find_implausible(judged.rows)
    return find_implausible(judged.rows, previous.tables, previous.delivery)


def search(handed: Handed, site_map: SiteMap) -> list[Problem]:
    """What the gate finds, and rows that are no records."""
    no_records = {
        sheet.table: rules for sheet in handed.sheets if (rules := find_no_records(sheet))
    }
    problems = [
        Problem(rule, table, row)
        for table, rows in no_records.items()
        for row, rule in rows.items()
    ]
    return find_identifiers(handed, no_records, site_map.pseudonyms) + problems


def match_tables(handed: Handed) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """The cells of each table by the dictionary's columns, none of a table that is not there,
    and what is wrong with the headers."""
    texts, problems = (
        {name: pd.DataFrame(columns=list(DESCRIBED[name]), dtype=object) for name in TABLES},
        [],
    )
    for name in TABLES:
        if sheet := handed.sheet(name):
            texts[name], faults = match_columns(sheet, DESCRIBED[name])
            problems += faults
    return texts, problems


def check_tables(
    texts: dict[str, pd.DataFrame],
    problems: list[Problem],
    fields: Mapping[str, Any],
    config: Config,
    notify: Notify = silent,
) -> Checked:
    """Judge all rows: each by itself, then against the others.

    Parameters
    ----------
    texts
        By table the cells by the dictionary's columns.
    problems
        Those that were found before.
    fields
        What the submission table says, typed.
    config
        The plan, with its list of maneuvers.
    notify
        Hears what is done.

    Returns
    -------
    Checked
        Typed rows, their texts, and all problems.
    """
    rows, problems, known = {}, list(problems), {}
    for name, model in TABLES.items():
        notify(f"checking {name}, {len(texts[name]):,} rows")
        codes = {
            column: tuple(described.codes or ()) for column, described in DESCRIBED[name].items()
        }
        texts = texts | {
            name: leave_apart(name, texts[name], problems)
        }  # rows that are no records say nothing of cells
        problems += find_words_for_nothing(
            name, texts[name], codes | {"maneuver": tuple(config.maneuvers)}
        )
        texts = texts | {name: leave_apart(name, texts[name], problems)}
        known[name] = collect_known(name, texts[name], problems)
        rows[name], faults = check_cells(name, model, texts[name], known[name])
        problems += faults + across.find_repeats(name, model, rows[name])
    problems += across.find_broken_sequences(rows["treatments"], rows["episodes"])
    problems += across.find_unknown_maneuvers(texts["treatments"]["maneuver"], config.maneuvers)
    problems += across.find_unsided_maneuvers(rows["treatments"], config.maneuvers)
    problems += across.find_differing_patients(rows["episodes"])
    problems += across.find_differing_reasons(rows["examinations"])
    problems += across.find_years_outside(
        rows["episodes"], fields.get("first_year"), fields.get("last_year")
    )
    if UNREAD.isdisjoint(problem.rule for problem in problems):
        problems += find_differing_totals(fields, rows)
        gone = Checked(rows, texts, problems).set_aside("episodes")
        for name in list(TABLES)[1:]:
            problems += across.find_orphans(name, rows[name], rows["episodes"], gone)
    return Checked(rows, texts, problems)


def leave_apart(table: str, texts: pd.DataFrame, problems: list[Problem]) -> pd.DataFrame:
    """The cells without those that are read no further: rows that are no records,
    and what may identify somebody or says nothing."""
    whole_rows = [p.row for p in problems if p.table == table and p.rule in NO_RECORDS]
    single = [
        (p.row, p.column)
        for p in problems
        if p.table == table and p.rule in (*SET_APART, "word_for_nothing")
    ]
    if whole_rows or single:
        texts = texts.copy()
        texts.loc[whole_rows] = None
        for row, column in single:
            texts.at[row, column] = None
    return texts


def collect_known(table: str, texts: pd.DataFrame, problems: list[Problem]) -> Known:
    """What was found of a table before its cells are judged."""
    of_table = [problem for problem in problems if problem.table == table]
    missing = {p.closest or p.column for p in of_table if p.rule in MISSING}
    columns = frozenset(column for column in missing if column and texts[column].isna().all())
    blamed = [
        p for p in of_table if p.severity == "refuse" or p.rule in (*SET_APART, "word_for_nothing")
    ]
    cells = frozenset((p.row, p.column) for p in blamed)
    return Known(cells, frozenset(p.row for p in of_table if p.rule in NO_RECORDS), columns)
