"""The clinician's own working diagnosis: often right, sometimes the wrong canal or ear,
better at some sites."""

from dataclasses import dataclass

import numpy as np

from synthetic_data.draw import blank, chance, pick, pick_one
from synthetic_data.patients import BOTH, NO_SIDE, NYSTAGMUS, RESOLVED, SIDE_NAMES, Cases
from synthetic_data.scenario import DECISIVE, VARIANTS
from synthetic_data.signs import PATTERN_NAMES
from synthetic_data.sites import Site

OPINIONS = (*VARIANTS, "uncertain", "none")
UNCERTAIN, NOTHING = OPINIONS.index("uncertain"), OPINIONS.index("none")

# How readable each variant is, times the site's own probability of the right canal; and what is
# read instead. All invented.
READABLE = {
    "posterior_cupula": 0.6,
    "posterior_distal": 0.4,
    "lateral_free": 0.75,
    "lateral_cupula": 0.85,
    "anterior": 0.8,
    "several_one_ear": 0.6,
    "several_both_ears": 0.6,
}
SHORT_ARM_LOOKED_FOR, SHORT_ARM_NOT_LOOKED_FOR = 0.75, 0.15
READ_INSTEAD: dict[str, dict[str, float]] = {
    "posterior_long": {
        "uncertain": 0.4,
        "lateral_geotropic": 0.25,
        "posterior_cupula": 0.2,
        "anterior": 0.15,
    },
    "posterior_cupula": {"posterior_long": 0.85, "uncertain": 0.15},
    "posterior_short": {"uncertain": 0.6, "posterior_long": 0.4},
    "posterior_distal": {"anterior": 0.75, "uncertain": 0.25},
    "lateral_geotropic": {"posterior_long": 0.5, "uncertain": 0.3, "lateral_free": 0.2},
    "lateral_free": {"lateral_cupula": 0.6, "lateral_geotropic": 0.2, "uncertain": 0.2},
    "lateral_cupula": {"lateral_free": 0.5, "lateral_geotropic": 0.2, "uncertain": 0.3},
    "anterior": {"posterior_distal": 0.4, "posterior_long": 0.3, "uncertain": 0.3},
    "several_one_ear": {"posterior_long": 0.6, "lateral_geotropic": 0.4},
    "several_both_ears": {"posterior_long": 0.9, "uncertain": 0.1},
    "central_horizontal": {"lateral_cupula": 0.6, "lateral_free": 0.2, "uncertain": 0.2},
    "central_down": {"anterior": 0.6, "posterior_distal": 0.1, "uncertain": 0.3},
    "central_up": {"posterior_long": 0.7, "uncertain": 0.3},
    "central_mixed": {"uncertain": 0.6, "anterior": 0.2, "lateral_cupula": 0.2},
    "persistent_geotropic": {"lateral_geotropic": 0.6, "uncertain": 0.4},
    "persistent_apogeotropic": {"lateral_cupula": 0.7, "uncertain": 0.3},
    "meniere_apogeotropic": {"lateral_cupula": 0.6, "uncertain": 0.4},
    "one_direction": {"lateral_geotropic": 0.2, "lateral_cupula": 0.2, "uncertain": 0.6},
    "silent": {"uncertain": 0.75, "posterior_long": 0.25},
}


@dataclass
class Views:
    """What the clinician holds: a number of `OPINIONS` and an ear for each episode;
    both can be revised at a later visit.
    """

    opinion: np.ndarray
    side: np.ndarray


def draw_views(
    rng: np.random.Generator, site: Site, cases: Cases, recognised_now: np.ndarray
) -> Views:
    """The first working diagnoses; `recognised_now` marks cases seen at once not to be positional
    vertigo."""
    opinion = read_canal(rng, site, cases.pattern)
    no_nystagmus = np.flatnonzero((cases.presentation != NYSTAGMUS) & cases.positional)
    # history alone names the canal in half of them: invented
    unclear = chance(rng, 0.5, len(no_nystagmus))
    opinion[no_nystagmus] = np.where(unclear, UNCERTAIN, cases.pattern[no_nystagmus])
    side = read_side(rng, site, cases.pattern, cases.side)
    opinion[recognised_now] = NOTHING
    side[recognised_now | (chance(rng, 0.6, len(cases)) & (opinion == UNCERTAIN))] = NO_SIDE
    side[(cases.presentation == RESOLVED) & (opinion == UNCERTAIN)] = NO_SIDE
    return Views(opinion, side)


