"""Which ear a test speaks of, and what was done or stayed silent on it."""

import pandas as pd
import pytest

from pipeline.adjudication.ears import are_silent, have_test, name_ear, show_nystagmus

NYSTAGMUS = {"nystagmus": True}


def examined(*rows: dict) -> pd.DataFrame:
    plain = {
        "site": "S01",
        "episode_id": "EP-1",
        "test": "dix_hallpike",
        "side": "right",
        "torsion": "none",
        "ear": pd.NA,
        "nystagmus": False,
        "vertigo": "none",
        "velocity_class": "unknown",
    }
    return pd.DataFrame([plain | row for row in rows])


@pytest.mark.parametrize(
    ("which", "test", "ear"),
    [
        ("lower_ear", {"side": "left"}, "left"),
        ("lower_ear", {"side": "none"}, "unknown"),
        ("torsion_ear", {"torsion": "left"}, "left"),
        ("torsion_ear", {"torsion": "none"}, "unknown"),
        ("opposite_of_torsion_ear", {"torsion": "left"}, "right"),
        ("opposite_of_torsion_ear", {"torsion": "none"}, "unknown"),
        ("stronger_side", {"ear": "left"}, "left"),
        ("unknown", {"side": "left", "torsion": "left", "ear": "left"}, "unknown"),
    ],
)
def test_the_ear_is_read_where_the_criterion_says(which, test, ear):
    assert name_ear(examined(test), which).tolist() == [ear]


@pytest.mark.parametrize(
    ("side", "ear", "expected"),
    [
        ("right", "right", True),
        ("right", "left", False),
        ("none", "left", True),
        ("right", "unknown", True),
    ],
)
def test_a_test_tells_of_its_ear_and_one_without_a_side_of_both(side, ear, expected):
    asked = examined({})
    assert have_test(asked, pd.Series([ear]), examined({"side": side})).tolist() == [expected]


def test_a_test_of_another_episode_tells_nothing():
    others = examined({"episode_id": "EP-2"}, {"site": "S02"})
    assert have_test(examined({}), pd.Series(["right"]), others).tolist() == [False]


def test_an_ear_is_silent_if_it_was_tested_and_never_showed_anything():
    def silent(*rows: dict) -> bool:
        return are_silent(
            examined({}), pd.Series(["right"]), examined(*rows), ("dix_hallpike",)
        ).item()

    assert silent({})
    assert not silent({"test": "supine_roll"})  # that test was not done
    assert not silent({}, NYSTAGMUS)  # repeated, and one of them showed it
    assert silent({}, {"side": "left"} | NYSTAGMUS)  # the other ear
    assert silent({}, {"test": "supine_roll"} | NYSTAGMUS)  # another test


@pytest.mark.parametrize(
    ("shown", "tells"),
    [
        ({"velocity_class": "slow"}, False),
        ({"velocity_class": "slow", "vertigo": "mild"}, True),
        ({"velocity_class": "fast"}, True),
        ({}, True),  # not measured: it could be anything
    ],
)
def test_slow_nystagmus_without_vertigo_is_silence(shown, tells):
    # of healthy people 55 % have some in a Dix-Hallpike test: Martens C et al. Otolaryngol Head
    # Neck Surg 2016;154:861-867
    assert show_nystagmus(examined(NYSTAGMUS | shown)).item() is tells
    test = examined(NYSTAGMUS | shown)
    silent = are_silent(test, pd.Series(["right"]), test, ("dix_hallpike",)).item()
    assert silent is not tells
