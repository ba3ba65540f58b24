"""One verdict for each episode: positional vertigo of a variant, probably something else,
or undetermined."""

import numpy as np
import pandas as pd

from pipeline.adjudication.findings import join_texts
from pipeline.adjudication.flags import find_other_causes, raise_flags
from pipeline.adjudication.readings import join_sorted, read_variants
from pipeline.adjudication.rolls import pair_rolls
from pipeline.adjudication.variants import match_variants
from schemas.columns import Frame
from schemas.criteria import Criteria
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings
from schemas.keys import EPISODE

# strong or moderate flags that outweigh criteria which are not firm (this project's proposal)
ENOUGH_FLAGS = 2


def adjudicate_episodes(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    criteria: Criteria,
) -> Frame[Adjudications]:
    """Adjudicate each episode by what was known when the first attempt was given.

    Only tests before treatment enter, and another diagnosis of the site only if it was made by
    then. An untreated episode has no such moment: everything counts. A positional case is
    reclassified on the day on which the site ended its follow-up as such, or made another diagnosis
    later: a central one, or any where no firm criteria were met.

    Parameters
    ----------
    episodes, examinations, treatments, followups
        The delivered tables.
    findings
        What each examination shows, row by row.
    criteria
        Criteria, flags and other causes.

    Returns
    -------
    Frame[Adjudications]
        One verdict for each episode.
    """
    examined = examinations.assign(
        **{c: findings[c] for c in findings.columns.difference(examinations.columns)}
    )
    before = examined[examined["before_treatment"]]
    facts = episodes[[*EPISODE, "other_diagnosis", "other_diagnosis_day", "recorded_canal"]]
    pairs = pair_rolls(before, across_days=True)
    facts = facts.join(read_variants(match_variants(before, pairs, criteria)), on=EPISODE)
    raised = raise_flags(episodes, before, pairs, criteria)
    for weight in ("decisive", "strong", "moderate"):
        count = raised[raised["weight"].eq(weight)].groupby(EPISODE).size().rename(weight)
        facts = facts.join(count, on=EPISODE).fillna({weight: 0})
    causes = find_other_causes(episodes, before, pairs, criteria)
    facts = facts.join(join_sorted(raised, "flag"), on=EPISODE).join(
        join_sorted(causes, "cause"), on=EPISODE
    )
    facts = facts.join(
        before.groupby(EPISODE).agg(seen=("positive", "any"), first_test_day=("day", "min")),
        on=EPISODE,
    )
    facts = facts.join(
        treatments.groupby(EPISODE)["day"].min().rename("first_attempt_day"), on=EPISODE
    )
    ended = (
        followups[followups["end_of_followup"].eq("reclassified")]
        .groupby(EPISODE)["day"]
        .min()
        .rename("ended_day")
    )
    return Adjudications.cast(_state_verdicts(facts.join(ended, on=EPISODE)))


def _state_verdicts(facts: pd.DataFrame) -> pd.DataFrame:
    """Precedence (this project's proposal): a decisive flag sets the case apart even if a criterion
    is met; else firm criteria make it positional; else another cause by its criteria, another
    diagnosis of the site, no canal recorded, or two strong or moderate flags set it apart; else
    weaker criteria make it positional; else it is undetermined, unless the site holds it for
    positional and no test is positive any more.
    """
    named = ~facts["other_diagnosis"].isin(["none", "unknown"])
    later = (named & (facts["other_diagnosis_day"] > facts["first_attempt_day"])).fillna(False)
    elsewhere, no_canal = named & ~later, facts["recorded_canal"].eq("none")
    flagged = facts["decisive"].gt(0) | (elsewhere & facts["other_diagnosis"].eq("central"))
    firm = facts["firm"].eq(True)
    against = (
        facts["cause"].notna()
        | elsewhere
        | no_canal
        | (facts["strong"] + facts["moderate"]).ge(ENOUGH_FLAGS)
    )
    quiet = ~facts["seen"].fillna(False) & facts["first_test_day"].notna()
    resolved = quiet & facts["recorded_canal"].isin(
        ["posterior", "lateral", "anterior", "multiple"]
    )
    tests = [flagged, firm, against, facts["certainty"].notna(), resolved]
    kind = np.select(tests, ["apart", "criteria", "apart", "criteria", "resolved"], "undetermined")
    positional = {"apart": "probable_non_positional", "criteria": "yes", "resolved": "yes"}
    without_criteria = np.select(
        [kind == "resolved", facts["seen"].fillna(False)], ["resolved_before", "possible"], "none"
    )
    by_findings = facts[["flag", "cause"]].notna().any(axis=1)
    known_day = facts[["first_test_day", "other_diagnosis_day"]].max(axis=1)
    apart_day = facts["first_test_day"].where(by_findings | ~elsewhere, known_day)
    texts = {
        "variants": "",
        "criteria": "",
        "canal": "unknown",
        "side": "unknown",
        "arm": "unknown",
        "mechanism": "unknown",
        "side_signs": "",
    }
    verdicts = facts.assign(
        positional=pd.Series(kind, index=facts.index).map(positional).fillna("undetermined"),
        certainty=facts["certainty"].fillna(pd.Series(without_criteria, index=facts.index)),
        site_recognised=named | no_canal,
        known_day=np.select(
            [kind == "apart", kind == "undetermined"],
            [apart_day, pd.NA],
            facts["met_day"].fillna(facts["first_test_day"]),
        ),
        reclassified_day=_find_reclassification(facts, later, firm).where(
            np.isin(kind, ["criteria", "resolved"])
        ),
        reasons_against=_join_reasons(facts, elsewhere, no_canal),
    )
    return verdicts.fillna(texts)


def _find_reclassification(facts: pd.DataFrame, later: pd.Series, firm: pd.Series) -> pd.Series:
    """The day after the first attempt on which the site ended follow-up as reclassified, or made a
    diagnosis that overturns: a central one, or any where no firm criteria were met (migraine,
    neuritis and Ménière's disease commonly coexist: from memory)."""
    overturned = later & (facts["other_diagnosis"].eq("central") | ~firm)
    days = pd.concat(
        [facts["other_diagnosis_day"].where(overturned), facts["ended_day"]], axis=1
    ).min(axis=1)
    return days.where((days > facts["first_attempt_day"]).fillna(False))


def _join_reasons(facts: pd.DataFrame, elsewhere: pd.Series, no_canal: pd.Series) -> pd.Series:
    """Flags, other causes by their criteria, and what the site itself recorded, in one text."""
    diagnosis = ("other_diagnosis=" + facts["other_diagnosis"]).where(elsewhere)
    unnamed = pd.Series("no_canal_recorded", index=facts.index, dtype="string").where(no_canal)
    return join_texts([facts["flag"], facts["cause"], diagnosis, unnamed])
