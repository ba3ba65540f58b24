"""Which maneuver is chosen for a working diagnosis, and how well it is carried out."""

import numpy as np

from synthetic_data.clinicians import OPINIONS
from synthetic_data.draw import chance, pick
from synthetic_data.patients import BOTH, LEFT, NO_SIDE, RIGHT
from synthetic_data.sites import Site

# Groups of working diagnoses that are treated alike.
GROUP_OF = {
    "posterior_long": "posterior",
    "posterior_cupula": "adherent",
    "posterior_short": "short_arm",
    "posterior_distal": "downbeat",
    "anterior": "downbeat",
    "lateral_geotropic": "geotropic",
    "lateral_free": "apogeotropic",
    "lateral_cupula": "apogeotropic",
    "several_one_ear": "several",
    "several_both_ears": "posterior",
    "uncertain": "uncertain",
    "none": "uncertain",
}
# Weights of the first maneuver, and of the next one when it is changed: invented habits around AAO
# 2017 (repositioning for the posterior canal, roll or Gufoni maneuver for the lateral one). A site
# can have its own
# first weights.
FIRST: dict[str, dict[str, float]] = {
    "posterior": {"epley": 0.75, "semont": 0.17, "gans": 0.05, "half_somersault": 0.03},
    "adherent": {"semont": 0.3, "epley": 0.6, "brandt_daroff": 0.1},
    "short_arm": {
        "repeated_sit_ups": 0.15,
        "bow_and_yaw": 0.4,
        "epley": 0.35,
        "brandt_daroff": 0.1,
    },
    "downbeat": {"deep_head_hanging": 0.7, "demi_semont": 0.15, "epley": 0.15},
    "geotropic": {
        "barbecue_roll": 0.55,
        "gufoni_geotropic": 0.38,
        "zuma_modified": 0.02,
        "forced_prolonged_position": 0.05,
    },
    "apogeotropic": {
        "gufoni_apogeotropic": 0.5,
        "head_shaking": 0.25,
        "casani": 0.1,
        "zuma": 0.05,
        "barbecue_roll": 0.1,
    },
    "several": {"epley": 0.55, "barbecue_roll": 0.45},
    "uncertain": {"epley": 0.6, "brandt_daroff": 0.25, "barbecue_roll": 0.1, "other": 0.05},
}
NEXT: dict[str, dict[str, float]] = {
    "posterior": {
        "semont": 0.35,
        "epley": 0.2,
        "semont_plus": 0.12,
        "brandt_daroff": 0.15,
        "gans": 0.06,
        "quick_liberatory_rotation": 0.04,
        "li_quick_repositioning": 0.04,
        "half_somersault": 0.04,
    },
    "adherent": {"semont": 0.6, "semont_plus": 0.3, "brandt_daroff": 0.1},
    "short_arm": {"bow_and_yaw": 0.6, "repeated_sit_ups": 0.25, "brandt_daroff": 0.15},
    "downbeat": {
        "deep_head_hanging": 0.35,
        "demi_semont": 0.3,
        "forced_prolonged_45": 0.15,
        "epley": 0.2,
    },
    "geotropic": {
        "gufoni_geotropic": 0.4,
        "barbecue_roll": 0.3,
        "vannucchi_asprella": 0.15,
        "forced_prolonged_position": 0.15,
    },
    "apogeotropic": {
        "gufoni_apogeotropic": 0.25,
        "head_shaking": 0.25,
        "cupulolith_repositioning": 0.2,
        "zuma": 0.1,
        "mastoid_vibration": 0.1,
        "forced_prolonged_position": 0.1,
    },
    "several": {"epley": 0.5, "gufoni_geotropic": 0.25, "barbecue_roll": 0.25},
    "uncertain": {
        "epley": 0.35,
        "brandt_daroff": 0.35,
        "semont": 0.15,
        "barbecue_roll": 0.1,
        "other": 0.05,
    },
}
# In which group who has more against quick success is given which maneuver more often, and how much
# more: log weights per unit of `patients.measure_burden`. Invented, so that comparing who was given
# what misleads.
CHANNELLED: dict[str, tuple[str, float]] = {"posterior": ("semont", 2.0)}
HOME = ("brandt_daroff", "half_somersault", "forced_prolonged_position", "forced_prolonged_45")
# Head turn and hang in degrees, hold in seconds; nan where the maneuver has no such position. Epley
# AAO 2017; Semont 45 degrees and 45 s or more Obrist D et al. Front Neurol 2016;7:150; SemontPLUS
# 60 degrees or more below horizontal Strupp M 2021; others common practice.
NONE = float("nan")
INTENDED: dict[str, tuple[float, float, float]] = {
    "epley": (45, 25, 40),
    "semont": (45, NONE, 60),
    "semont_plus": (45, 60, 60),
    "demi_semont": (45, NONE, 150),
    "bow_and_yaw": (45, NONE, 30),
    "repeated_sit_ups": (45, 20, 20),
    "quick_liberatory_rotation": (45, 25, 30),
    "li_quick_repositioning": (45, NONE, 30),
    "gans": (45, 20, 30),
    "half_somersault": (45, NONE, 15),
    "brandt_daroff": (45, NONE, 30),
    "barbecue_roll": (90, NONE, 45),
    "gufoni_geotropic": (50, NONE, 120),
    "gufoni_apogeotropic": (50, NONE, 120),
    "vannucchi_asprella": (90, NONE, 30),
    "cupulolith_repositioning": (90, NONE, 60),
    "zuma": (90, NONE, 180),
    "zuma_modified": (90, NONE, 180),
    "casani": (45, NONE, 120),
    "deep_head_hanging": (0, 35, 30),
}
# below it the Semont maneuver fails in vitro (Obrist 2016); taken for all here: invented
SHORT_HOLD_S = 16


