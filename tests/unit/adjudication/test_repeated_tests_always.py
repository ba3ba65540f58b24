"""Repeated tests: what no silent test may take away, what less information may never add,
and what never matters."""

from itertools import product

import pandas as pd
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.failure_cases import case
from tests.positional_tests import roll_to
from tests.unit.adjudication.presentations import PRESENTATIONS, any_test, presented, uninformative

FEW = settings(
    suppress_health_check=list(HealthCheck),
    max_examples=3,
    phases=[Phase.explicit, Phase.generate],
)
PARTS = ("canal", "side", "arm", "mechanism")
VALUES = (
    ("posterior", "lateral", "anterior"),
    ("right", "left"),
    ("long", "short", "cupula"),
    ("canalolithiasis", "cupulolithiasis"),
)
CERTAINTIES = [
    "definite",
    "probable",
    "emerging",
    "suspected",
    "subjective",
    "resolved_before",
    "possible",
    "none",
]
# a silent nose-down test speaks for the short arm
SILENCE_TELLS = {
    "nose_down": {
        "posterior_adherent",
        "posterior_heavy_cupula_on_rising",
        "posterior_heavy_cupula_suspected",
    }
}


def allowed(verdict: pd.Series) -> set[tuple]:
    """The variants that a verdict leaves open, each part spelt out where it is unknown."""
    return {
        place
        for variant in verdict["variants"].split()
        for place in product(
            *(
                values if part == "unknown" else (part,)
                for part, values in zip(variant.split("/"), VALUES, strict=True)
            )
        )
    }


def claims_no_more(less: pd.Series, more: pd.Series) -> bool:
    """Whether a verdict on less information is no surer, names nothing that the other leaves open,
    and leaves as much open."""
    open_ = ("unknown", "anterior_or_posterior", "short_or_cupula")
    named = [part for part in PARTS if less[part] not in open_]
    return (
        CERTAINTIES.index(less["certainty"]) >= CERTAINTIES.index(more["certainty"])
        and all(less[part] == more[part] for part in named)
        and (not less["criteria"] or allowed(less) >= allowed(more))
    )


def without_one(tests: list[dict], fields: tuple[str, ...]) -> list[list[dict]]:
    """The tests with one field of one test, or several of one test, left out: every choice."""
    return [
        [
            test | dict.fromkeys(fields, pd.NA) if n == left_out else test
            for n, test in enumerate(tests)
        ]
        for left_out in range(len(tests))
        if any(field in tests[left_out] for field in fields)
    ]


@FEW
@given(
    seen=presented,
    added=st.lists(uninformative, min_size=len(PRESENTATIONS), max_size=len(PRESENTATIONS)),
)
def test_a_test_without_nystagmus_takes_nothing_away(judge_all, seen, added):
    longer = [[*tests, more] for tests, more in zip(seen, added, strict=True)]
    verdicts = judge_all(*map(case, seen), *map(case, longer))
    for test, before, after in zip(
        added, verdicts[: len(seen)], verdicts[len(seen) :], strict=True
    ):
        kept, later = (set(verdict["criteria"].split()) for verdict in (before, after))
        if SILENCE_TELLS.get(test["test"], set()) & kept:
            assert after[["canal", "side"]].equals(before[["canal", "side"]])
            continue
        assert kept <= later
        assert CERTAINTIES.index(after["certainty"]) <= CERTAINTIES.index(before["certainty"])
        assert {part: after[part] for part in PARTS if before[part] != "unknown"}.items() <= dict(
            after
        ).items()
        assert before["positional"] != "yes" or after["positional"] == "yes"


@FEW
@given(seen=presented)
def test_what_was_not_measured_claims_no_more(judge_all, seen):
    fewer = [(tests, rest) for tests in seen for rest in without_one(tests, ("duration_s",))]
    fewer += [(tests, rest) for tests in seen for rest in without_one(tests, ("peak_spv",))]
    verdicts = judge_all(*(case(tests) for pair in fewer for tests in pair))
    for more, less in zip(verdicts[::2], verdicts[1::2], strict=True):
        assert claims_no_more(less, more)


@FEW
@given(seen=presented)
def test_a_test_left_out_claims_no_more(judge_all, seen):
    fewer = [
        (tests, [*tests[:n], *tests[n + 1 :]])
        for name, tests in zip(PRESENTATIONS, seen, strict=True)
        for n, test in enumerate(tests)
        if len(tests) > 1
        and test["test"] != "nose_down"
        and name not in ("both_ears", "two_canals")
    ]
    verdicts = judge_all(*(case(tests) for pair in fewer for tests in pair))
    for more, less in zip(verdicts[::2], verdicts[1::2], strict=True):
        assert claims_no_more(less, more)


TIMES = (5, 55, 90, pd.NA)
directions = st.sampled_from(["geotropic", "apogeotropic", "right", "left"])


@FEW
@given(tests=st.lists(any_test, min_size=20, max_size=20), ways=st.tuples(directions, directions))
def test_what_is_not_timed_claims_no_more_than_what_is(judge_all, tests, ways):
    # but where the duration speaks against every variant, or for another cause: one that was not
    # measured cannot
    timed = [{seconds: [test | {"duration_s": seconds}] for seconds in TIMES} for test in tests]
    rolls = [
        {seconds: [right | {"duration_s": seconds}, left] for seconds in TIMES}
        for right, left in product(
            (roll_to("right", ways[0]),),
            [roll_to("left", ways[1], 10, s) for s in (5, 55, 90, None)],
        )
    ]
    cases = [tests for choice in (*timed, *rolls) for tests in choice.values()]
    verdicts = judge_all(*map(case, cases))
    for n in range(0, len(verdicts), len(TIMES)):
        *measured, untimed = verdicts[n : n + len(TIMES)]
        assert all(claims_no_more(untimed, verdict) for verdict in measured if verdict["criteria"])


@FEW
@given(seen=presented, days=st.lists(st.sampled_from(range(-9, 1)), min_size=3, max_size=3))
def test_the_day_of_a_test_before_treatment_does_not_matter(judge_all, seen, days):
    one_day = [[test | {"day": 0} for test in tests] for tests in seen]
    verdicts = judge_all(*map(case, seen), *map(case, one_day))
    for spread, together in zip(verdicts[: len(seen)], verdicts[len(seen) :], strict=True):
        assert spread[[*PARTS, "certainty", "variants"]].equals(
            together[[*PARTS, "certainty", "variants"]]
        )
