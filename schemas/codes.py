"""The closed lists of values, each code with its meaning.

Codes are typed by coordinators and scripted against: never rename one.
"""

SITE_CODE = "S[0-9]{2,3}"

YES_NO = {"yes": "yes", "no": "no"}
YES_NO_UNKNOWN = {"yes": "yes", "no": "no", "unknown": "asked, not known"}
YES_NO_NOT_TESTED = {"yes": "yes", "no": "no", "not_tested": "not tested"}

TORSION_TOWARD = {
    "lower_ear": "toward the ear that is down",
    "upper_ear": "toward the other ear",
    "midline": "test without a side",
    "none": "no torsion",
}
DURATION_CLASS = {
    "short": "below the borderline band",
    "borderline": "within the band",
    "long": "above the band",
    "unknown": "not measured",
}
VELOCITY_CLASS = {
    "slow": "below the limit of healthy people",
    "fast": "at or above that limit, or seen under fixation without being measured",
    "unknown": "not measured, and not known to have been seen under fixation",
}

TEST_REASON = {
    "planned": "the site had planned a test for about that day",
    "symptoms": "the patient came because of symptoms",
    "other": "another reason",
    "unknown": "asked, not known",
}
PLANNED_KIND = {
    "test": "testing again, counted from a maneuver",
    "call": "telephoning everybody, counted from day 0",
}

SEX = {
    "female": "female",
    "male": "male",
    "other": "neither of the two",
    "unknown": "asked, not known",
}

CAUSE = {
    "idiopathic": "no cause found",
    "head_trauma": "after a head injury",
    "after_neuritis": "after vestibular neuritis",
    "with_meniere": "with Ménière's disease",
    "prolonged_rest": "after long bed rest",
    "after_procedure": "after an operation or a dental procedure",
    "other": "another cause",
    "unknown": "asked, not known",
}

RECORDED_CANAL = {
    "posterior": "posterior semicircular canal",
    "lateral": "lateral (horizontal) semicircular canal",
    "anterior": "anterior (superior) semicircular canal",
    "multiple": "more than one canal",
    "uncertain": "positional vertigo, canal not certain",
    "none": "no canal: not thought to be positional vertigo",
}
CANAL = {
    "posterior": RECORDED_CANAL["posterior"],
    "lateral": RECORDED_CANAL["lateral"],
    "anterior": RECORDED_CANAL["anterior"],
    "anterior_or_posterior": (
        "torsional down-beating nystagmus: the anterior canal of one ear or the posterior canal of "
        "the other"
    ),
    "multiple": RECORDED_CANAL["multiple"],
    "unknown": "the tests do not tell",
}
RECORDED_SIDE = {
    "right": "right ear",
    "left": "left ear",
    "both": "both ears",
    "unknown": "side not known",
}
SIDE = RECORDED_SIDE

RECORDED_ARM = {
    "long": "long arm of the canal (away from the cupula, toward the common crus or the vestibule)",
    "short": "short arm of the canal (between the cupula and the utricle)",
    "unknown": "arm not known",
    "not_applicable": "no arm applies, as with debris on the cupula or no canal",
}
ARM = {
    "long": RECORDED_ARM["long"],
    "short": RECORDED_ARM["short"],
    "short_or_cupula": (
        "short arm or heavy cupula: told on sitting up, and not parted by a test with the nose down"
    ),
    "cupula": "debris on the cupula itself",
    "unknown": "the tests do not tell",
}
SHORT_ARMS = ("short", "short_or_cupula")  # each says by which definition
ARM_BASIS = {
    "sitting_up": "findings on sitting up, with silent positional tests",
    "half_dix_hallpike": "the pattern of the half Dix-Hallpike and nose-down tests",
    "treatment_response": "the response to a maneuver",
    "not_assessed": "the arm was not assessed",
}
MECHANISM = {
    "canalolithiasis": "debris free in the canal",
    "cupulolithiasis": "debris adherent to the cupula",
    "unknown": "not known",
}

OTHER_DIAGNOSIS = {
    "none": "no other diagnosis was reached",
    "central": "a central (brain) cause",
    "vestibular_migraine": "vestibular migraine",
    "unilateral_vestibulopathy": "unilateral vestibulopathy (vestibular neuritis)",
    "meniere": "Ménière's disease",
    "orthostatic": "orthostatic dizziness or vertigo",
    "persistent_postural": "persistent postural-perceptual dizziness",
    "vestibular_paroxysmia": "vestibular paroxysmia",
    "other": "another diagnosis",
    "unknown": "asked, not known",
}

TEST = {
    "dix_hallpike": "Dix-Hallpike test",
    "side_lying": "side-lying test",
    "half_dix_hallpike": "half Dix-Hallpike test",
    "supine_roll": "supine roll test",
    "straight_head_hang": "straight head-hanging test",
    "nose_down": "nose-down position",
    "sitting_up": "sitting up from lying",
    "bow": "head bowed forward",
    "lean": "head leaned backward",
    "lying_down": "lying down from sitting",
}
TEST_SIDE = {
    "right": "right ear down, or head turned right",
    "left": "left ear down, or head turned left",
    "none": "midline test",
}
TEST_RESULT = {
    "negative": "neither nystagmus nor vertigo",
    "positive": "nystagmus or vertigo, which the other cells of the row tell",
}
VERTICAL = {"up": "fast phase up", "down": "fast phase down", "none": "no vertical part"}
TORSION = {
    "right": "upper poles of the eyes beat toward the right ear",
    "left": "upper poles of the eyes beat toward the left ear",
    "none": "no torsional part",
}
HORIZONTAL = {
    "geotropic": "fast phase toward the ground",
    "apogeotropic": "fast phase away from the ground",
    "right": "fast phase to the right",
    "left": "fast phase to the left",
    "none": "no horizontal part",
}
VERTIGO = {"none": "none", "mild": "mild", "moderate": "moderate", "severe": "severe"}

