"""The one answer that would bring back an episode that was set apart, and causes left open."""

import pandas as pd
import pytest

from pipeline.adjudication.turning_points import find_turning_points, list_undecided
from tests.positional_tests import downbeat, quiet, rolled, upbeat
from tests.unit.conftest import build_table

MIGRAINE = {"attacks_over_2min": "yes", "migraine_features_with_attacks": "yes"}
MIGRAINE |= {"migraine_history": "yes"}
DIAGNOSED = {"other_diagnosis": "vestibular_migraine", "other_diagnosis_day": 0}
ASKED = [
    ([upbeat()], {"cannot_stand": "yes"}, {"cannot_stand"}),
    ([upbeat()], {"cannot_stand": "yes", "gaze_evoked_nystagmus": "yes"}, set()),
    ([quiet()], DIAGNOSED, {"other_diagnosis"}),
    ([quiet()], {"recorded_canal": "none"}, set()),
    ([upbeat(seconds=90)], {"recorded_canal": "none"}, {"recorded_canal"}),
    ([quiet()], MIGRAINE, set(MIGRAINE)),
    ([downbeat(), *rolled("apogeotropic")], {}, set()),  # the tests alone decide
]


@pytest.mark.parametrize(("tests", "answers", "columns"), ASKED)
def test_the_one_answer_that_would_bring_it_back(plan, tests, answers, columns):
    tables = [
        build_table("episodes", [answers]),
        build_table("examinations", tests),
        build_table("treatments", [{}]),
        build_table("followups", []),
    ]
    assert set(find_turning_points(*tables, plan.criteria)["column"]) == columns


def test_each_of_many_episodes_is_asked_as_if_alone(plan):
    """All cases above in one pool, with rows of an episode that nobody asks about."""
    tables: dict[str, list[dict]] = {"episodes": [], "examinations": [], "treatments": []}
    for k, (tests, answers, _) in enumerate([*ASKED, ASKED[0]]):
        name = {"episode_id": f"EP-{k}"}
        tables["episodes"].append(answers | name)
        tables["examinations"] += [test | name for test in tests]
        tables["treatments"].append(name)
    built = {name: build_table(name, rows) for name, rows in tables.items()}
    built["episodes"] = built["episodes"].iloc[: len(ASKED)]
    found = find_turning_points(
        **built, followups=build_table("followups", []), criteria=plan.criteria
    )
    assert list(found.columns) == ["site", "episode_id", "column"]
    for k, (_, _, columns) in enumerate(ASKED):
        assert set(found.loc[found["episode_id"].eq(f"EP-{k}"), "column"]) == columns


def test_a_cause_is_undecided_only_if_an_answer_is_missing_and_none_rules_it_out(plan):
    def undecided(**answers) -> dict[str, list[str]]:
        return list_undecided(build_table("episodes", [answers]).iloc[0], plan.criteria)

    assert "vestibular_migraine_likely" not in undecided(**MIGRAINE)
    missing = undecided(**MIGRAINE | {"migraine_history": "unknown"})
    assert missing["vestibular_migraine_likely"] == ["migraine_history"]
    ruled_out = MIGRAINE | {"migraine_history": pd.NA, "attacks_over_2min": "no"}
    assert "vestibular_migraine_likely" not in undecided(**ruled_out)
    assert undecided()["meniere_likely"] == ["attacks_over_2min", "new_hearing_change"]
    assert "light_cupula" not in undecided()  # no answer is asked for
