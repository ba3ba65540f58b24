"""Which sessions enter, and what came before each."""

import pandas as pd

from pipeline.analyses.attempts.rows import describe_attempts
from tests.pool_of_attempts import simulate_attempts


def test_only_positional_attempts_of_the_first_spell_at_risk_with_a_test_enter():
    episodes, verdicts, attempts = simulate_attempts(300, seed=5)
    verdicts.loc[:99, "positional"] = "undetermined"
    attempts.loc[attempts["episode_id"].eq("EP-200"), "at_risk"] = False
    attempts.loc[attempts["episode_id"].eq("EP-201"), "outcome"] = "not_tested_again"
    attempts.loc[attempts["episode_id"].eq("EP-202"), "spell"] = 2
    rows = describe_attempts(episodes, verdicts, attempts, [])
    apart = {f"EP-{k}" for k in range(100)} | {"EP-200", "EP-201", "EP-202"}
    assert set(rows["episode_id"]) == set(episodes["episode_id"]) - apart


def test_previous_family_is_that_of_the_session_before_even_if_nobody_tested_again():
    episodes, verdicts, attempts = simulate_attempts(1, seed=1)
    one = attempts.iloc[[0]]
    families, outcomes = ["epley", "semont", "semont"], ["not_tested_again", "positive", "negative"]
    sessions = pd.concat([one] * 3, ignore_index=True).assign(
        session=[1, 2, 3], family=families, outcome=outcomes
    )
    rows = describe_attempts(episodes, verdicts, sessions, [])
    assert rows["previous"].tolist() == ["other family", "same family or first"]
    assert rows["attempt_number"].tolist() == ["2", "3"]
    first = describe_attempts(episodes, verdicts, sessions.assign(outcome="positive"), [])
    assert first["previous"].iloc[0] == "same family or first"
