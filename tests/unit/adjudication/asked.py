"""The cases of one test file under their keys, so that all of them are judged as one pool."""

from collections.abc import Callable

import pandas as pd

from tests.failure_cases import case


class Asked(dict):
    """Cases by key, in the order in which they were asked for."""

    def ask(self, *key, tests: list[dict], treatments=({},), followups=(), **episode) -> None:
        """Add a case: its tests, and what differs in its treatments, contacts and episode."""
        assert key not in self
        self[key] = case(tests, treatments, followups, **episode)

    def judge(self, judge_all: Callable) -> dict[tuple, pd.Series]:
        """The verdict on each case by its key."""
        return dict(zip(self, judge_all(*self.values()), strict=True))
