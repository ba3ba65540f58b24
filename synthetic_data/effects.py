"""What one attempt does: the probability that it clears a variant by itself,
in a median patient at a reference site, done well.

Natural remission comes on top. The figures lean on the first-attempt results named beside them;
where none is named they are invented.
"""

import numpy as np

from synthetic_data.scenario import VARIANTS

WRONG = 0.04  # a sided or fitting maneuver for another place does little: invented
NO_EFFECT = ("observe", "sham")
# a course of Brandt-Daroff exercises; its effect is spread over these days (common practice)
EXERCISE_DAYS = 14
SLOW = ("brandt_daroff",)

CHANCES: dict[tuple[str, str], float] = {
    # 23 of 36 after one (Lee JD 2014), 28 of 35 at 24 h (von Brevern M 2006)
    ("epley", "posterior_long"): 0.72,
    ("epley", "posterior_cupula"): 0.30,
    ("epley", "posterior_short"): 0.08,
    ("epley", "posterior_distal"): 0.15,
    ("epley", "several_one_ear"): 0.35,
    ("epley", "several_both_ears"): 0.35,
    # one attempt 67 % (Strupp M 2021, from memory); equal to the Epley maneuver: invented, so that
    # what differs in the records is only who was given it
    ("semont", "posterior_long"): 0.72,
    ("semont", "posterior_cupula"): 0.75,
    ("semont", "several_one_ear"): 0.30,
    ("semont", "several_both_ears"): 0.30,
    ("semont_plus", "posterior_long"): 0.72,  # 76 % (Strupp M 2021, from memory): as above
    ("semont_plus", "posterior_cupula"): 0.75,
    ("gans", "posterior_long"): 0.65,
    ("half_somersault", "posterior_long"): 0.50,
    # 79 of 100 at 1 h, as read in an excerpt
    ("quick_liberatory_rotation", "posterior_long"): 0.75,
    ("li_quick_repositioning", "posterior_long"): 0.60,
    ("li_quick_repositioning", "lateral_geotropic"): 0.45,
    ("brandt_daroff", "posterior_long"): 0.45,
    ("brandt_daroff", "posterior_cupula"): 0.40,
    # resolved after repositioning had failed (Scocco DH 2022)
    ("brandt_daroff", "posterior_short"): 0.60,
    ("brandt_daroff", "posterior_distal"): 0.35,
    ("demi_semont", "posterior_distal"): 0.57,  # 13 of 23 (Asprella-Libonati G 2019)
    ("forced_prolonged_45", "posterior_distal"): 0.20,  # 1 of 5 (same)
    ("bow_and_yaw", "posterior_short"): 0.65,
    # about 40 % of 171 positive Dix-Hallpike tests turned (Ping L 2022): less, invented
    ("bow_and_yaw", "posterior_long"): 0.18,
    ("repeated_sit_ups", "posterior_short"): 0.50,
    # 38 of 55 and 39 of 64 within an hour (Kim JS 2012), 77 of 119 together: equal, so that there
    # is nothing to be found
    ("barbecue_roll", "lateral_geotropic"): 77 / 119,
    ("barbecue_roll", "several_one_ear"): 0.25,
    ("gufoni_geotropic", "lateral_geotropic"): 77 / 119,
    ("gufoni_geotropic", "several_one_ear"): 0.25,
    ("vannucchi_asprella", "lateral_geotropic"): 0.60,
    ("zuma_modified", "lateral_geotropic"): 0.70,
    ("forced_prolonged_position", "lateral_geotropic"): 0.60,
    ("forced_prolonged_position", "lateral_free"): 0.35,
    ("forced_prolonged_position", "lateral_cupula"): 0.30,
    # 38 of 52, conversion counted as success (Kim JS 2012): less
    ("gufoni_apogeotropic", "lateral_free"): 0.60,
    ("gufoni_apogeotropic", "lateral_cupula"): 0.50,
    ("head_shaking", "lateral_free"): 0.50,  # 33 of 53 (same)
    ("head_shaking", "lateral_cupula"): 0.42,
    # 76 of 78 after 2.1 on average (Kim SH 2012)
    ("cupulolith_repositioning", "lateral_cupula"): 0.70,
    ("cupulolith_repositioning", "lateral_free"): 0.40,
    ("mastoid_vibration", "lateral_cupula"): 0.30,
    ("zuma", "lateral_free"): 0.55,
    ("zuma", "lateral_cupula"): 0.50,
    ("casani", "lateral_free"): 0.50,
    ("casani", "lateral_cupula"): 0.50,
    # 85.6 % pooled, uncontrolled (Anagnostou E 2015): less
    ("deep_head_hanging", "anterior"): 0.75,
    ("deep_head_hanging", "posterior_distal"): 0.50,
}


def tabulate_chances(
    maneuvers: tuple[str, ...], patterns: tuple[str, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Probability of clearing by maneuver (rows) and pattern of signs (columns): on the right side,
    and on the wrong one.

    Patterns that are not variants stand for other causes: no maneuver clears them.
    """
    right = np.zeros((len(maneuvers), len(patterns)))
    for row, maneuver in enumerate(maneuvers):
        for place, pattern in enumerate(patterns):
            if pattern in VARIANTS and maneuver not in NO_EFFECT:
                right[row, place] = CHANCES.get((maneuver, pattern), WRONG)
    return right, np.minimum(right, WRONG)
