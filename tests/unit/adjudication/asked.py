"""The cases of one test file, so that all of them are judged, or explained, as one pool."""

from collections.abc import Callable

import pandas as pd
import pytest

from tests.failure_cases import case

EXPLAINED = "explained"


def explained(*cases: dict[str, list[dict]]) -> pytest.MarkDecorator:
    """A mark for a test that asks for the reasons of failure of these cases, and gets them as
    `reasons`, one table for each case."""
    return getattr(pytest.mark, EXPLAINED)(*cases)


class Asked(dict):
    """Cases by key, in the order in which they were asked for."""

    def ask(self, *key, tests: list[dict], treatments=({},), followups=(), **episode) -> None:
        """Add a case: its tests, and what differs in its treatments, contacts and episode."""
        assert key not in self
        self[key] = case(tests, treatments, followups, **episode)

    def judge(self, judge_all: Callable) -> dict[tuple, pd.Series]:
        """The verdict on each case by its key."""
        return dict(zip(self, judge_all(*self.values()), strict=True))
