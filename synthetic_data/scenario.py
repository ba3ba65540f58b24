"""The planted truth: what is in the ear, how long it stays, what else it can be.

Each figure has its source or the word invented.

Sources in short: Moon 2006 = Moon SY et al. J Korean Med Sci 2006;21:539-543; Damman 2005 = Damman
W et al. JNNP 2005;76:1307; von Brevern 2004 = JNNP 2004;75:1487; Wu 2022 = Wu Y et al. Front Neurol
2022;13:1049828; Imai 2005 = Neurology 2005;64:920-921; Macdonald 2017 = Macdonald NK et al. Front
Neurol 2017;8:141; Nunez 2000 = Nunez RA et al. OHNS 2000;122:647-652; Cambi 2013 = Cambi J et al. J
Neurol 2013;260:1489-1496.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Variant:
    """Where the debris is and in what state, with its share of positional episodes and its course
    without a maneuver.

    `switch` gives, for each variant it can turn into, the probability per treated case that debris
    moves to another canal; `converts` the variant of the same canal into which an attempt can turn
    it, and the probability at each fitting attempt that failed.
    """

    canal: str
    arm: str
    mechanism: str
    share: float
    remission_days: float
    switch: dict[str, float] = field(default_factory=dict)
    converts: tuple[str, float] | None = None


# Shares: posterior .66, lateral .26, anterior .03, several canals .05, between Moon 2006
# (60.9/31.9/2.2/5.0 %) and Damman 2005 (72.2/21.5/3.3/3.0 %). Within the posterior canal invented,
# with the short arm and the cupula so frequent that a pool of this size can tell of them;
# downbeat near 20 of 157 (Garaycochea O et al. Braz J ORL 2022;88:708-716); within the lateral one
# geotropic about half (Moon 2006). Several canals: one in three in both ears, invented. Remission
# in mean days: posterior 39 (Imai 2005, untreated); lateral 4.7 geotropic, 4.4 apogeotropic from
# diagnosis to the end of nystagmus (untreated, J Neurol 2015;262:74-80); downbeat 10, near the life
# table of Cambi 2013 (48 % within 7, 98 % within 28 days). Switches per case: posterior 11 and 14
# of 677, lateral 14 and 3 of 327, anterior 9 of 95 (Wu 2022; 51 of 1099 in all). Conversions:
# distal posterior 7 of
# 23
# (Asprella-Libonati G, Pecci R.
# B-ENT 2019;15:119-125);
# apogeotropic to
# geotropic invented.
POSTERIOR_SWITCH = {"lateral_geotropic": 11 / 677, "anterior": 14 / 677}
LATERAL_SWITCH = {"posterior_long": 14 / 327, "anterior": 3 / 327}
VARIANTS: dict[str, Variant] = {
    "posterior_long": Variant("posterior", "long", "canalolithiasis", 0.35, 39, POSTERIOR_SWITCH),
    "posterior_cupula": Variant(
        "posterior", "cupula", "cupulolithiasis", 0.15, 39, POSTERIOR_SWITCH
    ),
    "posterior_short": Variant("posterior", "short", "canalolithiasis", 0.11, 39, POSTERIOR_SWITCH),
    "posterior_distal": Variant(
        "posterior", "long", "canalolithiasis", 0.05, 10, {}, ("posterior_long", 7 / 23)
    ),
    "lateral_geotropic": Variant("lateral", "long", "canalolithiasis", 0.14, 4.7, LATERAL_SWITCH),
    "lateral_free": Variant(
        "lateral", "short", "canalolithiasis", 0.05, 4.4, LATERAL_SWITCH, ("lateral_geotropic", 0.3)
    ),
    "lateral_cupula": Variant(
        "lateral",
        "cupula",
        "cupulolithiasis",
        0.07,
        4.4,
        LATERAL_SWITCH,
        ("lateral_geotropic", 0.3),
    ),
    "anterior": Variant(
        "anterior", "unknown", "canalolithiasis", 0.03, 10, {"posterior_long": 9 / 95}
    ),
    "several_one_ear": Variant("multiple", "unknown", "canalolithiasis", 0.035, 39),
    "several_both_ears": Variant("multiple", "unknown", "canalolithiasis", 0.015, 39),
}


@dataclass(frozen=True)
class OtherCause:
    """A cause other than canal debris: share of the non-positional, the signs it can show,
    and its screening answers.

    `patterns` are keys of `signs.PATTERNS` with weights; `answers` the probability of yes in each
    screening field; `decisive` the probability of at least one decisive neurological answer;
    `remission_days` the mean days until its symptoms end without any maneuver's help.
    """

    share: float
    patterns: dict[str, float]
    answers: dict[str, float]
    remission_days: float
    decisive: float = 0.0


# Shares and answers invented but for: neurological signs in 48.8 % of central cases, directions
# horizontal 36.8, down 29.2, up 2.1, mixed 29.9 % (Macdonald 2017); persistent horizontal nystagmus
# in migraine and Meniere's disease (Lechner C et al. J Neurol 2014;261:1009-1017; how often,
# invented).
OTHER_CAUSES: dict[str, OtherCause] = {
    "central": OtherCause(
        0.30,
        {
            "central_horizontal": 36.8,
            "central_down": 29.2,
            "central_up": 2.1,
            "central_mixed": 29.9,
        },
        {"severe_headache_or_neck_pain": 0.15},
        float("inf"),
        decisive=0.488,
    ),
    "vestibular_migraine": OtherCause(
        0.25,
        {"persistent_geotropic": 0.3, "persistent_apogeotropic": 0.3, "silent": 0.4},
        {
            "attacks_over_2min": 0.8,
            "migraine_features_with_attacks": 0.75,
            "severe_headache_or_neck_pain": 0.1,
        },
        30,
    ),
    "orthostatic": OtherCause(0.20, {"silent": 1}, {"symptoms_only_on_standing": 0.85}, 120),
    "unilateral_vestibulopathy": OtherCause(
        0.08, {"one_direction": 1}, {"continuous_24h": 0.8, "cannot_stand": 0.05}, 20
    ),
    "meniere": OtherCause(
        0.07,
        {"meniere_apogeotropic": 0.4, "silent": 0.6},
        {"new_hearing_change": 0.8, "attacks_over_2min": 0.8},
        15,
    ),
    "persistent_postural": OtherCause(0.06, {"silent": 1}, {"attacks_over_2min": 0.4}, 300),
    "vestibular_paroxysmia": OtherCause(0.02, {"silent": 1}, {}, 200),
    "other": OtherCause(0.02, {"silent": 1}, {"attacks_over_2min": 0.3}, 60),
}
# Weights of the decisive answers among the central cases that have one: invented.
DECISIVE = {
    "focal_neurological_sign": 0.45,
    "gaze_evoked_nystagmus": 0.25,
    "cannot_stand": 0.2,
    "spontaneous_vertical_nystagmus": 0.1,
}
SCREENING = (
    "focal_neurological_sign",
    "spontaneous_vertical_nystagmus",
    "gaze_evoked_nystagmus",
    "cannot_stand",
    "severe_headache_or_neck_pain",
    "new_hearing_change",
    "symptoms_only_on_standing",
    "continuous_24h",
    "attacks_over_2min",
    "migraine_features_with_attacks",
)

# Mix of recorded causes: invented.
CAUSE_MIX = {
    "idiopathic": 0.70,
    "head_trauma": 0.09,
    "after_neuritis": 0.05,
    "with_meniere": 0.03,
    "prolonged_rest": 0.04,
    "after_procedure": 0.03,
    "other": 0.03,
    "unknown": 0.03,
}


@dataclass(frozen=True)
class Scenario:
    """The planted truth that is not tied to one variant, maneuver or site.

    Effects on speed are log hazard ratios.
    """

    # who comes
    non_positional: float = 0.10  # invented
    # vertigo without nystagmus; fewer than 63 of 267 (Balatsouras & Korres 2012): invented
    vertigo_only: float = 0.06
    resolved_before_visit: float = (
        0.05  # fewer than 153 of 457 (Alvarez-Morujo MG et al. J Otol 2019;14:111-116): invented
    )
    right_ear: float = 1.41 / 2.41  # right to left 1.41 over 3506 cases (von Brevern 2004)
    female: float = 0.677  # Moon 2006
    age_mean: float = 54.8  # Moon 2006
    age_sd: float = 14.0  # Moon 2006
    age_range: tuple[int, int] = (18, 95)
    repeat_share: float = 0.07  # episodes that are a further one of an earlier patient: invented
    first_episode: float = 0.68  # without an earlier spell: invented
    onset_median_days: float = 12  # from first symptom to the clinic: invented
    onset_median_days_lateral: float = (
        6  # lateral cases come early or not at all (Moon 2006, r = -0.84): figure invented
    )
    onset_log_sd: float = 1.0  # invented
    earlier_test: float = 0.08  # examined some days before the first attempt: invented
    # how fast it goes
    frailty_log_sd: float = 0.7  # patients differ, same for all episodes of a patient: invented
    per_decade: float = -0.2  # age, per ten years from 55: invented
    per_log_day: float = -0.45  # days since onset, per unit of log(1 + days) from 2.5: invented
    head_trauma: float = -0.9  # invented
    any_prior_episode: float = -0.12  # invented
    recurrence_per_year: float = 0.15  # about 15 % a year (Nunez 2000)
    # 70 % or more elsewhere (Perez P et al. Otol Neurotol 2012;33:437-443)
    recurrence_same_place: float = 0.3
    # share of a successful attempt's effect within the hour (Mandala M 2012: 1 h to 24 h)
    immediate: float = 138 / 151
    attempts_per_case: float = (
        # spreads the published probability of a switch per case over the attempts of a case:
        # invented
        1.4
    )
    # where debris sticks, a maneuver whose family failed at once before has so much of its effect:
    # invented, so that another one is better there
    same_again_on_cupula: float = 0.05
    # how well it is seen
    false_negative: float = 0.03  # a test of a present case shows nothing: invented
    false_positive: float = 0.02  # a test after resolution shows something: invented
    # a retest in the visit of a failed attempt shows nothing (fatigue): invented
    transient_negative: float = 0.3
    incomplete_test: float = 0.04  # a follow-up test leaves out the affected side: invented
    lost_resolved: float = 0.12  # not seen again, per planned visit, when well: invented
    lost_present: float = 0.07  # the same when not well: invented
    withdraws: float = 0.01  # invented
    early_return: float = 0.2  # comes before the planned day when not well: invented
