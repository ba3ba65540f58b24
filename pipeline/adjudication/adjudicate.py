"""One verdict for each episode: positional vertigo of a variant, probably something else,
or undetermined."""

import numpy as np
import pandas as pd

from pipeline.adjudication.flags import have_resolved_history
from pipeline.adjudication.readings import read_variants
from pipeline.adjudication.reasons import (
    date_recognition,
    find_first_day,
    find_later_diagnoses,
    is_named,
    join_findings,
)
from pipeline.adjudication.rolls import pair_rolls
from pipeline.adjudication.variants import match_variants
from schemas.columns import Frame
from schemas.criteria import Criteria, OtherCause
from schemas.delivery import Episodes, Examinations, Followups, Treatments
from schemas.derived import Adjudications, Findings, ReasonsAgainst
from schemas.keys import EPISODE

# strong or moderate flags that outweigh criteria which are not firm (this project's proposal)
ENOUGH_FLAGS = 2
WEIGHED = ("decisive", "strong", "moderate", "flags", "seen_cause", "told_cause", "alike")
NOTHING_AGAINST = {
    **dict.fromkeys(WEIGHED, 0),
    "reasons_against": "",
}


def adjudicate_episodes(
    episodes: Frame[Episodes],
    examinations: Frame[Examinations],
    findings: Frame[Findings],
    treatments: Frame[Treatments],
    followups: Frame[Followups],
    reasons: Frame[ReasonsAgainst],
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
    reasons
        What speaks for another cause, by reasons.list_reasons.
    criteria
        Criteria, flags and other causes.

    Returns
    -------
    Frame[Adjudications]
        One verdict for each episode.
    """
    examined = join_findings(examinations, findings)
    before = examined[examined["before_treatment"]]
    facts = episodes[[*EPISODE, "other_diagnosis", "other_diagnosis_day", "recorded_canal"]]
    facts = facts.assign(typical=have_resolved_history(episodes, before, criteria.resolved_history))
    pairs = pair_rolls(before, across_days=True)
    facts = facts.join(read_variants(match_variants(before, pairs, criteria)), on=EPISODE)
    facts = facts.join(_weigh_reasons(reasons, criteria), on=EPISODE).fillna(NOTHING_AGAINST)
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
    facts = facts.join(ended, on=EPISODE)
    facts["recognised_day"] = date_recognition(
        episodes, find_first_day(episodes, before), facts["ended_day"]
    )
    facts["later"] = find_later_diagnoses(episodes, treatments)
    return Adjudications.cast(_state_verdicts(facts))


def _weigh_reasons(reasons: Frame[ReasonsAgainst], criteria: Criteria) -> pd.DataFrame:
    """By episode: its reasons in one text, how many flags of each weight, and other causes: those
    that tests show, those that only answers tell, and those that look alike."""
    flags = reasons["reason"].map({name: flag.weight for name, flag in criteria.flags.items()})
    kinds = reasons["reason"].map(
        {name: _weigh_cause(cause) for name, cause in criteria.other_causes.items()}
    )
    weighed = reasons[EPISODE].assign(
        **{weight: flags.eq(weight) for weight in ("strong", "moderate")},
        **{kind: kinds.eq(kind) for kind in ("seen_cause", "told_cause", "alike")},
        decisive=flags.eq("decisive") | kinds.eq("decisive"),
        flags=flags.notna(),
    )
    texts = reasons.groupby(EPISODE)["reason"].agg(" ".join).astype("string")
    return weighed.groupby(EPISODE).sum().assign(reasons_against=texts)


def _weigh_cause(cause: OtherCause) -> str:
    """What another cause counts as, one of WEIGHED."""
    if cause.undecided:
        return "alike"
    if cause.diagnosis == "central":
        return "decisive"
    return "told_cause" if cause.rests_on_answers else "seen_cause"


def _state_verdicts(facts: pd.DataFrame) -> pd.DataFrame:
    """Precedence (this project's proposal): a decisive flag, a central pattern or a central
    diagnosis sets the case apart even if a criterion is met; else, where tests fit another cause
    alike, a further cause that they show or another diagnosis of the site sets it apart, and
    without these it is undetermined; else firm criteria make it positional; else another cause that
    tests show, another diagnosis of the site, no canal recorded, or two strong or moderate flags
    set it apart, and so does a cause that only answers tell, where no nystagmus is as described;
    else weaker criteria make it positional; else it is undetermined, unless no test is positive any
    more and the site holds it for positional, or its history is that of positional vertigo.

    Another diagnosis that was made by then leaves no criterion definite.
    """
    elsewhere = is_named(facts) & ~facts["later"]
    no_canal = facts["recorded_canal"].eq("none")
    flagged = facts["decisive"].gt(0) | (elsewhere & facts["other_diagnosis"].eq("central"))
    # what looks like a lateral canal says nothing of a typical other one
    alike = facts["alike"].gt(0) & (facts["canal"].eq("lateral") | facts["canal"].isna())
    firm = facts["firm"].eq(True)
    against = (
        facts["seen_cause"].gt(0)
        | (facts["told_cause"].gt(0) & ~facts["on_nystagmus"].eq(True))
        | elsewhere
        | no_canal
        | (facts["strong"] + facts["moderate"]).ge(ENOUGH_FLAGS)
    )
    met = facts["certainty"].notna()
    quiet = ~facts["seen"].fillna(False) & facts["first_test_day"].notna()
    held = facts["recorded_canal"].isin(["posterior", "lateral", "anterior", "multiple"])
    resolved = quiet & (held | facts["typical"])
    steps = [
        (flagged | (alike & (elsewhere | facts["seen_cause"].gt(0))), "apart"),
        (alike, "undetermined"),
        (firm, "criteria"),
        (against, "apart"),
        (met, "criteria"),
        (resolved, "resolved"),
    ]
    kind = np.select(*zip(*steps, strict=True), "undetermined")
    positional = {"apart": "probable_non_positional", "criteria": "yes", "resolved": "yes"}
    without_criteria = np.select(
        [kind == "resolved", facts["seen"].fillna(False)], ["resolved_before", "possible"], "none"
    )
    by_findings = (
        facts[["flags", "decisive", "seen_cause", "told_cause", "alike"]].gt(0).any(axis=1)
    )
    certainty = facts["certainty"].mask(elsewhere & facts["certainty"].eq("definite"), "probable")
    certainty = certainty.mask(alike & met, "possible")
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
        certainty=certainty.fillna(pd.Series(without_criteria, index=facts.index)),
        known_day=np.select(
            [kind == "apart", kind == "undetermined"],
            [apart_day, pd.NA],
            facts["met_day"].fillna(facts["first_test_day"]),
        ),
        reclassified_day=_find_reclassification(facts, facts["later"], firm).where(
            np.isin(kind, ["criteria", "resolved"])
        ),
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
