"""Receiving one delivery: gate, reading, checking. Every handed-in row ends as stored, set aside, or refused with the whole delivery."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.intake import across
from pipeline.intake.changes import compare_deliveries
from pipeline.intake.check import check_cells, require_checks
from pipeline.intake.gate import find_identifiers
from pipeline.intake.handed import Handed
from pipeline.intake.keep import NOTHING, Checked, count_rows, describe_delivery, keep_apart, seal, store_rows
from pipeline.intake.parse import match_columns
from pipeline.intake.problem import DESCRIBED, Problem, is_refused, list_problems
from pipeline.intake.read import read_delivery
from pipeline.intake.submission import read_submission
from pipeline.intake.totals import COUNTS, find_differing_totals
from pipeline.intake.withdrawals import leave_out, list_their_episodes, read_withdrawn
from schemas.delivery import TABLES
from schemas.site_map import SiteMap
from schemas.store import KEPT
from schemas.study import Config


@dataclass(frozen=True)
class Received:
    """What became of one delivery: `tables` by name are the stored rows of schemas.delivery.TABLES, each behind its provenance, and
    those of schemas.store.KEPT. A refused delivery has no stored and no set-aside rows. `compared_with` is the number of the delivery
    that its changes are counted from."""

    site: str
    delivery: str
    compared_with: str | None
    tables: dict[str, pd.DataFrame]

    @property
    def accepted(self) -> bool:
        """Whether its rows are stored."""
        return bool(self.tables["deliveries"]["status"].eq("accepted").all())


def receive_delivery(folder: Path, config: Config, previous: Received | None = None) -> Received:
    """Receive the delivery in `folder` (.../<site>/<delivery>); `previous` is the last accepted one of the same site.

    Bad data end in problems. Raises ChecksOff where the environment switched the checks off, ProgramFault where a row went astray.
    """
    require_checks()
    site, delivery = folder.parent.name, folder.name
    own = config.sites.get(site, SiteMap())
    handed = read_delivery(folder, own)
    withdrawn, unclear = read_withdrawn(folder.parent)
    fields, checked, gone = {}, NOTHING, {}
    problems = [*find_identifiers(handed, config.maneuvers), *handed.problems, *unclear]
    if not is_refused(problems):
        fields, found = read_submission(handed.sheet("submission"), site, delivery)
        texts, header = match_tables(handed)
        if withdrawn and not is_refused(header):
            texts, gone = leave_out(texts, withdrawn, list_their_episodes(folder.parent, withdrawn, own))
            fields |= dict.fromkeys(COUNTS) if any(gone.values()) else {}  # the site counted them before they withdrew
        header = [problem for problem in header if problem.row not in gone.get(problem.table, ())]
        problems += found + header
        if not is_refused(header):  # whatever the submission table lacks: all that is to be mended is told at once
            judged = check_tables(texts, header, fields, config)
            problems += judged.problems
            checked = NOTHING if is_refused(problems) else judged
    accepted = not is_refused(problems)
    tables = store_rows(handed, checked) | {"set_aside": keep_apart(checked)}
    tables |= {
        "deliveries": describe_delivery(handed, fields, accepted),
        "row_counts": count_rows(handed, tables, gone, accepted),
        "problems": list_problems(problems, checked.texts, checked.rows),
        "changes": KEPT["changes"].empty(),
    }
    compared_with = previous.delivery if accepted and previous else None
    if compared_with:
        tables["changes"] = compare_deliveries(previous.tables, tables).assign(previous_delivery=compared_with)
    sealed = {name: seal(name, rows, site, delivery) for name, rows in tables.items()}
    return Received(site, delivery, compared_with, sealed)


def match_tables(handed: Handed) -> tuple[dict[str, pd.DataFrame], list[Problem]]:
    """The cells of each table by the dictionary's columns, and what is wrong with the headers."""
    matched = {name: match_columns(handed.sheet(name), DESCRIBED[name]) for name in TABLES}
    return {name: texts for name, (texts, _) in matched.items()}, [p for _, found in matched.values() for p in found]


def check_tables(texts: dict[str, pd.DataFrame], header: list[Problem], fields: dict, config: Config) -> Checked:
    """Judge all rows: each by itself, then against the others. The problems found while matching the header are in `header`."""
    rows, problems = {}, []
    for name, model in TABLES.items():
        rows[name], found = check_cells(name, model, texts[name])
        problems += found + across.find_repeats(name, model, rows[name])
    problems += across.find_broken_sequences(rows["treatments"], rows["episodes"])
    problems += across.find_unknown_maneuvers(texts["treatments"]["maneuver"], config.maneuvers)
    problems += across.find_unsided_maneuvers(rows["treatments"], config.maneuvers)
    problems += across.find_differing_patients(rows["episodes"])
    problems += across.find_years_outside(rows["episodes"], fields.get("first_year"), fields.get("last_year"))
    problems += find_differing_totals(fields, rows)
    gone = Checked(rows, texts, header + problems).set_aside("episodes")
    for name in list(TABLES)[1:]:
        problems += across.find_orphans(name, rows[name], rows["episodes"], gone)
    return Checked(rows, texts, header + problems)
