"""Published tables of case mix, written as cases with the signs they are defined by:
the verdicts count up to the tables again."""

import pandas as pd
import pytest

from pipeline.derivation.tables import adjudicate as derive_verdicts
from tests.unit.conftest import build_table

OTHER = {"right": "left", "left": "right"}


def roll(direction: str, seconds: float, affected: str) -> list[dict]:
    """Both sides of a supine roll test; geotropic nystagmus is stronger with the affected ear down,
    apogeotropic with the other."""
    stronger = affected if direction == "geotropic" else OTHER[affected]
    return [
        {
            "test": "supine_roll",
            "side": side,
            "examination": n,
            "horizontal": direction,
            "duration_s": seconds,
        }
        | {"peak_spv": 40 if side == stronger else 15, "vertigo": "moderate"}
        for n, side in enumerate(("right", "left"), start=1)
    ]


def tip(affected: str, vertical: str = "up", examination: int = 1) -> list[dict]:
    """A Dix-Hallpike test with torsion toward the affected ear."""
    return [
        {
            "side": affected,
            "examination": examination,
            "vertical": vertical,
            "torsion": affected,
            "duration_s": 20,
            "vertigo": "severe",
        }
    ]


def adjudicate(cases: list[list[dict]], plan) -> pd.DataFrame:
    codes = [f"EP-{n:04d}" for n in range(len(cases))]
    tests = [
        test | {"episode_id": code}
        for code, case in zip(codes, cases, strict=True)
        for test in case
    ]
    episodes = build_table("episodes", [{"episode_id": code, "patient_id": code} for code in codes])
    examinations, treatments = (
        build_table("examinations", tests),
        build_table("treatments", [{"episode_id": c} for c in codes]),
    )
    delivered = {
        "episodes": episodes,
        "examinations": examinations,
        "treatments": treatments,
        "followups": build_table("followups", []),
    }
    return derive_verdicts(delivered, plan)[2]


def test_direction_by_duration_of_50_lateral_canals(plan):
    # Hiruma, Ohara & Koizuka: persistent apogeotropic 11 (right 10, left 1), persistent geotropic
    # 10 (5, 5), transient apogeotropic 5 (4, 1), transient geotropic 24 (14, 10). Persistent
    # geotropic is no debris
    # here: a light cupula.
    table = {
        ("apogeotropic", 90): (10, 1),
        ("geotropic", 90): (5, 5),
        ("apogeotropic", 20): (4, 1),
        ("geotropic", 20): (14, 10),
    }
    cases = [
        roll(direction, seconds, side)
        for (direction, seconds), counts in table.items()
        for side, number in zip(("right", "left"), counts, strict=True)
        for _ in range(number)
    ]
    assert len(cases) == 50
    verdicts = adjudicate(cases, plan)
    positional = verdicts[verdicts["positional"].eq("yes")]
    counted = positional.groupby(["arm", "mechanism", "side"]).size().to_dict()
    assert counted == {
        ("cupula", "cupulolithiasis", "right"): 10,
        ("cupula", "cupulolithiasis", "left"): 1,
        ("short", "canalolithiasis", "right"): 4,
        ("short", "canalolithiasis", "left"): 1,
        ("long", "canalolithiasis", "right"): 14,
        ("long", "canalolithiasis", "left"): 10,
    }
    apart = verdicts[verdicts["positional"].eq("probable_non_positional")]
    assert apart["reasons_against"].tolist() == ["light_cupula"] * 10


@pytest.mark.parametrize(
    ("posterior", "lateral", "anterior", "several"),
    [
        # Moon SY et al. J Korean Med Sci 2006;21:539-543: 60.9, 31.9, 2.2, 5.0 % of 1692
        (1030, 540, 37, 85),
        (477, 142, 22, 20),  # Damman W et al. J Neurol Neurosurg Psychiatry 2005;76:1307: 661 cases
    ],
)
def test_case_mix_by_canal(plan, posterior, lateral, anterior, several):
    geotropic = round(0.495 * lateral)  # Moon 2006: geotropic 49.5 % of the lateral canals
    cases = [tip("right")] * posterior + [roll("geotropic", 25, "right")] * geotropic
    cases += [roll("apogeotropic", 100, "left")] * (lateral - geotropic) + [
        tip("left", "down")
    ] * anterior
    cases += [[*roll("geotropic", 25, "right"), *tip("right", examination=3)]] * several
    counted = adjudicate(cases, plan)["canal"].value_counts().to_dict()
    # torsional down-beating nystagmus does not tell the anterior canal from the other ear's
    # posterior one
    assert counted == {
        "posterior": posterior,
        "lateral": lateral,
        "anterior_or_posterior": anterior,
        "multiple": several,
    }
