"""What the tests after the first maneuver say about it: another ear, canal or arm, several of them,
or adherent debris."""

from functools import partial

import pandas as pd

from pipeline.adjudication.days import read_each_day
from pipeline.adjudication.maneuvers import read_variant_parts
from pipeline.adjudication.readings import join_sorted
from pipeline.adjudication.switches import DOWNBEAT, were_tested
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Examinations
from schemas.derived import Findings
from schemas.keys import EPISODE
from schemas.maneuver import Maneuver

ONLY_OTHER_EAR = {"right": {"left"}, "left": {"right"}}
TRUE_ARMS = {"long", "short"}


def compare_later_tests(
    failures: pd.DataFrame,
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    maneuvers: dict[str, Maneuver],
    criteria: Criteria,
) -> pd.DataFrame:
    """Compare what the tests after the first maneuver show with what was treated.

    Down-beating nystagmus on the day of the maneuver tells nothing: it is common right after a
    successful one, and passes (22 of 57, Oh EH et al. J Clin Neurol 2019;15:143-148).

    Parameters
    ----------
    failures
        First sessions with day, maneuver and side (what was given), and variants (what the first
        tests allow).
    examinations, findings
        Tests and what they show, row by row.
    maneuvers
        What each code of a maneuver is.
    criteria
        Criteria of variants.

    Returns
    -------
    pd.DataFrame
        site, episode_id, evidence, and the day of the tests.
    """
    ours = pd.MultiIndex.from_frame(examinations[EPISODE]).isin(
        pd.MultiIndex.from_frame(failures[EPISODE])
    )
    before = findings["before_treatment"].astype(bool)
    tested = join_sorted(findings[ours & before], "test")
    later = ours & ~before
    readings = read_each_day(examinations[later], findings[later], criteria)
    readings = readings.rename(
        columns={part: f"{part}_now" for part in ("variants", "canal", "side")}
    )
    compared_days = readings.merge(
        failures[[*EPISODE, "maneuver", "side", "variants", "day"]],
        on=EPISODE,
        suffixes=("", "_given"),
    )
    compared_days = compared_days[
        ~(
            compared_days["day"].eq(compared_days["day_given"])
            & compared_days["canal_now"].eq(DOWNBEAT)
        )
    ]
    compared_days = compared_days.join(tested.rename("tested"), on=EPISODE).fillna({"tested": ""})
    key = ["maneuver", "side", "tested", "variants", "variants_now", "canal_now", "side_now"]
    # days repeat one another: each comparison is made once
    questions = compared_days[key].drop_duplicates()
    compare = partial(compare_day, maneuvers=maneuvers, criteria=criteria)
    answers = [compare(*question) for question in questions.to_numpy()]
    answered = questions.assign(evidence=answers).explode("evidence").dropna(subset="evidence")
    compared = compared_days.merge(answered, on=key)[[*EPISODE, "evidence", "day"]]
    return pd.concat([compared, _find_adherence(examinations[later], findings[later])])


def compare_day(
    codes: str,
    treated: str,
    tested: str,
    first: str,
    now: str,
    canal: str,
    side: str,
    maneuvers: dict[str, Maneuver],
    criteria: Criteria,
) -> list[str]:
    """List the evidence of one day.

    A new canal whose tests had been done before is a switch, and not told here.

    Parameters
    ----------
    codes, treated
        Maneuvers that were given, separated by blanks, and to which ear.
    tested
        The tests before treatment, separated by blanks.
    first, now
        Variants that the first tests and those of the day allow.
    canal, side
        Of the day's reading.
    maneuvers
        What each code of a maneuver is.
    criteria
        Which tests are of which canal.

    Returns
    -------
    list of str
        Patterns of config.failure; none where the day tells nothing.
    """
    canals, sides, arms, _ = read_variant_parts(now)
    first_canals = read_variant_parts(first)[0]
    given = [maneuvers[code] for code in codes.split()]
    suited, reached = (
        {value for m in given for value in getattr(m, part)} for part in ("canals", "arms")
    )
    evidence = []
    if canal == "multiple" or side == "both":
        evidence.append("later_tests_several")
    if canals & suited and sides == ONLY_OTHER_EAR.get(treated):
        evidence.append("later_test_other_ear")
    if canals and canals <= suited and arms <= TRUE_ARMS and not arms & reached:
        evidence.append("later_test_other_arm")
    named = canals and first_canals and "unknown" not in canals | first_canals
    if named and not canals & first_canals and not were_tested(canals, tested, criteria):
        evidence.append("untested_canal_positive")
    return evidence


def _find_adherence(examinations: pd.DataFrame, findings: pd.DataFrame) -> pd.DataFrame:
    """Tests whose nystagmus lasts longer than that of free debris,
    or about as long without weakening on repetition."""
    lasting, unfatigued = (
        findings["duration_class"],
        examinations["fatigues"].eq("no").fillna(False),
    )
    shown = {
        "nystagmus_long": lasting.eq("long"),
        "borderline_without_fatigue": lasting.eq("borderline") & unfatigued.to_numpy(bool),
    }
    signs = [
        findings.loc[which & findings["nystagmus"].astype(bool), [*EPISODE, "day"]].assign(
            evidence=name
        )
        for name, which in shown.items()
    ]
    return pd.concat(signs)[[*EPISODE, "evidence", "day"]].drop_duplicates()
