"""Repeated positional tests, written from the published criteria: what was done and seen,
and what it must be read as.

A vignette has its source, the tests before the first attempt (day 0 is its day, earlier days are
negative), what the verdict must say, and what differs in the episode. Sources beyond those of
config/criteria.yaml:
  Evren 2017   Evren C et al. Braz J Otorhinolaryngol 2017;83:243-248: the same tests again in one
               visit found 28 of 68 that had been negative
  Hentze 2025  Hentze M et al. Front Neurol 2025;16:1654404: the manual roll test missed 63 %, the
               manual Dix-Hallpike test 27 and 34 %
"""

from tests.positional_tests import (
    dizzy,
    dizzy_roll,
    downbeat,
    quiet,
    quiet_roll,
    rising,
    roll_to,
    rolled,
    sign,
    upbeat,
)

AGAIN, BEFORE = {"examination": 2}, {"day": -1}
EVREN, HENTZE = "Evren 2017", "Hentze 2025"
ICVD, AAO = "ICVD 2015", "AAO 2017"
SCOCCO = "Scocco DH et al. J Otol 2022;17:101-106"
HELMINSKI = "Helminski JO. Front Neurol 2022;13:982191"
VANNUCCHI = "Vannucchi P et al. Int J Otolaryngol 2012:413603"
KIM = "Kim CH et al. Laryngoscope 2014;124:E15-19"
MACDONALD = "Macdonald NK et al. Front Neurol 2017;8:141"
SUBJECTIVE = "Balatsouras DG, Korres SG. Otolaryngol Head Neck Surg 2012;146:98-103"
BUEKI = "Bueki B et al. J Neurol Neurosurg Psychiatry 2011;82:98-104"
CALIFANO = "Califano L et al. 2013: direction-fixed nystagmus turned geotropic later"

FREE = {
    "canal": "posterior",
    "side": "right",
    "arm": "long",
    "mechanism": "canalolithiasis",
    "certainty": "definite",
}
ADHERENT = {"canal": "posterior", "side": "right", "arm": "cupula", "mechanism": "cupulolithiasis"}
ADHERENT |= {"certainty": "emerging"}
SHORT = {
    "canal": "posterior",
    "side": "right",
    "arm": "short",
    "mechanism": "canalolithiasis",
    "certainty": "emerging",
}
# all of 18 with nystagmus on rising: 11 had a heavy cupula, 5 a short arm, parted nose down
RISING = SHORT | {"arm": "short_or_cupula", "mechanism": "unknown", "arm_basis": "sitting_up"}
LATERAL = FREE | {"canal": "lateral"}
LATERAL_ADHERENT = {
    "canal": "lateral",
    "side": "left",
    "arm": "cupula",
    "mechanism": "cupulolithiasis",
}
LATERAL_ADHERENT |= {"certainty": "definite"}
ALL_UNKNOWN = {"canal": "unknown", "side": "unknown", "arm": "unknown", "mechanism": "unknown"}
HALF = "half_dix_hallpike"

