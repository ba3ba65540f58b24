"""What each maneuver is for, and whether the one that was given suits what the tests allow."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from pipeline.adjudication.maneuvers import ALL_UNKNOWN, FITS, judge_fit, judge_maneuver
from schemas.maneuver import CAUTION, FIT, Maneuver, Maneuvers

RIGHT_LONG = "posterior/right/long/canalolithiasis"
DOWNBEAT = "anterior/right/unknown/canalolithiasis posterior/left/long/canalolithiasis"
MIRROR = {"right": "left", "left": "right"}
# Codes that deliveries may hold: none may disappear or change its meaning.
CODES = [
    "epley",
    "semont",
    "semont_plus",
    "demi_semont",
    "forced_prolonged_45",
    "bow_and_yaw",
    "repeated_sit_ups",
    "quick_liberatory_rotation",
    "li_quick_repositioning",
    "gans",
    "half_somersault",
    "brandt_daroff",
    "barbecue_roll",
    "gufoni_geotropic",
    "gufoni_apogeotropic",
    "vannucchi_asprella",
    "forced_prolonged_position",
    "cupulolith_repositioning",
    "head_shaking",
    "mastoid_vibration",
    "zuma",
    "zuma_modified",
    "casani",
    "deep_head_hanging",
    "observe",
    "sham",
    "other",
]


def list_fits(verdict: dict[str, str]) -> tuple[str, ...]:
    return tuple(verdict[name] for name in FITS)


@pytest.mark.parametrize(
    ("code", "variants", "fit"),
    [
        # Bhattacharyya et al. Otolaryngol Head Neck Surg 2017;156(3 Suppl):S1-S47: repositioning
        # for the posterior canal
        ("epley", RIGHT_LONG, "yes"),
        ("barbecue_roll", RIGHT_LONG, "no"),
        # Kim JS et al. Neurology 2012;79:700-707 (geotropic: free debris in the long arm)
        ("barbecue_roll", "lateral/right/long/canalolithiasis", "yes"),
        ("gufoni_geotropic", "lateral/right/long/canalolithiasis", "yes"),
        ("gufoni_apogeotropic", "lateral/right/long/canalolithiasis", "no"),
        # Kim JS et al. Neurology 2012;78:159-166 (apogeotropic: short arm, or on the cupula)
        ("gufoni_apogeotropic", "lateral/right/short/canalolithiasis", "yes"),
        ("gufoni_apogeotropic", "lateral/right/cupula/cupulolithiasis", "yes"),
        ("gufoni_geotropic", "lateral/right/short/canalolithiasis", "no"),
        ("gufoni_geotropic", "lateral/right/cupula/cupulolithiasis", "no"),
        # Ping L et al. Braz J Otorhinolaryngol 2022;88:733-739
        ("bow_and_yaw", "posterior/right/short/canalolithiasis", "yes"),
        ("epley", "posterior/right/short/canalolithiasis", "no"),
        # Scocco DH et al. J Otol 2022;17:101-106: Brandt-Daroff exercises where repositioning had
        # failed
        ("brandt_daroff", "posterior/left/short/canalolithiasis", "yes"),
    ],
)
def test_published_use_decides(plan, code, variants, fit):
    assert judge_maneuver(plan.maneuvers[code], "right", variants)["fit"] == fit


@pytest.mark.parametrize(
    ("code", "side", "variants", "expected"),
    [
        ("epley", "right", RIGHT_LONG, ("yes", "yes", "yes", "yes", "yes")),
        ("epley", "left", RIGHT_LONG, ("yes", "no", "yes", "yes", "no")),
        (
            "epley",
            "right",
            "posterior/unknown/long/canalolithiasis",
            ("yes", "unknown", "yes", "yes", "unknown"),
        ),
        (
            "epley",
            "right",
            RIGHT_LONG + " posterior/right/cupula/cupulolithiasis",
            ("yes", "yes", *["unknown"] * 3),
        ),
        (
            "epley",
            "right",
            RIGHT_LONG + " posterior/left/long/canalolithiasis",
            ("yes", "unknown", "yes", "yes", "unknown"),
        ),
        ("epley", "right", "", ("unknown",) * 5),
        ("epley", "right", ALL_UNKNOWN, ("unknown",) * 5),
        ("epley", "right", RIGHT_LONG + " " + ALL_UNKNOWN, ("yes",) * 5),
        # neither variant is a right posterior canal (the two places: Vannucchi P et al. Int J
        # Otolaryngol 2012:413603)
        ("epley", "right", DOWNBEAT, ("unknown", "unknown", "unknown", "yes", "no")),
        ("epley", "left", DOWNBEAT, ("unknown", "unknown", "unknown", "yes", "unknown")),
        (
            "epley",
            "right",
            RIGHT_LONG + " lateral/unknown/long/canalolithiasis",
            ("unknown", "unknown", *["yes"] * 2, "unknown"),
        ),
        ("barbecue_roll", "right", DOWNBEAT, ("no", "unknown", "unknown", "yes", "no")),
        ("deep_head_hanging", "none", DOWNBEAT, ("yes",) * 5),
        ("head_shaking", "none", "lateral/unknown/cupula/cupulolithiasis", ("yes",) * 5),
        ("other", "right", RIGHT_LONG, ("unknown",) * 5),
        ("observe", "none", RIGHT_LONG, ("not_applicable",) * 5),
        ("sham", "right", RIGHT_LONG, ("not_applicable",) * 5),
    ],
)
def test_a_set_of_variants_is_suited_wholly_in_part_or_not(plan, code, side, variants, expected):
    assert list_fits(judge_maneuver(plan.maneuvers[code], side, variants)) == expected


variant = st.builds(
    "/".join,
    st.tuples(
        st.sampled_from(["posterior", "lateral", "anterior"]),
        st.sampled_from(["right", "left", "unknown"]),
        st.sampled_from(["long", "short", "cupula", "unknown"]),
        st.sampled_from(["canalolithiasis", "cupulolithiasis", "unknown"]),
    ),
)


@given(
    variants=st.lists(variant, max_size=4),
    code=st.sampled_from(CODES),
    side=st.sampled_from(["right", "left"]),
)
def test_mirror_order_and_narrowing(plan, variants, code, side):
    def judge(side: str, variants: list[str]) -> tuple[str, ...]:
        return list_fits(judge_maneuver(plan.maneuvers[code], side, " ".join(variants)))

    fits = judge(side, variants)
    assert set(fits) <= set(FIT)
    mirrored = ["/".join(MIRROR.get(part, part) for part in v.split("/")) for v in variants]
    assert judge(MIRROR[side], mirrored) == fits
    assert judge(side, variants[::-1]) == fits
    if "unknown" not in fits:  # a clear answer holds for each allowed variant alone
        assert all(judge(side, [v]) == fits for v in variants if v != ALL_UNKNOWN)
    alone = {
        judge(side, [v])[-1] for v in variants if v != ALL_UNKNOWN or set(variants) == {ALL_UNKNOWN}
    }
    if alone:
        assert fits[-1] == (alone.pop() if len(alone) == 1 else "unknown")


def test_one_row_for_each_treatment_in_its_order(plan, table):
    treatments = table(
        "treatments",
        [
            {},
            {"attempt": 2, "side": "left"},
            {"attempt": 1, "episode_id": "EP-2", "maneuver": "observe"},
        ],
    )
    treatments = treatments.iloc[[2, 0, 1]]
    verdicts = pd.DataFrame(
        {"site": ["S01"], "episode_id": ["EP-1"], "variants": [RIGHT_LONG]}, dtype="string"
    )
    fits = judge_fit(treatments, verdicts, plan.maneuvers)
    assert fits.index.tolist() == treatments.index.tolist()
    assert fits["attempt"].tolist() == [1, 1, 2]
    assert fits["fit"].tolist() == ["not_applicable", "yes", "no"]
    assert judge_fit(treatments.iloc[:0], verdicts, plan.maneuvers).empty


def test_each_of_many_episodes_has_its_answer(plan, table):
    one = table("treatments", [{}])
    many = one.loc[one.index.repeat(100_000)].reset_index(drop=True)
    many["episode_id"] = pd.Series(many.index.astype(str), dtype="string")
    verdicts = many[["site", "episode_id"]].assign(variants=RIGHT_LONG)
    assert judge_fit(many, verdicts, plan.maneuvers)["fit"].eq("yes").all()


def test_every_maneuver_says_how_and_for_whom(plan):
    assert list(plan.maneuvers) == CODES
    for maneuver in plan.maneuvers.values():
        if maneuver.kind in ("maneuver", "exercise"):
            assert maneuver.technique.source
            assert all([maneuver.canals, maneuver.arms, maneuver.mechanisms])
    assert {
        code for m in plan.maneuvers.values() if m.cautions for code in m.cautions.codes
    } == set(CAUTION)


def test_the_usual_hold_of_the_semont_maneuver_is_no_more_than_in_vitro_work_advises(plan):
    # Obrist D et al. Front Neurol 2016;7:150 advises 45 s or more
    assert plan.maneuvers["semont"].technique.hold_least_s <= 45


@pytest.mark.parametrize("alternative", ["epley", "eply", "barbecue_roll"])
def test_an_alternative_must_be_another_listed_maneuver_for_the_same_canal(plan, alternative):
    listed = {code: m.model_dump() for code, m in plan.maneuvers.items()}
    TypeAdapter(Maneuvers).validate_python(listed)
    listed["epley"]["alternatives"] = (alternative,)
    with pytest.raises(ValidationError, match="epley: alternative"):
        TypeAdapter(Maneuvers).validate_python(listed)


@pytest.mark.parametrize("change", [{"sided": False}, {"technique": None}, {"kind": "sham"}])
def test_a_maneuver_that_contradicts_itself_is_refused(plan, change):
    with pytest.raises(ValidationError):
        Maneuver.model_validate(plan.maneuvers["epley"].model_dump() | change)


def test_holds_must_be_in_order(plan):
    told_twice = plan.maneuvers["epley"].technique.model_dump() | {"hold_least_s": 61}
    with pytest.raises(ValidationError, match="hold_least_s"):
        type(plan.maneuvers["epley"].technique).model_validate(told_twice)
