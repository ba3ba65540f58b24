"""The whole page of a site as one plain dict: what it is, its numbers beside the pool's, its lists,
and what to record better."""

import pandas as pd

from pipeline.analyses.description.agreement import PARTS, list_disagreements, pair_diagnoses
from pipeline.reports.site.beside import compare_measures, say_size
from pipeline.reports.site.cells import list_own_cells
from pipeline.reports.site.missing import find_missing
from pipeline.reports.site.planned import WITHIN, list_planned
from pipeline.reports.site.records import SiteRecords
from pipeline.reports.wording import BLANK, agree, count_words, join_words, name_value
from schemas import codes
from schemas.demonstration import INVENTED
from schemas.keys import EPISODE_ID
from schemas.study import Config

LINES_SHOWN = 40
PART_NAMES = {"canal": "canal", "side": "side", "arm": "arm", "mechanism": "debris"}


def compose_site_page(
    records: SiteRecords,
    estimates: dict[str, pd.DataFrame],
    config: Config,
    *,
    invented: bool = False,
) -> dict:
    """Compose what `site.html.j2` shows.

    Parameters
    ----------
    records
        The rows of the site.
    estimates
        Disclosed ones by analysis.
    config
        The plan.
    invented
        Whether it is the demonstration pool.

    Returns
    -------
    dict
        The content of the page.
    """
    delivery = records.current_delivery
    notice = INVENTED if invented else ""
    head = {"site": records.site, "delivery": delivery, "shown": LINES_SHOWN, "invented": notice}
    if delivery is None:
        return head | {
            "answer": "No delivery of this site has been accepted yet, so there is nothing to show."
        }
    missing = find_missing(records)
    aside, differing, apart = (
        list_problems(records),
        list_differing(records, config),
        list_apart(records, config),
    )
    return head | {
        "answer": say_answer(records, len(differing), len(apart), missing),
        "measures": compare_measures(records, estimates, config),
        "variants": list_own_cells(records, estimates, config),
        "planned": list_planned(records),
        "within": WITHIN,
        "missing": missing,
        "aside": aside,
        "differing": differing,
        "apart": apart,
    }


def say_answer(records: SiteRecords, differing: int, apart: int, missing: list[dict]) -> str:
    """The sentence that matters."""
    sentences = [f"{say_size(records)} {agree(len(records['episodes']), 'is', 'are')} in the pool."]
    if apart:
        sentences.append(
            f"{count_words(apart, 'episode')} {agree(apart, 'is', 'are')} probably not positional "
            "vertigo."
        )
    if differing:
        sentences.append(
            f"In {count_words(differing, 'episode')} your diagnosis differs from what the "
            "recorded tests say."
        )
    if missing:
        first = missing[0]
        sentences.append(
            f"The most frequent gap: {first['open'][0].lower()}{first['open'][1:]} "
            f"({count_words(first['episodes'], 'episode')})."
        )
    return " ".join(sentences)


def list_problems(records: SiteRecords) -> list[dict]:
    """Rows of the current delivery that were set aside, by what is wrong: how many, what is wrong,
    how to mend it."""
    problems = records["problems"]
    open_problems = problems[
        problems["delivery"].eq(records.current_delivery) & problems["severity"].eq("set_aside")
    ]
    groups = [
        {
            "message": message,
            "how_to_fix": fix,
            "rows": len(alike[["table", "row"]].drop_duplicates()),
        }
        for (message, fix), alike in open_problems.groupby(["message", "how_to_fix"], sort=False)
    ]
    return sorted(groups, key=lambda group: -group["rows"])


def list_differing(records: SiteRecords, config: Config) -> list[dict]:
    """Episodes whose recorded variant differs from the tests in a part that both name: pseudonym,
    recorded, read."""
    pairs = list_disagreements(pair_diagnoses(records["episodes"], records["adjudications"]))
    lines = []
    for row in pairs.to_dict("records"):
        parts = [p for p, values in PARTS.items() if _differ(row[p], row[f"recorded_{p}"], values)]
        lines.append(
            {
                "episode": row[EPISODE_ID],
                "recorded": join_words(name_value(p, row[f"recorded_{p}"], config) for p in parts),
                "read": join_words(name_value(p, row[p], config) for p in parts),
                "parts": join_words(PART_NAMES[p] for p in parts),
            }
        )
    return lines


def list_apart(records: SiteRecords, config: Config) -> list[dict]:
    """Episodes that are probably not positional: pseudonym, why, from which day it could be known,
    whether the site saw it, what was done, and which answers (columns) alone would bring it
    back."""
    verdicts = records["adjudications"]
    apart = verdicts[verdicts["positional"].eq("probable_non_positional")].sort_values(EPISODE_ID)
    sessions = records["attempts"].groupby(EPISODE_ID).size()
    turning = records["turning_points"].groupby(EPISODE_ID)["column"].agg(list)
    return [
        {
            "episode": row.episode_id,
            "why": "; ".join(
                _name_reason(reason, config) for reason in row.reasons_against.split()
            ),
            "day": "" if pd.isna(row.known_day) else f"day{BLANK}{row.known_day}",
            "recognised": "no" if pd.isna(row.recognised_day) else "yes",
            "sessions": int(sessions.get(row.episode_id, 0)),
            "turns": turning.get(row.episode_id, []),
        }
        for row in apart.itertuples(index=False)
    ]


def _differ(read: object, recorded: object, values: tuple[str, ...]) -> bool:
    return read in values and recorded in values and read != recorded


def _name_reason(reason: str, config: Config) -> str:
    if reason.startswith("other_diagnosis="):
        diagnosis = reason.removeprefix("other_diagnosis=")
        return f"you recorded: {codes.OTHER_DIAGNOSIS.get(diagnosis, diagnosis)}"
    return name_value("reason", reason, config)
