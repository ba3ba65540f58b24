"""What a present case shows in each positional test, and how fast, how long and how strongly."""

from typing import Any, NamedTuple

from schemas import codes
from synthetic_data.scenario import OTHER_CAUSES, VARIANTS

TESTS = tuple(codes.TEST)
SIDED = ("dix_hallpike", "side_lying", "half_dix_hallpike", "supine_roll")


class Sign(NamedTuple):
    """The nystagmus in one test.

    `torsion` is toward the affected or the other ear; `horizontal` is geotropic, apogeotropic, or
    toward or away from the affected ear. `strength` 1 is the pattern's strongest test and 0 nothing
    at all; without any direction it is vertigo alone. `share` is the share of cases that show it,
    `torsion_share` that of those with torsion, `expected` that of those who show it in the expected
    direction.
    """

    vertical: str = "none"
    torsion: str = "none"
    horizontal: str = "none"
    strength: float = 1.0
    share: float = 1.0
    torsion_share: float = 1.0
    expected: float = 1.0


QUIET = Sign(strength=0)


def each(sign: Sign) -> tuple[Sign, Sign]:
    """The same sign with either ear down, or in a midline test."""
    return sign, sign


def lower(sign: Sign) -> tuple[Sign, Sign]:
    """A sign that comes only with the affected ear down."""
    return sign, QUIET


# Torsion in 17 of 50 peripheral downbeat cases (Cambi 2013). Lying-down sign in 34 of 50, in the
# expected direction in 19; bowing in 38, in the expected direction in 28 (Oh J-H et al. BMC
# Ophthalmol 2014;14:136); leaning as bowing, invented. Nose-down reversal in 11 of 16 with adherent
# debris (Scocco DH et al. J Otol 2022;17:101-106). Directions: AAO 2017, ICVD 2015, Helminski JO.
# Front Neurol
# 2022;13:982191.
# Other shares and all strengths are
# invented.
UP, DOWN = Sign("up", "affected"), Sign("down", torsion_share=17 / 50)
LYING: dict[str, Any]
PITCH: dict[str, Any]
LYING, PITCH = {"share": 34 / 50, "expected": 19 / 34}, {"share": 38 / 50, "expected": 28 / 38}
REVERSAL = Sign("down", "other", strength=0.5, share=0.5)
FREE = {
    "dix_hallpike": lower(UP),
    "half_dix_hallpike": lower(UP._replace(strength=0.6, share=0.6)),
    "sitting_up": each(REVERSAL),
}


def roll(direction: str, lower_strength: float, upper_strength: float) -> tuple[Sign, Sign]:
    """A horizontal sign in the supine roll test: with the affected ear down,
    and with the other ear down."""
    return Sign(horizontal=direction, strength=lower_strength), Sign(
        horizontal=direction, strength=upper_strength
    )


def lateral(
    direction: str, lower_strength: float, upper_strength: float
) -> dict[str, tuple[Sign, Sign]]:
    """The signs of one lateral canal: stronger with the affected ear down if geotropic,
    with the other ear down if not (AAO 2017).
    """
    forward, back = ("toward", "away") if direction == "geotropic" else ("away", "toward")
    return {
        "supine_roll": roll(direction, lower_strength, upper_strength),
        "dix_hallpike": each(Sign(horizontal=direction, strength=0.6, share=0.4)),
        "bow": each(Sign(horizontal=forward, strength=0.4, **PITCH)),
        "lean": each(Sign(horizontal=back, strength=0.4, **PITCH)),
        "lying_down": each(Sign(horizontal=back, strength=0.4, **LYING)),
    }


GEOTROPIC, APOGEOTROPIC = lateral("geotropic", 1.0, 0.45), lateral("apogeotropic", 0.45, 1.0)
STILL_DOWN = Sign("down")
PATTERNS: dict[str, dict[str, tuple[Sign, Sign]]] = {
    "posterior_long": FREE,
    "posterior_cupula": {
        "dix_hallpike": lower(UP._replace(strength=0.8)),
        "half_dix_hallpike": lower(UP),
        "nose_down": each(Sign("down", "other", strength=0.7, share=11 / 16)),
        "sitting_up": each(Sign("up", "affected", strength=0.4, share=0.5)),
    },
    "posterior_short": {
        "dix_hallpike": lower(Sign(strength=0.5)),
        "half_dix_hallpike": lower(UP._replace(strength=0.7, share=0.9)),
        "sitting_up": each(UP),
    },
    "posterior_distal": {
        "dix_hallpike": (DOWN._replace(torsion="other", share=0.5), DOWN._replace(torsion="other")),
        "straight_head_hang": each(DOWN._replace(torsion="other")),
    },
    "lateral_geotropic": GEOTROPIC,
    "lateral_free": APOGEOTROPIC,
    "lateral_cupula": APOGEOTROPIC,
    "anterior": {
        "dix_hallpike": (
            DOWN._replace(torsion="affected", share=0.6),
            DOWN._replace(torsion="affected"),
        ),
        "straight_head_hang": each(DOWN._replace(torsion="affected")),
    },
    "several_one_ear": FREE | {"supine_roll": roll("geotropic", 0.9, 0.4)},
    "several_both_ears": {
        "dix_hallpike": each(UP),
        "half_dix_hallpike": each(UP._replace(strength=0.6, share=0.6)),
    },
    "central_horizontal": {
        "supine_roll": roll("apogeotropic", 0.9, 0.9),
        "dix_hallpike": each(Sign(horizontal="apogeotropic", strength=0.6, share=0.5)),
    },
    "central_down": {"dix_hallpike": each(STILL_DOWN), "straight_head_hang": each(STILL_DOWN)},
    "central_up": {"dix_hallpike": each(Sign("up"))},
    "central_mixed": {
        "dix_hallpike": each(STILL_DOWN),
        "straight_head_hang": each(STILL_DOWN),
        "supine_roll": roll("apogeotropic", 0.8, 0.8),
    },
    "persistent_geotropic": {"supine_roll": roll("geotropic", 0.8, 0.8)},
    "persistent_apogeotropic": {"supine_roll": roll("apogeotropic", 0.8, 0.8)},
    "meniere_apogeotropic": {"supine_roll": roll("apogeotropic", 0.7, 0.8)},
    "one_direction": {
        "supine_roll": each(Sign(horizontal="away")),
        "dix_hallpike": each(Sign(horizontal="away", strength=0.9)),
        "lying_down": each(Sign(horizontal="away", strength=0.9)),
    },
    "silent": {},
}
PATTERN_NAMES = tuple(PATTERNS)
if PATTERN_NAMES[: len(VARIANTS)] != tuple(VARIANTS):
    raise ValueError(
        "the patterns must begin with the variants, in their order: their numbers are shared"
    )
