"""Repeated positional tests: the most informative examination before treatment decides,
and repeating destroys no diagnosis."""

import pytest

from tests.failure_cases import case
from tests.unit.adjudication.mimic_vignettes import MIMICS
from tests.unit.adjudication.vignettes import LATERAL_CANAL, OTHER_PLACES, POSTERIOR

VIGNETTES = POSTERIOR | LATERAL_CANAL | OTHER_PLACES


@pytest.fixture(scope="module")
def verdicts(judge_all):
    """The verdict on each vignette by its name, all judged as one pool."""
    cases = {name: case(tests) for name, (_, tests, _) in VIGNETTES.items()}
    cases |= {name: case(tests, **episode) for name, (_, tests, *_, episode) in MIMICS.items()}
    return dict(zip(cases, judge_all(*cases.values()), strict=True))


@pytest.mark.parametrize("name", VIGNETTES)
def test_what_repeated_tests_are_read_as(verdicts, name):
    expected = VIGNETTES[name][2]
    assert {part: verdicts[name][part] for part in expected} == expected


@pytest.mark.parametrize("name", MIMICS)
def test_signs_of_another_cause_outlast_a_repeated_test(verdicts, name):
    _, _, expected, required, untold, _ = MIMICS[name]
    reasons = set(verdicts[name]["reasons_against"].split())
    assert {part: verdicts[name][part] for part in expected} == expected
    assert required <= reasons
    assert not untold & reasons


def test_every_vignette_has_its_own_name_and_a_source():
    assert len(VIGNETTES) == len(POSTERIOR) + len(LATERAL_CANAL) + len(OTHER_PLACES)
    assert not set(VIGNETTES) & set(MIMICS)
    assert all(source for source, *_ in (VIGNETTES | MIMICS).values())
