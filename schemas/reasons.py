"""Why each field is asked for: one plain sentence a column, for those who are to fill it in.

Where a sentence rests on a finding, its source stands beside it; the others say what the workflow
does with the field, or are common practice.
"""

WHY = {
    "submission.site_code": "So that a delivery goes to its own site.",
    "submission.delivery": "The highest accepted number of a site counts.",
    "submission.dictionary_version": (
        "So that the file is read by the rules that it was filled in by."
    ),
    "submission.deidentified": (
        "Nothing is stored unless the site says that nobody can be identified."
    ),
    "submission.first_year": (
        "Records outside of the stated years show that something went wrong on copying."
    ),
    "submission.last_year": (
        "Records outside of the stated years show that something went wrong on copying."
    ),
    "submission.short_arm_basis": (
        "Three working definitions of the short arm are in use; they are never put together."
    ),
    "submission.usual_confirmation_day": (
        "It tells how soon a site tests again, which decides how exactly resolution is known."
    ),
    "submission.planned_test_days": (
        "It tells when a site tests again, which decides how exactly resolution is known."
    ),
    "submission.planned_call_days": (
        "A call to everybody on one fixed day is the cheapest way to learn when vertigo ended in "
        "those who are not tested early."
    ),
    "submission.counted": "Compared with the rows, so that what got lost on copying is seen.",
    "episode_id": "It joins the tables; a pseudonym of your own, never a record number.",
    "patient_id": "Several episodes of one patient are not independent of each other.",
    "age_years": "Recovery may differ with age, and groups are compared with that in mind.",
    "sex": "Recovery may differ by sex, and groups are compared with that in mind.",
    "index_year": "It shows changes over the years; no other calendar time is asked for.",
    # Imai T et al. Neurology 2005;64:920-921
    "onset_day": "Untreated cases resolve in time too, so that fresh and old ones are told apart.",
    "prior_episodes": (
        "Recurrence and recovery may depend on it, and groups are compared with that in mind."
    ),
    "cause": "Recovery may differ by cause, and groups are compared with that in mind.",
    # Lempert T et al. J Vestib Res 2022;32:1-6
    "migraine_history": "Needed for the published criteria of vestibular migraine.",
    "neck_limitation": "It limits which maneuvers can be done, and how well.",
    "osteoporosis": "Whether it goes with recurrence is an open question that a pool can examine.",
    "recorded_canal": "Compared with what the tests say; the maneuver was chosen by it.",
    "recorded_side": "Compared with what the tests say; the wrong side is a reason for failure.",
    "recorded_arm": "Compared with what the tests say, where the site tells arms apart.",
    "arm_basis": "A short arm by one definition is not one by another.",
    "recorded_mechanism": (
        "Compared with what the tests say; debris that adheres needs other maneuvers."
    ),
    # warning signs: Johns P, Quinn J. CMAJ 2020;192:E182; nystagmus that changes with gaze from
    # memory
    "focal_neurological_sign": "A warning sign of a central cause: such cases are kept apart.",
    "spontaneous_vertical_nystagmus": (
        "A warning sign of a central cause: such cases are kept apart."
    ),
    # criteria of acute unilateral vestibulopathy: Strupp M et al. J Vestib Res 2022;32:389-406
    "spontaneous_horizontal_nystagmus": (
        "With vertigo without a break for a day it points to neuritis, unless a test shows debris."
    ),
    "gaze_evoked_nystagmus": "A warning sign of a central cause: such cases are kept apart.",
    "cannot_stand": "A warning sign of a central cause: such cases are kept apart.",
    "severe_headache_or_neck_pain": "A warning of a cause that is not positional vertigo.",
    "new_hearing_change": "It points to another disease of the ear.",
    # Kim HA et al. J Vestib Res 2019;29:45-56
    "symptoms_only_on_standing": "It points to blood pressure rather than to position.",
    # Kim 2019, as above; the fall: Freeman R et al. Clin Auton Res 2011;21:69-72 (from memory)
    "pressure_drop_on_standing": (
        "Where it was measured and did not fall, symptoms on standing do not set a case apart."
    ),
    # Strupp M et al. J Vestib Res 2022;32:389-406
    "continuous_24h": "It points to neuritis rather than to positional vertigo.",
    # probable positional vertigo, spontaneously resolved: von Brevern M et al. J Vestib Res
    # 2015;25:105-117
    "provoked_by_lying_or_turning": (
        "With silent tests it tells positional vertigo that has resolved; alone it excludes nobody."
    ),
    "attack_s": (
        "Attacks under a minute, with silent tests, tell positional vertigo that has resolved; "
        "alone it excludes nobody."
    ),
    # von Brevern M et al. J Vestib Res 2015;25:105-117
    "attacks_over_2min": "Positional vertigo comes in shorter attacks.",
    # Lempert 2022, as above
    "migraine_features_with_attacks": "Needed for the published criteria of vestibular migraine.",
    "other_diagnosis": "Cases that turn out to be something else are kept apart from then on.",
    "other_diagnosis_day": "Until that day nobody knew, and the case counts as it was treated.",
    # what the tests tell: criteria of von Brevern M et al. J Vestib Res 2015;25:105-117
    "reason": "Who comes because of symptoms is not like those who come as planned.",
    "examination": "It keeps the tests of one day in order.",
    "after_attempt": "A test before the maneuver and one after it mean different things.",
    # Imai T et al. Eur Arch Otorhinolaryngol 2018, doi 10.1007/s00405-018-5165-3
    "minutes_since_attempt": (
        "Nystagmus that tired is back within half an hour: a test that is silent later tells more."
    ),
    "test": "Each test is for certain canals.",
    "examinations.side": "It helps to tell which ear is affected.",
    "result": "One cell in place of four, for the many tests that show nothing.",
    "vertical": "Its direction tells the canal.",
    "torsion": "Its direction tells the ear.",
    "horizontal": "Its direction tells the canal, and helps to tell free debris from adherent.",
    "latency_s": "Nystagmus from debris usually begins after a moment.",
    "duration_s": "About one minute parts free debris from adherent debris.",
    "peak_spv": "The stronger side tells the ear in the lateral canal.",
    # Lechner C et al. J Neurol 2014;261:1009-1017
    "spv_at_40s": "How much is left helps to tell positional vertigo from migraine.",
    "vertigo": "Vertigo without nystagmus has its own place.",
    "fatigues": "Nystagmus from free debris usually tires on repetition.",
    "reverses_on_sitting": "Nystagmus from debris usually turns round on sitting up.",
    "fixation_removed": "Weak nystagmus may be seen only without fixation.",
    "examinations.day": "The days of tests decide between which days resolution is known to lie.",
    "treatments.day": "Time is counted from the first maneuver.",
    "followups.day": "The days of contacts decide between which days resolution is known to lie.",
    "attempt": "What was tried first, second and third is the question of this project.",
    "maneuver": "What was tried first, second and third is the question of this project.",
    "treatments.side": "The wrong side is a reason for failure.",
    "cycles": "More repetitions may do more.",
    "cycles_planned": "A course of which little was done has hardly been tried.",
    "setting": "A maneuver at home may not do what it does in the clinic.",
    "performed_by": "Done alone, a maneuver may fail for its technique.",
    "head_turn_deg": "Angles are one of the few reasons for failure that can be mended.",
    "head_hang_deg": "Angles are one of the few reasons for failure that can be mended.",
    "hold_s": "Holds are one of the few reasons for failure that can be mended.",
    "angle_source": "Measured and guessed angles weigh differently.",
    "completed": "A maneuver that was broken off has not been tried.",
    "adverse": "Harm must be seen, and a canal switch explains a failure.",
    "contact": "What is told by telephone is not what is seen.",
    "positional_symptoms": "It is what matters to the patient.",
    "other_dizziness": "Unsteadiness that is left is not vertigo that is left.",
    "dhi_total": "Handicap may fall when vertigo does not, and the other way round.",
    "vas_0_10": "A short measure of how bad it is.",
    "recurrence_reported": "A recurrence is not a failure.",
    "end_of_followup": "Why a patient was not tested again decides what silence means.",
}


def explain_why(table: str, column: str) -> str:
    """Why a column of a table is asked for.

    Raises KeyError for one without a reason, which is a programming error.
    """
    if table == "submission" and column.startswith("counted_"):
        return WHY["submission.counted"]
    return WHY.get(f"{table}.{column}") or WHY[column]
