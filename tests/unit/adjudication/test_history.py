"""What patients say of their attacks: it keeps a case whose tests are silent, and excludes nobody.

Probable positional vertigo that has resolved by itself: von Brevern M et al. J Vestib Res
2015;25:105-117. How little history tells: van Dam VS et al. Front Neurol 2021;11:625776.
"""

import pandas as pd
import pytest

from tests.positional_tests import quiet, quiet_roll, upbeat
from tests.unit.adjudication.asked import Asked

YES, APART, OPEN = "yes", "probable_non_positional", "undetermined"
ASKED = Asked()
EXPECTED: dict[str, str] = {}
ALL = [quiet(), quiet("dix_hallpike", "left"), *quiet_roll()]
TYPICAL = {"provoked_by_lying_or_turning": "yes", "attack_s": 20}
UNSURE = {"recorded_canal": "uncertain"}


def ask(name: str, verdict: str, tests: list[dict], **episode) -> None:
    ASKED.ask(name, tests=tests, **episode)
    EXPECTED[name] = verdict


ask("typical, all silent", YES, ALL, **UNSURE, **TYPICAL)
ask("not asked, all silent", OPEN, ALL, **UNSURE)
for field in TYPICAL:
    ask(f"{field} not asked", OPEN, ALL, **UNSURE, **(TYPICAL | {field: pd.NA}))
for left_out in range(len(ALL)):
    some = [test for n, test in enumerate(ALL) if n != left_out]
    ask(f"typical, all but test {left_out}", OPEN, some, **UNSURE, **TYPICAL)
for seconds, verdict in ((59.9, YES), (60, OPEN), (600, OPEN)):
    ask(f"attacks of {seconds} s", verdict, ALL, **UNSURE, **(TYPICAL | {"attack_s": seconds}))
ask("and only on standing", OPEN, ALL, **UNSURE, **TYPICAL, symptoms_only_on_standing="yes")
ask("no canal to the site's mind", APART, ALL, recorded_canal="none", **TYPICAL)
ask("a migraine by then", APART, ALL, **UNSURE, **TYPICAL, other_diagnosis="vestibular_migraine",
    other_diagnosis_day=0)  # fmt: skip
ask("a focal sign", APART, ALL, **UNSURE, **TYPICAL, focal_neurological_sign="yes")
LONG = {"provoked_by_lying_or_turning": "no", "attack_s": 3600}
ask("long attacks from nothing, yet a typical test", YES, [upbeat()], **LONG)
ask("long attacks from nothing, silent tests", OPEN, ALL, **UNSURE, **LONG)
# attacks longer than two minutes by the seconds alone
MIGRAINE = {"migraine_features_with_attacks": "yes", "migraine_history": "yes"}
for seconds, verdict in ((120, OPEN), (121, APART)):
    ask(f"migraine, attacks of {seconds} s", verdict, ALL, **UNSURE, **MIGRAINE, attack_s=seconds)
ask("the same, and said to be shorter", OPEN, ALL, **UNSURE, **MIGRAINE, attack_s=600,
    attacks_over_2min="no")  # fmt: skip
# neuritis at rest: Strupp M et al. J Vestib Res 2022;32:389-406; debris follows it
AT_REST = {"continuous_24h": "yes", "spontaneous_horizontal_nystagmus": "yes"}
ask("neuritis, silent tests", APART, ALL, **AT_REST)
ask("neuritis, and debris after it", YES, [upbeat()], **AT_REST)
ask("neuritis before, silent tests", YES, ALL, **AT_REST, cause="after_neuritis")
for field in AT_REST:
    ask(f"neuritis without {field}", YES, ALL, **(AT_REST | {field: "no"}))


@pytest.fixture(scope="module")
def verdicts(judge_all):
    return ASKED.judge(judge_all)


@pytest.mark.parametrize("name", EXPECTED)
def test_history_keeps_and_does_not_exclude(verdicts, name):
    assert verdicts[name,]["positional"] == EXPECTED[name]


def test_what_history_keeps_is_called_resolved(verdicts):
    kept = verdicts["typical, all silent",]
    assert kept["certainty"] == "resolved_before"
    assert kept["canal"] == kept["side"] == "unknown"
