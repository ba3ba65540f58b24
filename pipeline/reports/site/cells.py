"""The site's own first sessions by variant and maneuver, beside the pool's, and what of them
counts."""

import pandas as pd

from pipeline.analyses.cells import NO_FAMILY, list_cells
from pipeline.reports.readings import Reading, read_estimates
from pipeline.reports.site.beside import HIDDEN, LEAST_OTHERS
from pipeline.reports.site.records import SiteRecords
from pipeline.reports.wording import (
    begin_sentence,
    count_words,
    name_maneuver,
    name_value,
    show_share,
)
from schemas.study import Config


def list_own_cells(
    records: SiteRecords, estimates: dict[str, pd.DataFrame], config: Config
) -> list[dict]:
    """List the variants that the site treated, each with its first maneuvers.

    Parameters
    ----------
    records
        The rows of the site.
    estimates
        Disclosed ones by analysis.
    config
        The plan.

    Returns
    -------
    list[dict]
        By variant its name, what its records would need in order to count, and `rows`: maneuver,
        how many first sessions, how many of them were tested next, how many of these tests were
        negative, and the pool's share of negative ones.
    """
    study = config.study
    variants = {
        name: study.variants[name]
        for name in study.first_choice.variants
        if not study.variants[name].is_circular
    }
    cells = list_cells(records["adjudications"], records["attempts"], variants, config.maneuvers)
    pool = read_estimates(
        estimates, "first_choice", "positional, first session", study.resolution.primary
    )
    return [
        {
            "name": begin_sentence(name_value("variant", name, config)),
            "needs": _say_needs(members),
            "rows": [
                {
                    "name": _name_family(family, config),
                    "sessions": len(cell),
                    "tested": int(cell["tested"].sum()),
                    "negative": int(cell["negative"].fillna(False).sum()),
                    "pool": _say_pool(
                        pool[f"variant={name},family={family}", "first_test_negative"]
                    ),
                }
                for family, cell in sorted(
                    members.groupby("family"), key=lambda group: (-len(group[1]), group[0])
                )
            ],
        }
        for name, members in cells.groupby("variant", sort=False)
    ]


def _say_needs(members: pd.DataFrame) -> str:
    """Why some first sessions of a variant count in no answer; empty if all do."""
    unseen, mixed = int((~members["tested"]).sum()), int(members["family"].eq(NO_FAMILY).sum())
    clauses = []
    if unseen:
        clauses.append(
            f"{count_words(unseen, 'first session')} had no test before the next one or the end of "
            "the record: a test on the planned day would let it count"
        )
    if mixed:
        clauses.append(
            f"{count_words(mixed, 'first session')} had maneuvers of several kinds, or one that "
            "the list does not have"
        )
    return f"{begin_sentence('; '.join(clauses))}." if clauses else ""


def _name_family(family: str, config: Config) -> str:
    return "Several, or another" if family == NO_FAMILY else name_maneuver(family, config)


def _say_pool(reading: Reading) -> str:
    """The pool's share, if enough other sites are in it."""
    if not reading.usable or (reading.n_sites or 0) - 1 < LEAST_OTHERS:
        return HIDDEN
    return show_share(reading)