def choose_maneuvers(
    rng: np.random.Generator,
    site: Site,
    names: tuple[str, ...],
    opinion: np.ndarray,
    previous: np.ndarray,
    change: np.ndarray,
    burden: np.ndarray,
) -> np.ndarray:
    """The number in `names` of the next maneuver: by habit and by the patient's `burden` if there
    was none (`previous` -1), else another or the same again.
    """
    first = weigh(FIRST | site.maneuvers, names)[opinion]
    for group, (heavier, tilt) in CHANNELLED.items():
        members = np.array([GROUP_OF[each] == group for each in OPINIONS])[opinion]
        first[members, names.index(heavier)] *= np.exp(tilt * burden[members])
    following = weigh(NEXT, names)[opinion]
    rows = np.arange(len(opinion))
    following[rows, previous] *= previous < 0
    following[following.sum(axis=1) == 0] = 1 / len(names)
    weights = np.where(((previous >= 0) & change)[:, None], following, first)
    repeat = (previous >= 0) & ~change
    weights[repeat] = np.eye(len(names))[previous[repeat]]
    return pick(rng, weights)


def weigh(habits: dict[str, dict[str, float]], names: tuple[str, ...]) -> np.ndarray:
    """Weights by opinion (rows) and maneuver (columns)."""
    return np.array(
        [[habits[GROUP_OF[opinion]].get(name, 0.0) for name in names] for opinion in OPINIONS]
    )


def choose_side(
    rng: np.random.Generator, sided: np.ndarray, side: np.ndarray, attempt: np.ndarray
) -> np.ndarray:
    """The treated ear: the one held to be affected; in turn if both are; a guess if none is;
    none if unsided."""
    guess = rng.integers(0, 2, len(side))
    turn = np.where(attempt % 2 == 1, RIGHT, LEFT)
    ear = np.where(side == BOTH, turn, np.where(side == NO_SIDE, guess, side))
    return np.where(sided, ear, NO_SIDE)


def carry_out(
    rng: np.random.Generator, site: Site, maneuver: np.ndarray
) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """How each attempt went (columns of the treatments table),
    and by what factor that multiplies its effect (invented factors).

    `maneuver` holds codes. Angles and holds scatter around the intended ones; at the site whose
    angles are not recorded none are given.
    """
    count = len(maneuver)
    turn, hang, hold = (
        np.array([INTENDED.get(code, (NONE,) * 3) for code in maneuver]).reshape(count, 3).T
    )
    turn = np.round(np.maximum(turn + rng.normal(0, 7, count) - 4 * (turn > 0), 0))
    hang = np.round(np.maximum(hang + rng.normal(-2, 8, count), 0))
    hold = np.round(hold * np.exp(rng.normal(-0.1, 0.35, count)))
    observed = maneuver == "observe"
    home = np.isin(maneuver, HOME)
    remote = ~home & ~observed & chance(rng, 0.03, count)
    completed = observed | chance(rng, np.where(home, 0.88, 0.97), count)
    by = np.where(
        home, "self_unsupervised", np.where(remote, "self_supervised", "clinician")
    ).astype(object)
    by[home & chance(rng, 0.15, count)] = "caregiver"
    factor = np.where(completed, 1.0, 0.3) * np.where(hold < SHORT_HOLD_S, 0.6, 1.0)
    factor *= np.where(
        (hang < 10) & np.isin(maneuver, ["epley", "quick_liberatory_rotation"]), 0.7, 1.0
    )
    cycles = np.where(
        maneuver == "brandt_daroff", rng.integers(60, 211, count), rng.integers(1, 4, count)
    ).astype(float)
    cycles[observed] = np.nan
    if site.angle_source == "not_recorded":
        turn, hang = np.full(count, np.nan), np.full(count, np.nan)
    source = np.where(np.isnan(turn), "not_recorded", site.angle_source).astype(object)
    source[observed] = None
    details = {
        "cycles": cycles,
        "setting": np.where(home, "home", np.where(remote, "telehealth", "clinic")).astype(object),
        "performed_by": by,
        "head_turn_deg": turn,
        "head_hang_deg": hang,
        "hold_s": hold,
        "angle_source": source,
        "completed": np.where(completed, "yes", "no").astype(object),
    }
    return details, factor


def draw_adverse(rng: np.random.Generator, active: np.ndarray, moved: np.ndarray) -> np.ndarray:
    """The adverse event of each attempt: near 13.8 % in all (Yimtae K et al. Laryngoscope
    2003;113:828-832), split invented; six in ten canal switches are noticed at once (invented).
    Observation has none.
    """
    kinds = ("none", "nausea", "vomiting", "faint", "neck_pain", "back_pain", "other")
    event = rng.choice(
        np.array(kinds, dtype=object),
        len(active),
        p=[0.862, 0.085, 0.02, 0.004, 0.015, 0.009, 0.005],
    )
    event[~active] = "none"
    event[moved & chance(rng, 0.6, len(active))] = "canal_switch"
    return event