if unknown := {p for cause in OTHER_CAUSES.values() for p in cause.patterns} - set(PATTERNS):
    raise ValueError(f"no such pattern of signs: {sorted(unknown)}")


class Timing(NamedTuple):
    """Seconds, degrees per second, and shares: means and standard deviations of gamma
    distributions.

    `kept_at_40s` is the slow-phase velocity at 40 s as a share of its peak; `fatigues` the share
    weaker on repetition; `vertigo` the share that feels vertigo.
    """

    latency: tuple[float, float] = (3.0, 2.0)
    duration: tuple[float, float] = (20.0, 9.0)
    peak: tuple[float, float] = (57.0, 38.0)
    kept_at_40s: float = 0.02
    fatigues: float = 0.7
    vertigo: float = 1.0


# Posterior: peak Front Neurol 2020;11:260, latency and duration within ICVD 2015 (a few seconds,
# under a minute), figures invented. Geotropic: Lechner 2014 (latency 0.8 +/- 1.0, duration 11.7 to
# 47.9, peak 79 +/- 67, 1.8 % left at 40 s). Apogeotropic: 2.7 +/- 3.0 and 47.9 +/- 15.8 s in 72
# (Clin Exp Otorhinolaryngol 2023;16:251-258), split into free and adherent so that both straddle 60
# s: invented. Downbeat: 4.7 +/- 5 and 40.1 +/- 22 s (Cambi 2013). Migraine .61, Meniere's disease
# .39 left at 40 s (Lechner 2014). Central: latency under 3 s in 94.7 %, under a minute in 64 to 85
# %,
# vertigo in 63.4 %
# (Macdonald 2017). The rest is
# invented.
APO: dict[str, Any] = {"latency": (2.7, 3.0), "peak": (60.0, 35.0)}
CENTRAL = Timing(
    (1.2, 0.9), (40.0, 30.0), (12.0, 6.0), kept_at_40s=0.4, fatigues=0.05, vertigo=0.634
)
STAYS = Timing((0.5, 0.5), (150.0, 40.0), (14.0, 7.0), kept_at_40s=0.61, fatigues=0.1, vertigo=0.8)
TIMINGS: dict[str, Timing] = {
    "posterior_cupula": Timing(
        (1.0, 0.7), (95.0, 22.0), (25.0, 12.0), kept_at_40s=0.6, fatigues=0.1
    ),
    "posterior_short": Timing((2.0, 1.5), (35.0, 14.0), (20.0, 10.0)),
    "posterior_distal": Timing((4.7, 5.0), (40.1, 22.0), (15.0, 8.0)),
    "lateral_geotropic": Timing(
        (0.8, 1.0), (29.0, 8.0), (79.0, 67.0), kept_at_40s=0.018, fatigues=0.4
    ),
    "lateral_free": Timing(**APO, duration=(36.0, 10.0), kept_at_40s=0.1, fatigues=0.3),
    "lateral_cupula": Timing(**APO, duration=(60.0, 13.0), kept_at_40s=0.5, fatigues=0.1),
    "anterior": Timing((4.7, 5.0), (40.1, 22.0), (15.0, 8.0)),
    "central_horizontal": CENTRAL,
    "central_down": CENTRAL,
    "central_up": CENTRAL,
    "central_mixed": CENTRAL,
    "persistent_geotropic": STAYS,
    "persistent_apogeotropic": STAYS,
    "meniere_apogeotropic": STAYS._replace(kept_at_40s=0.39),
    "one_direction": STAYS,
}


def timing_of(pattern: str) -> Timing:
    """The timing of a pattern of signs; those not listed are like free debris in the posterior long
    arm."""
    return TIMINGS.get(pattern, Timing())