def read_canal(rng: np.random.Generator, site: Site, pattern: np.ndarray) -> np.ndarray:
    """The opinion that a pattern of signs gives: right with the site's probability times its
    readability, else what is read instead.
    """
    looked_for = (
        SHORT_ARM_LOOKED_FOR
        if site.sitting_up or site.half_dix_hallpike
        else SHORT_ARM_NOT_LOOKED_FOR
    )
    readable = READABLE | {"posterior_short": looked_for}
    instead = np.array(
        [[READ_INSTEAD[name].get(opinion, 0) for opinion in OPINIONS] for name in PATTERN_NAMES]
    )
    recognised = np.array(
        [readable.get(name, 1.0) if name in VARIANTS else 0.0 for name in PATTERN_NAMES]
    )
    right = chance(rng, site.right_canal * recognised[pattern], len(pattern))
    return np.where(right, pattern, pick(rng, instead[pattern]))


def read_side(
    rng: np.random.Generator, site: Site, pattern: np.ndarray, side: np.ndarray
) -> np.ndarray:
    """The ear that is held to be affected: less sure in the lateral canal and in down-beating
    nystagmus (figures invented).
    """
    names = np.array(PATTERN_NAMES)
    harder = np.where(np.char.startswith(names, "lateral"), 0.08, 0.0) + np.where(
        np.isin(names, ["posterior_distal", "anterior"]), 0.3, 0.0
    )
    right = chance(rng, site.right_side - harder[pattern], len(pattern))
    return np.where(right | (side == BOTH), side, 1 - side)


def record_views(
    rng: np.random.Generator, site: Site, views: Views, short_by_response: np.ndarray
) -> dict[str, np.ndarray]:
    """The recorded_* columns and arm_basis: most clinicians leave the arm unknown.

    `short_by_response` marks episodes that the site calls short-arm because a maneuver for it was
    followed by resolution.
    """
    count = len(views.opinion)
    extra = {
        "uncertain": ("uncertain", "unknown", "unknown"),
        "none": ("none", "not_applicable", "unknown"),
    }
    known = {name: (v.canal, v.arm, v.mechanism) for name, v in VARIANTS.items()} | extra
    canal, arm, mechanism = (
        np.array([known[name][part] for name in OPINIONS], dtype=object)[views.opinion]
        for part in range(3)
    )
    arm[arm == "cupula"] = "not_applicable"
    named = np.where((canal == "posterior") & (arm == "short"), 0.85, site.names_arm)
    arm[np.isin(arm, ["long", "short"]) & ((canal == "lateral") | ~chance(rng, named, count))] = (
        "unknown"
    )
    arm[short_by_response] = "short"
    mechanism[chance(rng, 0.15, count)] = "unknown"
    basis = blank(rng, np.full(count, "not_assessed", dtype=object), 0.5)
    basis[np.isin(arm, ["long", "short"])] = site.short_arm_basis
    if site.short_arm_basis != "treatment_response":
        basis[(arm == "short") & chance(rng, 0.1, count)] = "treatment_response"
    side = SIDE_NAMES[views.side]
    return {
        "recorded_canal": canal,
        "recorded_side": side,
        "recorded_arm": arm,
        "arm_basis": basis,
        "recorded_mechanism": mechanism,
    }


def draw_recognition(
    rng: np.random.Generator, site: Site, cases: Cases
) -> tuple[np.ndarray, np.ndarray]:
    """For each episode the day from which the site would see that it is not positional vertigo
    (infinite if never), and by what diagnosis. Decisive answers are seen more often; the untreated
    are recognised at the first visit; one in ten is named wrongly (all invented).
    """
    count = len(cases)
    decisive = cases.answers[list(DECISIVE)].eq("yes").any(axis=1).to_numpy()
    seen = ~cases.positional & chance(
        rng, np.minimum(site.recognises + 0.25 * decisive, 0.97), count
    )
    day = np.where(cases.treated, rng.integers(1, 40, count), 0).astype(float)
    day[~seen] = np.inf
    swap = chance(rng, 0.1, count)
    diagnosis = np.where(
        seen,
        np.where(
            swap, pick_one(rng, {"other": 1, "persistent_postural": 1}, count), cases.other_cause
        ),
        None,
    )
    return day, diagnosis
