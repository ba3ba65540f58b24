"""Planted against read: counts that add up, shares only where tests can tell, open readings,
and a status where there are few."""

import pandas as pd
import pytest

from pipeline.analyses.description.planted import POPULATION, TESTS_TELL, compare_planted

SHOWS = {"test": "dix_hallpike", "side": "right", "nystagmus": True, "before_treatment": True}
LONG = "posterior/right/long/canalolithiasis"
CUPULA = "posterior/right/cupula/cupulolithiasis"


def plant(
    count: int,
    start: int = 0,
    pattern: str = "posterior_long",
    positional: str = "yes",
    **place: str,
) -> list[dict]:
    fields = {
        "canal": "posterior",
        "arm": "long",
        "mechanism": "canalolithiasis",
        "side": "right",
    } | place
    return [
        {
            "site": f"S0{n % 2}",
            "episode_id": f"EP-{n}",
            "pattern": pattern,
            "is_positional": positional,
            **fields,
        }
        for n in range(start, start + count)
    ]


def read(episodes: list[dict], variants: str = LONG, **verdict: str) -> list[dict]:
    plain = {
        "positional": "yes",
        "canal": "posterior",
        "arm": "long",
        "mechanism": "canalolithiasis",
        "side": "right",
        "variants": variants,
    }
    return [{"site": e["site"], "episode_id": e["episode_id"]} | plain | verdict for e in episodes]


def examined(episodes: list[dict], **shown: object) -> list[dict]:
    return [{"site": e["site"], "episode_id": e["episode_id"]} | SHOWS | shown for e in episodes]


def compare(truth: list[dict], readings: list[dict], tests: list[dict], plan) -> pd.DataFrame:
    columns = ["site", "episode_id", *SHOWS]
    return compare_planted(
        pd.DataFrame(readings), pd.DataFrame(tests, columns=columns), pd.DataFrame(truth), plan
    ).set_index(["stratum", "population", "term"])


def test_counts_and_shares(plan):
    truth = plant(20)
    readings = (
        read(truth[:15])
        + read(truth[15:18], canal="unknown")
        + read(truth[18:], positional="undetermined")
    )
    rows = compare(truth, readings, examined(truth), plan).loc["planted=posterior_long"]
    counted, informative = rows.loc[POPULATION], rows.loc[TESTS_TELL]
    assert counted.loc["positional:read=yes", "estimate"] == 18
    assert counted.loc["canal:read=posterior", "estimate"] == 15
    assert counted.loc["canal:read=unknown", "estimate"] == 3
    for part, size in (("positional", 20), ("canal", 18), ("arm", 18), ("mechanism", 18)):
        assert counted["estimate"][counted.index.str.startswith(f"{part}:")].sum() == size
    assert informative.loc["positional_recovered", "estimate"] == pytest.approx(0.9)
    assert informative.loc["canal_recovered", "estimate"] == pytest.approx(0.75)
    assert informative.loc["variant_recovered", ["n_episodes", "n_events", "n_sites"]].tolist() == [
        20,
        15,
        2,
    ]


@pytest.mark.parametrize(
    ("planted", "shown", "tells"),
    [
        ({}, [{}], True),
        ({}, [{"nystagmus": False}], False),
        ({}, [{"before_treatment": False}], False),
        ({}, [{"test": "supine_roll"}], False),
        ({"canal": "lateral"}, [{"test": "supine_roll"}], True),
        ({"arm": "short"}, [{"test": "sitting_up", "side": "none"}], True),
        # sitting up shows the short arm only
        ({}, [{"test": "sitting_up", "side": "none"}], False),
        ({"canal": "multiple", "arm": "unknown"}, [{}], False),
        ({"canal": "multiple", "arm": "unknown"}, [{}, {"side": "left"}], True),
        ({"canal": "multiple", "arm": "unknown"}, [{}, {"test": "supine_roll"}], True),
        (
            {"canal": "multiple", "arm": "unknown"},
            [{"test": "supine_roll"}, {"test": "supine_roll", "side": "left"}],
            False,
        ),
    ],
)
def test_tests_that_can_tell(planted, shown, tells, plan):
    truth = plant(12, **planted)
    tests = [row for one in shown for row in examined(truth, **one)]
    rows = compare(truth, read(truth), tests, plan)
    row = rows.loc[("planted=posterior_long", TESTS_TELL, "positional_recovered")]
    assert (row["n_episodes"], row["status"]) == ((12, "ok") if tells else (0, "too_few"))


def test_a_reading_left_open_is_allowed_but_not_recovered(plan):
    truth = plant(12)
    readings = read(truth, variants=f"{CUPULA} {LONG}", arm="unknown", mechanism="unknown")
    informative = compare(truth, readings, examined(truth), plan).loc[
        ("planted=posterior_long", TESTS_TELL)
    ]
    assert informative["estimate"][
        ["canal_recovered", "variant_recovered", "variant_allowed"]
    ].tolist() == [1, 0, 1]
    informative = compare(truth, read(truth, variants=CUPULA), examined(truth), plan).loc[
        ("planted=posterior_long", TESTS_TELL)
    ]
    assert informative.loc["variant_allowed", "estimate"] == 0


def test_another_cause_is_recovered_when_it_is_set_apart(plan):
    none = {"canal": "none", "arm": "none", "mechanism": "none"}
    truth = plant(12, pattern="silent", positional="no", **none)
    readings = read(truth[:9], positional="probable_non_positional") + read(truth[9:])
    informative = compare(truth, readings, [], plan).loc[("planted=silent", TESTS_TELL)]
    assert informative["estimate"].to_dict() == {"positional_recovered": 0.75}


def test_both_ears_are_recovered_as_the_canal_with_both_sides(plan):
    truth = plant(12, pattern="both", canal="multiple", arm="unknown", side="both")
    tests = examined(truth) + examined(truth, side="left")
    readings = read(truth[:9], side="both") + read(truth[9:])
    informative = compare(truth, readings, tests, plan).loc[("planted=both", TESTS_TELL)]
    assert informative.loc[["canal_recovered", "variant_recovered"], "estimate"].tolist() == [
        0.75,
        0.75,
    ]
    assert "variant_allowed" not in informative.index
    one_side = compare(truth, readings, examined(truth), plan).loc[("planted=both", TESTS_TELL)]
    assert one_side["n_episodes"].eq(0).all()


def test_an_unknown_arm_is_not_asked_for(plan):
    truth = plant(12, pattern="anterior", canal="anterior", arm="unknown")
    informative = compare(truth, read(truth, canal="anterior"), examined(truth), plan).loc[
        ("planted=anterior", TESTS_TELL)
    ]
    assert "arm_recovered" not in informative.index
    assert informative.loc["variant_recovered", "estimate"] == 1


def test_few_give_a_status_and_what_was_not_stored_is_left_out(plan):
    truth = plant(30)
    rows = compare(truth, read(truth[:5]), examined(truth), plan)
    row = rows.loc[("planted=posterior_long", TESTS_TELL, "canal_recovered")]
    assert (row["status"], row["n_episodes"]) == ("too_few", 5)
    assert pd.isna(row["estimate"])


def test_the_order_of_rows_changes_nothing(plan):
    truth = plant(20) + plant(15, start=20, pattern="lateral_free", canal="lateral", arm="short")
    readings, tests = read(truth[:17]) + read(truth[17:], canal="lateral"), examined(truth)
    forward = compare(truth, readings, tests, plan)
    pd.testing.assert_frame_equal(forward, compare(truth[::-1], readings[::-1], tests[::-1], plan))