POSTERIOR = {
    "silent first, typical when repeated": (EVREN, [quiet(), upbeat(**AGAIN)], FREE),
    "silent the day before": (EVREN, [quiet(**BEFORE), upbeat()], FREE),
    "silent the day after, before treatment": (HENTZE, [upbeat(**BEFORE), quiet()], FREE),
    "vertigo alone first": (
        SUBJECTIVE,
        [dizzy(), upbeat(**AGAIN)],
        FREE | {"criteria": "posterior_free"},
    ),
    "vertigo alone when repeated: it tires": (
        AAO,
        [upbeat(), dizzy(**AGAIN)],
        FREE | {"criteria": "posterior_free"},
    ),
    "vertigo alone the day before": (SUBJECTIVE, [dizzy(**BEFORE), upbeat()], FREE),
    "vertigo alone on the other ear": (ICVD, [upbeat(), dizzy(side="left")], FREE),
    "side-lying silent, Dix-Hallpike typical": (AAO, [quiet("side_lying"), upbeat(**AGAIN)], FREE),
    "side-lying vertigo alone after a typical test": (
        AAO,
        [upbeat(), dizzy("side_lying", **AGAIN)],
        FREE,
    ),
    "timed at the second test only": (ICVD, [upbeat(seconds=None, **BEFORE), upbeat()], FREE),
    "in the band first, short the next day": (ICVD, [upbeat(seconds=60, **BEFORE), upbeat()], FREE),
    "in the band and long": (ICVD, [upbeat(seconds=75), upbeat(seconds=70, **AGAIN)], ADHERENT),
    "long twice": (ICVD, [upbeat(seconds=120), upbeat(seconds=90, **AGAIN)], ADHERENT),
    "short one day, long the next": (
        ICVD,
        [upbeat(**BEFORE), upbeat(seconds=120)],
        {"canal": "posterior", "side": "right", "arm": "unknown", "mechanism": "unknown"},
    ),
    "silent three times": (
        ICVD,
        [quiet(**BEFORE), quiet(), quiet(**AGAIN)],
        {"certainty": "resolved_before"},
    ),
    "vertigo alone three times": (
        SUBJECTIVE,
        [dizzy(**BEFORE), dizzy(), dizzy(**AGAIN)],
        ALL_UNKNOWN | {"certainty": "subjective", "positional": "yes"},
    ),
    "one ear one day, the other the next": (
        ICVD,
        [upbeat(**BEFORE), upbeat("left")],
        {"canal": "posterior", "side": "both", "certainty": "definite"},
    ),
    "posterior one day, lateral the next": (
        ICVD,
        [upbeat(**BEFORE), *quiet_roll(**BEFORE), *rolled(), quiet()],
        {"canal": "multiple", "side": "right", "certainty": "definite"},
    ),
}

TIE = {"right": 30, "left": 30}
LATERAL_CANAL = {
    "silent first roll, typical second": (EVREN, [*quiet_roll(), *rolled(**AGAIN)], LATERAL),
    "silent roll the day before": (HENTZE, [*quiet_roll(**BEFORE), *rolled()], LATERAL),
    "vertigo alone in the first roll": (SUBJECTIVE, [*dizzy_roll(), *rolled(**AGAIN)], LATERAL),
    "vertigo alone in the roll the day before": (
        SUBJECTIVE,
        [*dizzy_roll(**BEFORE), *rolled()],
        LATERAL,
    ),
    "typical the day before, silent now": (HENTZE, [*rolled(**BEFORE), *quiet_roll()], LATERAL),
    "typical first, vertigo alone when repeated": (AAO, [*rolled(), *dizzy_roll(**AGAIN)], LATERAL),
    "one side a day": (
        AAO,
        [roll_to("right", speed=60, **BEFORE), roll_to("left", speed=20)],
        LATERAL,
    ),
    "one side missed each day": (
        HENTZE,
        [
            roll_to("right", speed=60, **BEFORE),
            quiet("supine_roll", "left", **BEFORE),
            quiet("supine_roll"),
            roll_to("left", speed=20),
        ],
        LATERAL,
    ),
    "one side missed first, both shown the same day": (
        EVREN,
        [roll_to("right", speed=60), quiet("supine_roll", "left"), *rolled(**AGAIN)],
        LATERAL,
    ),
    "away from the ground after a silent roll": (
        EVREN,
        [*quiet_roll(), *rolled("apogeotropic", seconds=90, **AGAIN)],
        LATERAL_ADHERENT,
    ),
    "away from the ground, one side a day": (
        AAO,
        [
            roll_to("left", "apogeotropic", 20, 90, **BEFORE),
            roll_to("right", "apogeotropic", 60, 90),
        ],
        LATERAL_ADHERENT,
    ),
    "weaker when repeated": (AAO, [*rolled(), *rolled(right=12, left=15, **AGAIN)], LATERAL),
    "recorded as right and left": (
        AAO,
        [*quiet_roll(**BEFORE), roll_to("right", "right", 60), roll_to("left", "left", 20)],
        LATERAL,
    ),
    "vertigo alone in the Dix-Hallpike test": (
        ICVD,
        [*rolled(), dizzy(**AGAIN), dizzy(side="left")],
        LATERAL,
    ),
    "vertigo alone on sitting up": (
        BUEKI,
        [*rolled(), quiet(), dizzy("sitting_up", "none")],
        LATERAL,
    ),
    "bow silent first, toward the right when repeated": (
        AAO,
        [*rolled(**TIE), sign("bow", "none"), sign("bow", "right", **AGAIN)],
        LATERAL | {"side_by": "signs"},
    ),
    "lying-down sign of the day before": (
        AAO,
        [*quiet_roll(**BEFORE), sign("lying_down", "left", **BEFORE), *rolled(**TIE)],
        LATERAL | {"side_by": "signs"},
    ),
    "lean silent, intensity tells": (
        AAO,
        [*rolled(), sign("lean", "none"), sign("lean", "none", **BEFORE)],
        LATERAL,
    ),
    "away from the ground first, toward it the next day": (
        CALIFANO,
        [*rolled("apogeotropic", right=20, left=60, **BEFORE), *rolled()],
        {"canal": "lateral", "side": "right", "arm": "unknown", "mechanism": "canalolithiasis"},
    ),
    "one side only, three times": (
        AAO,
        [roll_to("right", **BEFORE), roll_to("right"), roll_to("right", **AGAIN)],
        ALL_UNKNOWN | {"positional": "undetermined"},
    ),
    "toward the ground on one side, away on the other a day later": (
        CALIFANO,
        [roll_to("right", **BEFORE), roll_to("left", "apogeotropic")],
        ALL_UNKNOWN | {"positional": "undetermined"},
    ),
}

