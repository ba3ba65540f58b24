"""How the workflow's verdicts on the vignettes compare with what each must be read as."""

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.warehouse import open_warehouse

EXPECTED = Path(__file__).parent / "expected.csv"
KEY = ["site", "episode_id"]
UNTOLD = {"unknown", "uncertain", "not_applicable", "none", ""}  # one way or another: not told
LOCALISED = ("canal", "side", "arm", "mechanism")
# what an author who knew no code of ours called a reason, and the codes that it means
REASONS = {
    "technique": {"technique"},
    "wrong_side": {"wrong_side"},
    "wrong_canal": {"wrong_canal"},
    "wrong_arm": {"wrong_arm"},
    "adherent": {"adherent_debris"},
    "canal_switch": {"canal_switch", "reentry"},  # the author had one word for both
    "not_positional": {"not_positional"},
    "recurrence": {"recurrence_read_as_failure"},
    "residual": set(),  # dizziness that is not positional is no failure and has no reason
    "home_use": {"technique"},
    "none": set(),
}
SAYS_NOTHING = {"never_tested_again", "undetermined", "remission_anyway"}


@dataclass(frozen=True)
class Verdict:
    """What is wrong with one episode's verdict: names of what differs, nothing if it agrees."""

    site: str
    episode_id: str
    group: str
    disputed: bool
    expected: str
    found: str
    faults: tuple[str, ...]


def read_expected(path: Path = EXPECTED) -> pd.DataFrame:
    """What each vignette must be read as, a row each; sets are joined by `|`."""
    return pd.read_csv(path, dtype=str, keep_default_na=False)


def read_verdicts(warehouse: Path) -> pd.DataFrame:
    """The stored verdicts by site and episode, with the reasons for failure as of the day on which
    they could be known, a set each."""
    with open_warehouse(warehouse) as stored:
        verdicts = stored.read("adjudications").astype(object).set_index(KEY)
        told = stored.read("failure_reasons")
    told = told[told["view"].eq("at_the_time")]
    reasons = {key: frozenset(rows["reason"]) for key, rows in told.groupby(KEY)}
    # a case that a later day showed to be something else is set apart in the end
    verdicts["positional"] = verdicts["positional"].mask(
        verdicts["reclassified_day"].notna(), "probable_non_positional"
    )
    return verdicts.assign(reasons=[reasons.get(key, frozenset()) for key in verdicts.index])


def judge(verdicts: pd.DataFrame, expected: pd.DataFrame) -> list[Verdict]:
    """Compare verdicts, and reasons for failure, with what is expected."""
    judged = []
    for row in expected.to_dict("records"):
        key = row["site"], row["episode_id"]
        found = verdicts.loc[key]
        faults = (*_judge_verdict(row, found), *_judge_reasons(row, found["reasons"]))
        judged.append(
            Verdict(
                *key,
                row["group"],
                row["disputed"] == "yes",
                row["positional"],
                str(found["positional"]),
                faults,
            )
        )
    return judged


def _judge_verdict(row: dict, found: pd.Series) -> list[str]:
    """The parts of a verdict that are not among those expected; of a set of variants each must be
    expected. Certainty and place are asked of positional verdicts only."""
    if found["positional"] not in row["positional"].split("|"):
        return ["positional"]
    if found["positional"] != "yes":
        return []
    faults = ["certainty"] if found["certainty"] in row["certainty_not"].split("|") else []
    allowed = [variant.split("/") for variant in str(found["variants"]).split()]
    for place, part in enumerate(LOCALISED):
        expected = set(row[part].split("|"))
        told = {value for variant in allowed for value in variant[place].split("_or_")} or {""}
        if found["canal"] == "multiple":  # several at once, not one of several
            told = {str(found[part])}
        if part == "side" and told == {"left", "right"} and "both" in expected:
            continue
        if "any" not in expected and not all(_agrees(value, expected) for value in told):
            faults.append(part)
    return faults


def _agrees(found: str, expected: set[str]) -> bool:
    return found in expected or (found in UNTOLD and bool(expected & UNTOLD))


def _judge_reasons(row: dict, found: frozenset[str]) -> list[str]:
    """Whether the reason that must be given is there, and none that must not."""
    faults = []
    must = [REASONS[name] for name in row["failure_reason_must"].split("|") if name]
    none_is_right = any(not codes for codes in must)
    if (
        must
        and not any(codes & found for codes in must)
        and not (none_is_right and found <= SAYS_NOTHING)
    ):
        faults.append("reason_missing")
    must_not = [REASONS[name] for name in row["failure_reason_must_not"].split("|") if name]
    if any(codes & found for codes in must_not):
        faults.append("reason_wrong")
    return faults


@dataclass(frozen=True)
class Agreement:
    """How many vignettes agree, out of how many; of those that are not disputed.

    Attributes
    ----------
    agree
        Those whose verdict and reasons are as expected, and all.
    let_in
        Those that are not positional, of which some are called so, and all.
    kept
        Those that are positional and are called so, and all.
    """

    agree: tuple[int, int]
    let_in: tuple[int, int]
    kept: tuple[int, int]


def sum_up(judged: list[Verdict]) -> Agreement:
    """Count the vignettes that are not disputed."""
    clear = [each for each in judged if not each.disputed]
    mimics = [each for each in clear if "yes" not in each.expected.split("|")]
    positional = [each for each in clear if each.expected == "yes"]
    return Agreement(
        (sum(not each.faults for each in clear), len(clear)),
        (sum(each.found == "yes" for each in mimics), len(mimics)),
        (sum(each.found == "yes" for each in positional), len(positional)),
    )