MANEUVER_SIDE = {
    "right": "right ear",
    "left": "left ear",
    "both": "both ears at once",
    "none": "a maneuver without a side",
}
SETTING = {"clinic": "in the clinic", "home": "at home", "telehealth": "by video"}
PERFORMED_BY = {
    "clinician": "a licensed clinician",
    "self_supervised": "the patient, watched by a clinician",
    "self_unsupervised": "the patient alone",
    "caregiver": "a caregiver",
}
ANGLE_SOURCE = {
    "measured": "measured",
    "estimated": "estimated by eye",
    "not_recorded": "not recorded",
}
ADVERSE = {
    "none": "none",
    "nausea": "nausea",
    "vomiting": "vomiting",
    "faint": "faint",
    "neck_pain": "neck pain",
    "back_pain": "back pain",
    "canal_switch": "debris moved into another canal",
    "other": "another event",
}

CONTACT = {
    "clinic": "visit",
    "telephone": "telephone call",
    "telehealth": "video call",
    "diary": "the patient's diary",
}
END_OF_FOLLOWUP = {
    "no": "follow-up goes on",
    "completed": "completed as planned",
    "lost": "lost to follow-up",
    "reclassified": "no longer thought to be positional vertigo",
    "withdrew": "withdrew",
}

SEVERITY = {
    "refuse": "the whole delivery is refused",
    "set_aside": "the row is kept apart and not analysed",
    "warn": "the row is stored, and the finding is shown",
}
DELIVERY_STATUS = {
    "accepted": "its rows are stored",
    "refused": "nothing of it is stored but counts and reasons",
}
TABLE = {
    "submission": "the delivery's own description",
    "episodes": "one row per spell of positional vertigo in one patient",
    "examinations": "one row per positional test",
    "treatments": "one row per maneuver given, or per course of home exercises",
    "followups": "one row per contact",
}

POSITIONAL = {
    "yes": "positional vertigo",
    "probable_non_positional": "probably not positional vertigo",
    "undetermined": "the record does not tell",
}
CERTAINTY = {
    "definite": "meets established criteria",
    "probable": (
        "meets established criteria but for something not recorded, or otherwise than described"
    ),
    "emerging": (
        "meets criteria that are still emerging, or leaves open whether it meets more than these"
    ),
    "suspected": (
        "meets tentative criteria on symptoms without nystagmus, or on nystagmus of which a part "
        "was not seen"
    ),
    "subjective": (
        "vertigo in a positional test without nystagmus, in a case that the site holds for "
        "positional"
    ),
    "resolved_before": (
        "no positional test positive any more, in a case that the site holds for positional, or "
        "whose history is that of positional vertigo"
    ),
    "possible": "positional nystagmus or vertigo that meets no criteria",
    "none": "no criteria met",
}
ENDPOINT = {
    "objective": (
        "every test that had been positive for the affected canal is negative, a day or more after "
        "the last maneuver"
    ),
    "every_canal": "as objective, for every canal that was tested, whichever is affected",
    "strict": "objective, and no positional symptoms reported that day",
    "patient_reported": "no positional symptoms reported, a day or more after the last maneuver",
    "composite": "no nystagmus in those tests, or nystagmus turned from apogeotropic to geotropic",
    "same_visit": (
        "every test that had been positive is negative, also within the visit of the maneuver"
    ),
}
SPELL_STATUS = {
    "resolved": "resolution lies within the interval",
    "unresolved": "not resolved when last seen",
    "not_tested_again": "no later test tells anything about resolution",
    "incomplete_record": "a row of this episode that decides the interval was set aside",
    "untreated": "no treatment is recorded, so there is no day 0",
    "never_positive": "no deciding test was ever positive, so that none can turn negative",
}
ATTEMPT_OUTCOME = {
    "negative": "the next deciding test was negative",
    "positive": "the next deciding test was positive",
    "not_tested_again": "no deciding test before the next session, or the record has a gap",
}
KNOWN_ON_DAY = {
    "negative": "tested negative by then",
    "between": "turned negative between two tests around that day",
    "positive": "still positive when tested on that day or later",
    "untested": "not tested again: nothing further known",
}
ESTIMATE_STATUS = {
    "ok": "can be used",
    "too_few": "not given because there are too few episodes or events",
    "too_wide": "not given because the confidence interval is too wide to tell anything",
    "not_converged": "not given because the model did not converge or failed its check",
    "not_identified": "not given because the data cannot tell",
    "suppressed": "hidden to protect people and sites",
    "bounded": "shown only as a limit (at most, or at least), to protect people",
}

# What followed a failed first session
CHOICE = {
    "repeat": "the same families on the same side",
    "change": "other families",
    "other_side": "the same families on another side",
    "mixed": "some of the same families and others",
    "unlisted": "a maneuver without a family of its own: whether it was the same is not known",
    "no_maneuver": "the second session held no repositioning maneuver (observation, sham)",
    "no_second_session": "no second session",
    "over_before": "resolved or found to be something else before the second session",
    "verdict_later": "the verdict could not be known yet at the second session",
}