OTHER_PLACES = {
    "half test silent first": (
        EVREN,
        [quiet(HALF), upbeat(seconds=120, test=HALF, **AGAIN)],
        ADHERENT,
    ),
    "half test not timed": (
        ICVD,
        [upbeat(seconds=None, test=HALF)],
        {
            "canal": "posterior",
            "side": "right",
            "arm": "unknown",
            "mechanism": "unknown",
            "certainty": "emerging",
        },
    ),
    "half test short": (ICVD, [upbeat(test=HALF)], FREE | {"certainty": "emerging"}),
    "half test not timed, Dix-Hallpike short": (
        ICVD,
        [upbeat(seconds=None, test=HALF), upbeat()],
        FREE,
    ),
    "nose down silent first, down-beating when repeated": (
        SCOCCO,
        [
            upbeat(seconds=120, test=HALF),
            quiet("nose_down", "none"),
            downbeat("nose_down", **AGAIN),
        ],
        ADHERENT | {"criteria": "posterior_heavy_cupula"},
    ),
    "nose down down-beating first, silent the next day": (
        SCOCCO,
        [
            upbeat(seconds=120, test=HALF),
            downbeat("nose_down", **BEFORE),
            quiet("nose_down", "none"),
        ],
        ADHERENT | {"criteria": "posterior_heavy_cupula"},
    ),
    "nose down silent twice": (
        SCOCCO,
        [
            upbeat(seconds=120, test=HALF),
            quiet("nose_down", "none"),
            dizzy("nose_down", "none", **AGAIN),
        ],
        SHORT | {"arm_basis": "half_dix_hallpike"},
    ),
    "nose down silent for the other ear only": (
        SCOCCO,
        [upbeat(seconds=120, test=HALF), quiet("nose_down", "left")],
        ADHERENT | {"criteria": "posterior_adherent"},
    ),
    "up on rising, Dix-Hallpike silent twice": (
        HELMINSKI,
        [rising(), quiet(), quiet(**BEFORE)],
        RISING,
    ),
    "up on rising at the second time": (
        EVREN,
        [quiet("sitting_up", "none"), quiet(), rising(**AGAIN)],
        RISING,
    ),
    "up on rising, Dix-Hallpike silent and then typical": (
        HELMINSKI,
        [rising(), quiet(**BEFORE), upbeat()],
        FREE,
    ),
    "up on rising, Dix-Hallpike typical and then silent": (
        HELMINSKI,
        [rising(), upbeat(**BEFORE), quiet()],
        FREE,
    ),
    "up on rising, only the other ear's test was silent": (
        HELMINSKI,
        [rising(), quiet(side="left"), quiet(side="left", **BEFORE)],
        ALL_UNKNOWN | {"positional": "undetermined"},
    ),
    "up on rising with torsion right, typical on the left": (
        HELMINSKI,
        [rising(), quiet(), upbeat("left")],
        {"canal": "posterior", "side": "both"},
    ),
    "vertigo on rising first, up-beating then": (
        BUEKI,
        [dizzy("sitting_up", "none", **BEFORE), quiet(), rising()],
        RISING | {"criteria": "posterior_heavy_cupula_on_rising posterior_short_arm"},
    ),
    "vertigo on rising twice": (
        BUEKI,
        [dizzy("sitting_up", "none", **BEFORE), quiet(), dizzy("sitting_up", "none")],
        {"canal": "posterior", "arm": "short_or_cupula", "certainty": "suspected"},
    ),
    "up on rising, nose down silent": (
        SCOCCO,
        [rising(), quiet(), quiet("nose_down", "none")],
        SHORT | {"arm_basis": "sitting_up"},
    ),
    "up on rising, down-beating with the nose down": (
        SCOCCO,
        [rising(), quiet(), downbeat("nose_down", torsion="left")],
        ADHERENT | {"criteria": "posterior_heavy_cupula_on_rising"},
    ),
    "up on rising, nose down silent for the other ear only": (
        SCOCCO,
        [rising(), quiet(), quiet("nose_down", "left")],
        RISING,
    ),
    "up on rising toward one ear from every position": (
        HELMINSKI,
        [
            rising(),
            rising(side="right"),
            rising(side="left"),
            quiet(),
            quiet(side="left"),
            quiet("straight_head_hang", "none"),
        ],
        RISING,
    ),
    "up on rising, faint nystagmus that is not felt in the Dix-Hallpike test": (
        HELMINSKI,
        [rising(), quiet(vertical="up", peak_spv=3)],
        RISING,
    ),
    "down-beating without vertigo in the test of that ear, none on rising": (
        HELMINSKI,
        [
            downbeat("dix_hallpike", "right", "left", 90, vertigo="none"),
            quiet("sitting_up", "none"),
        ],
        {"canal": "anterior_or_posterior", "certainty": "emerging", "positional": "yes"},
    ),
    "up-beating on head-hanging": (
        HELMINSKI,
        [upbeat("right", test="straight_head_hang") | {"side": "none"}],
        {"canal": "posterior", "side": "right", "arm": "unknown", "certainty": "emerging"},
    ),
    "up-beating on head-hanging, Dix-Hallpike typical": (
        HELMINSKI,
        [upbeat("right", test="straight_head_hang") | {"side": "none"}, upbeat()],
        FREE,
    ),
    "two definitions of the short arm": (
        SCOCCO,
        [upbeat(seconds=120, test=HALF), quiet("nose_down", "none"), rising(), quiet()],
        SHORT | {"criteria": "posterior_short_arm posterior_short_arm_half_test"},
    ),
    "head hang silent first": (
        EVREN,
        [quiet("straight_head_hang", "none"), downbeat(**AGAIN)],
        {"canal": "anterior_or_posterior", "mechanism": "canalolithiasis", "certainty": "emerging"},
    ),
    "short down-beat, silent on rising": (
        HELMINSKI,
        [downbeat(), quiet("sitting_up", "none")],
        {"canal": "anterior_or_posterior", "mechanism": "canalolithiasis"},
    ),
    "long down-beat with torsion away, silent on rising twice": (
        HELMINSKI,
        [
            downbeat("dix_hallpike", "right", "left", 120),
            quiet("sitting_up", "none"),
            dizzy("sitting_up", "none", **AGAIN),
        ],
        {"canal": "anterior_or_posterior", "mechanism": "unknown", "certainty": "emerging"},
    ),
    "down-beat one day, the other ear's typical nystagmus the next": (
        VANNUCCHI,
        [downbeat(torsion="right", **BEFORE), upbeat("left")],
        FREE | {"side": "left"},
    ),
}
