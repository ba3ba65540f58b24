"""Repeated tests that show something else, or signs of another cause beside a typical one:
none may be lost by repeating."""

from tests.positional_tests import dizzy, downbeat, quiet, quiet_roll, roll_to, rolled, upbeat
from tests.unit.adjudication.vignettes import AGAIN, BEFORE, EVREN, FREE, KIM, LATERAL, MACDONALD

APART = {"positional": "probable_non_positional"}
STRUPP = "Strupp M et al. J Vestib Res 2022;32:389-406"
BUETTNER = "Buettner U et al. Acta Otolaryngol 1999;119:1-5"
LECHNER = "Lechner C et al. J Neurol 2014;261:1009-1017"


def sideways(**more) -> dict:
    """Horizontal nystagmus in the Dix-Hallpike test."""
    return dizzy(horizontal="left", peak_spv=12) | more


# (source, tests, what the verdict says, signs of another cause that are told, signs that are not,
# what differs in the episode)
MIMICS = {
    "lasting geotropic after a silent roll": (
        KIM,
        [*quiet_roll(), *rolled(seconds=120, **AGAIN)],
        APART,
        {"light_cupula"},
        set(),
        {},
    ),
    "lasting geotropic, one side a day": (
        KIM,
        [roll_to("right", speed=60, seconds=120, **BEFORE), roll_to("left", speed=20, seconds=120)],
        APART,
        {"light_cupula"},
        set(),
        {},
    ),
    "lasting geotropic, silent when repeated": (
        KIM,
        [*rolled(seconds=120, **BEFORE), *quiet_roll()],
        APART,
        {"light_cupula"},
        set(),
        {},
    ),
    "horizontal in the Dix-Hallpike test, roll silent and then typical": (
        MACDONALD,
        [sideways(), *quiet_roll(**BEFORE), *rolled()],
        LATERAL,
        set(),
        {"horizontal_in_dix_hallpike"},
        {},
    ),
    "horizontal in the Dix-Hallpike test, roll silent twice": (
        MACDONALD,
        [sideways(), *quiet_roll(), *quiet_roll(**BEFORE)],
        {},
        {"horizontal_in_dix_hallpike"},
        set(),
        {},
    ),
    "up without torsion first, typical then": (
        MACDONALD,
        [dizzy(vertical="up", peak_spv=10, **BEFORE), upbeat()],
        FREE,
        {"up_without_torsion"},
        set(),
        {},
    ),
    "two strong signs, silent when repeated": (
        MACDONALD,
        [
            dizzy(vertical="up", peak_spv=10, **BEFORE),
            dizzy(side="left", torsion="left", **BEFORE),
            quiet(),
            quiet(side="left"),
        ],
        APART,
        {"up_without_torsion", "torsion_alone"},
        set(),
        {},
    ),
    "vertigo for a day, to the same ear in both rolls": (
        STRUPP,
        [roll_to("right", "right", 20, **BEFORE), roll_to("left", "right", 18, **BEFORE), quiet()],
        APART,
        {"unilateral_vestibulopathy_likely"},
        set(),
        {"continuous_24h": "yes"},
    ),
    "vertigo for a day, silent twice: no spontaneous nystagmus": (
        STRUPP,
        [quiet(**BEFORE), *quiet_roll(**BEFORE), quiet(), *quiet_roll()],
        {"positional": "yes", "certainty": "resolved_before"},
        {"continuous_24h"},
        {"unilateral_vestibulopathy_likely"},
        {"continuous_24h": "yes"},
    ),
    "vertigo for a day, silent and then typical": (
        EVREN,
        [quiet(**BEFORE), upbeat()],
        FREE,
        {"continuous_24h"},
        {"unilateral_vestibulopathy_likely"},
        {"continuous_24h": "yes"},
    ),
    "down-beating in three positions on three days, never tiring": (
        BUETTNER,
        [
            downbeat("dix_hallpike", "right", day=-2, fatigues="no", latency_s=0),
            downbeat("dix_hallpike", "left", day=-1, fatigues="no", latency_s=0),
            downbeat(fatigues="no", latency_s=0),
        ],
        {"positional": "yes", "certainty": "emerging"},
        {"downbeat_in_several_positions"},
        set(),
        {},
    ),
    "velocity kept in the first of two rolls": (
        LECHNER,
        [*rolled(spv_at_40s=30, **BEFORE), *rolled(spv_at_40s=1)],
        LATERAL,
        set(),
        set(),
        {},
    ),
    "a focal sign beside a typical test": (
        MACDONALD,
        [quiet(**BEFORE), upbeat()],
        APART,
        {"focal_neurological_sign"},
        set(),
        {"focal_neurological_sign": "yes"},
    ),
}
