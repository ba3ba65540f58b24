"""Why a first maneuver may have failed: each pattern at, just inside and just outside its bound, and what must never matter.

Many cases are explained at once, each as an episode of its own.
"""

import time

import pandas as pd
import pytest
import yaml
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pipeline.clinic.adjudicate import adjudicate_episodes
from pipeline.clinic.failure import Record, explain_failures
from pipeline.clinic.findings import EPISODE, describe_looks
from pipeline.derive.attempts import list_attempts
from pipeline.derive.spells import measure_spells
from pipeline.derive.states import find_states, keep_until_reclassified, mark_confirming, select_deciding_looks
from schemas.derived import FailureReasons
from schemas.failure import EVIDENCE, REASON, Failure

RIGHT = {"side": "right", "vertical": "up", "torsion": "right", "vertigo": "moderate", "duration_s": 20}
LEFT = RIGHT | {"side": "left", "torsion": "left"}
SILENT = {"side": "right"}
LATER = {"after_attempt": pd.NA}
FAILED = [RIGHT, RIGHT | LATER | {"day": 7}]
CLEAN = {"hold_s": 60, "head_turn_deg": 45, "head_hang_deg": 30, "angle_source": "measured"}
MIRROR = {"right": "left", "left": "right"}
NOTHING = {"undetermined": ""}


def case(looks, treatments=({},), contacts=(), **episode) -> dict[str, list[dict]]:
    """One episode; each row says what differs from a plain one, and a treatment from one without a flaw."""
    given = [CLEAN | treatment for treatment in treatments]
    return {"episodes": [episode], "examinations": looks, "treatments": given, "followups": list(contacts)}


def roll(direction: str, stronger: str, **more) -> list[dict]:
    """Both sides of the supine roll test."""
    still = {"horizontal": "none", "vertigo": "none"}
    shown = {"horizontal": direction, "vertigo": "moderate", "duration_s": 20}
    return [
        {"test": "supine_roll", "side": side, "look": look}
        | (still if direction == "none" else shown | {"peak_spv": 60 if side == stronger else 20})
        | more
        for look, side in ((11, "right"), (12, "left"))
    ]


@pytest.fixture(scope="session")
def failure(request):
    return Failure.model_validate(yaml.safe_load((request.config.rootpath / "config/failure.yaml").read_text("utf-8")))


@pytest.fixture
def explain(table, plan, failure):
    """A function from cases to their schemas.derived.FailureReasons, one table for each case."""

    def explain_cases(*cases, failure=failure):
        pool = {
            name: table(name, [row | {"episode_id": f"EP-{n}"} for n, c in enumerate(cases) for row in c[name]])
            for name in ("episodes", "examinations", "treatments", "followups")
        }
        reasons = FailureReasons.validate(
            explain_failures(derive(pool, plan), plan.criteria, plan.maneuvers, failure), lazy=True
        )
        return [
            reasons[reasons["episode_id"].eq(f"EP-{n}")].drop(columns=EPISODE).reset_index(drop=True)
            for n in range(len(cases))
        ]

    return explain_cases


def derive(pool: dict[str, pd.DataFrame], plan) -> Record:
    """What is derived from a pool before failures are explained."""
    episodes, examinations, treatments, contacts = pool.values()
    findings = describe_looks(examinations, treatments, plan.criteria.duration)
    verdicts = adjudicate_episodes(episodes, examinations, findings, treatments, contacts, plan.criteria)
    looks = select_deciding_looks(examinations, findings, verdicts, plan.criteria)
    looks["confirming"] = mark_confirming(looks, treatments, plan.maneuvers, 1)
    told = keep_until_reclassified(contacts, verdicts).assign(confirming=True)
    treated = pd.MultiIndex.from_frame(treatments[EPISODE].drop_duplicates())
    spells = measure_spells(episodes, looks, told, treated, treated[:0], plan.study.resolution)
    attempts = list_attempts(episodes, treatments, looks, find_states(looks), plan.maneuvers)
    return Record(**pool, findings=findings, adjudications=verdicts, attempts=attempts, spells=spells)


def told(reasons: pd.DataFrame, view: str = "at_the_time") -> dict[str, str]:
    """Reason and evidence of the rows of one view."""
    rows = reasons[reasons["view"].eq(view)]
    return dict(zip(rows["reason"], rows["evidence"].fillna(""), strict=True))


def evidence(reasons: pd.DataFrame, view: str = "at_the_time") -> set[str]:
    return set(" ".join(told(reasons, view).values()).split())


def test_what_is_a_failure_and_what_is_none(explain):
    moved_nothing = [case(FAILED, [{"maneuver": code, "side": "none"}]) for code in ("observe", "sham")]
    plain, *none = explain(case(FAILED), case([RIGHT, LATER | {"day": 7}]), *moved_nothing)
    assert told(plain) == told(plain, "in_hindsight") == NOTHING
    assert plain["known_day"].tolist() == [7, 7]
    assert all(reasons.empty for reasons in none)


def test_a_pool_without_failures_or_rows(explain):
    assert explain(case([RIGHT, LATER | {"day": 7}]))[0].empty
    assert explain() == []


# ---- technique: published tolerances

TOLERANCES = [
    # head turn 21 to 67 degrees: Gebhart I et al. Otol Neurotol 2021;42:e341 (in vitro), who find clinicians at 50 +/- 4.8
    ("head_turn_deg", {20.9: True, 21: False, 50: False, 67: False, 67.1: True}),
    # 20 degrees or more below horizontal, 0 fails; 45 s or more: Obrist D et al. Front Neurol 2016;7:150 (in vitro)
    ("head_hang_deg", {0: True, 19.9: True, 20: False}),
    ("hold_s", {44.9: True, 45: False, pd.NA: False}),
]


def test_in_vitro_tolerances_of_the_semont_maneuver(explain):
    asked = [
        (maneuver, column, value, outside)
        for maneuver in ("semont", "semont_plus")
        for column, values in TOLERANCES
        for value, outside in values.items()
    ]
    found = explain(*(case(FAILED, [{"maneuver": maneuver, column: value}]) for maneuver, column, value, _ in asked))
    for reasons, (_, column, _, outside) in zip(found, asked, strict=True):
        assert (column.rsplit("_", 1)[0] + "_outside" in evidence(reasons)) is outside


def test_angles_that_were_not_measured_are_weaker_evidence(explain):
    tilted = {"maneuver": "semont", "head_hang_deg": 5}
    sources = ("measured", "estimated", "not_recorded", pd.NA)
    found = explain(*(case(FAILED, [tilted | {"angle_source": source}]) for source in sources))
    assert [told(r)["technique"] for r in found] == ["head_hang_outside"] + ["head_hang_outside_by_estimate"] * 3


def test_the_angles_of_the_epley_maneuver_have_no_published_tolerance(explain):
    found = explain(*(case(FAILED, [{"head_turn_deg": turn, "head_hang_deg": 0}]) for turn in (0, 45, 90)))
    assert [told(reasons) for reasons in found] == [NOTHING] * 3


def test_a_hold_below_the_usual_one_is_evidence(explain):
    # 20 to 30 s: Bhattacharyya et al. Otolaryngol Head Neck Surg 2017;156(3 Suppl):S1-S47, from memory
    found = explain(*(case(FAILED, [{"hold_s": seconds}]) for seconds in (19.9, 20, pd.NA)))
    assert [told(reasons) for reasons in found] == [{"technique": "hold_below_usual"}, NOTHING, NOTHING]


def test_an_unfinished_or_unwatched_maneuver_is_evidence(explain):
    flaws = {
        "not_completed": {"completed": "no"},
        "done_alone": {"performed_by": "self_unsupervised", "setting": "home"},
    }
    once = explain(*(case(FAILED, [flaw]) for flaw in flaws.values()))
    assert [told(reasons) for reasons in once] == [{"technique": code} for code in flaws]
    then_as_usual = explain(*(case(FAILED, [flaw, {"attempt": 2}]) for flaw in flaws.values()))
    assert [told(reasons) for reasons in then_as_usual] == [NOTHING] * 2


# ---- side, canal, arm, debris


def test_the_wrong_ear(explain):
    wrong, later, both = explain(
        case(FAILED, [{"side": "left"}]),
        case([RIGHT, LEFT | LATER | {"day": 7}, RIGHT | LATER | {"day": 7, "vertigo": "mild"}]),
        case([*FAILED, RIGHT | LATER | {"day": 9}, LEFT | LATER | {"day": 9, "look": 2}]),
    )
    assert told(wrong) == {"wrong_side": "later_look_other_ear treated_other_ear"}
    assert told(later) == {"several_canals": "later_looks_several"}
    assert told(both) == NOTHING
    assert told(both, "in_hindsight") == {"several_canals": "later_looks_several"}


def test_the_maneuver_against_the_first_looks(explain):
    # Kim JS et al. Neurology 2012;79:700-707 (geotropic) and 78:159-166 (apogeotropic); stronger ear: AAO guideline 2017
    arms = {"wrong_arm": "later_look_other_arm maneuver_for_other_arm"}
    asked = [
        ("gufoni_geotropic", "right", "geotropic", NOTHING),
        ("gufoni_apogeotropic", "left", "apogeotropic", NOTHING),
        ("gufoni_geotropic", "left", "apogeotropic", arms),
        ("gufoni_apogeotropic", "right", "geotropic", arms),
        ("epley", "right", "geotropic", {"wrong_canal": "maneuver_for_other_canal"}),
    ]
    cases = [
        case(
            roll(direction, "right") + roll(direction, "right", day=7, after_attempt=pd.NA),
            [{"maneuver": code, "side": side, "hold_s": 150}],
        )
        for code, side, direction, _ in asked
    ]
    for reasons, (_, _, _, expected) in zip(explain(*cases), asked, strict=True):
        assert told(reasons) == expected


def test_a_maneuver_for_free_debris_where_it_is_adherent(explain):
    # over a minute: von Brevern et al. J Vestib Res 2015;25:105-117; the band from 50 to 70 s is this project's proposal
    (reasons,) = explain(case([look | {"duration_s": 90, "test": "half_dix_hallpike"} for look in FAILED]))
    assert told(reasons) == {"adherent_debris": "maneuver_for_free_debris nystagmus_long"}


def test_lasting_nystagmus_after_the_maneuver(explain):
    asked = [
        (70.1, "yes", "nystagmus_long"),
        (70, "no", "borderline_without_fatigue"),
        (70, "yes", None),
        (50, "no", "borderline_without_fatigue"),
        (50, "not_tested", None),
        (49.9, "no", None),
        (pd.NA, "no", None),
    ]
    found = explain(*(case([RIGHT, FAILED[1] | {"duration_s": s, "fatigues": f}]) for s, f, _ in asked))
    assert [told(r) for r in found] == [{"adherent_debris": code} if code else NOTHING for _, _, code in asked]


def test_a_new_canal_is_a_switch_only_if_it_had_been_tested(explain):
    # switches: Wu Y et al. Front Neurol 2022;13:1049828; test both canals: AAO guideline 2017 (see config/failure.yaml)
    new = [*FAILED, *roll("geotropic", "right", day=9, after_attempt=pd.NA)]
    untested, switched = explain(case(new), case([*new, *roll("none", "right")]))
    assert told(untested, "in_hindsight") == {"wrong_canal": "untested_canal_positive"}
    assert told(switched, "in_hindsight") == {"canal_switch_or_reentry": "tested_canal_newly_positive"}
    assert told(switched) == NOTHING
    assert switched.set_index("view")["known_day"].to_dict() == {"at_the_time": 7, "in_hindsight": 9}


def test_a_recorded_switch_a_return_after_a_clear_visit_and_both_ears(explain):
    recorded, returned, both = explain(
        case(FAILED, [{"adverse": "canal_switch"}]),
        case([RIGHT, SILENT | {"look": 2, "after_attempt": 1}, FAILED[1]]),
        case([*FAILED, LEFT | {"look": 2}]),
    )
    assert told(recorded) == {"canal_switch_or_reentry": "canal_switch_recorded"}
    assert told(returned) == {"canal_switch_or_reentry": "cleared_within_visit"}
    assert told(both)["several_canals"] == "first_looks_several"


def test_success_of_another_maneuver_tells_only_in_hindsight(explain):
    looks = [*FAILED, {"day": 12} | LATER]
    seconds = [{"maneuver": "bow_and_yaw"}, {"maneuver": "semont"}, {}]
    other, overlapping, same = explain(*(case(looks, [{}, second | {"attempt": 2, "day": 7}]) for second in seconds))
    assert told(other) == NOTHING
    assert told(other, "in_hindsight")["wrong_arm"] == "other_arm_maneuver_worked"
    assert told(overlapping, "in_hindsight") == told(same, "in_hindsight") == NOTHING
    lateral = [*roll("geotropic", "right"), *roll("geotropic", "right", day=7, after_attempt=pd.NA)]
    gone = roll("none", "right", day=12, after_attempt=pd.NA)
    second = {"maneuver": "cupulolith_repositioning", "attempt": 2, "day": 7}
    (adherent,) = explain(case([*lateral, *gone], [{"maneuver": "barbecue_roll"}, second]))
    assert told(adherent, "in_hindsight")["adherent_debris"] == "adherent_maneuver_worked"


# ---- something else, or no failure


def test_another_diagnosis_counts_from_its_day(explain):
    found = explain(
        *(case(FAILED, other_diagnosis="vestibular_migraine", other_diagnosis_day=day) for day in (6, 7, 8)),
        case(FAILED, contacts=[{"day": 8, "end_of_followup": "reclassified"}]),
        case(FAILED, contacts=[{"day": 7, "end_of_followup": "reclassified"}]),
    )
    diagnosed = {"not_positional": "other_diagnosis_made"}
    assert [told(r) for r in found[:3]] == [diagnosed, diagnosed, NOTHING]
    assert [told(r, "in_hindsight") for r in found[:3]] == [diagnosed] * 3
    assert (told(found[3]), told(found[3], "in_hindsight")) == (NOTHING, {"not_positional": "reclassified"})
    # from the day of reclassification on, looks decide nothing: nobody looked in time
    assert told(found[4]) == {"never_looked": "no_later_look"}
    assert evidence(found[4], "in_hindsight") == {"no_later_look", "reclassified"}


def test_what_spoke_against_it_from_the_first(explain):
    answers = ("yes", "no", "unknown", pd.NA)
    found = explain(*(case(FAILED, attacks_over_2min=answer) for answer in answers))
    assert [told(reasons) for reasons in found] == [{"not_positional": "spoken_against"}] + [NOTHING] * 3


AGAIN = [{}, {"attempt": 2, "day": 14}]


def test_a_recurrence_read_as_failure(explain):
    (reasons,) = explain(case([RIGHT, SILENT | LATER | {"day": 7}, RIGHT | {"day": 14, "after_attempt": 0}], AGAIN))
    assert told(reasons) == told(reasons, "in_hindsight") == {"recurrence_read_as_failure": "negative_day_between"}
    assert reasons["known_day"].tolist() == [14, 14]


def test_residual_dizziness_read_as_failure(explain):
    # unsteadiness after verified resolution in 57.5 % of 148 (Dispenza F et al. 2019): treated again without positional vertigo
    dizzy = {"other_dizziness": "yes"}
    contacts = {
        True: [dizzy, dizzy | {"day": 14}],
        False: [
            dizzy | {"positional_symptoms": "yes"},
            dizzy | {"positional_symptoms": "unknown"},
            {"other_dizziness": "no"},
            dizzy | {"day": 6},
            dizzy | {"day": 15},
        ],
    }
    asked = [(found, contact) for found, listed in contacts.items() for contact in listed]
    results = explain(*(case([RIGHT, SILENT | LATER | {"day": 7}], AGAIN, [contact]) for _, contact in asked))
    residual = {"residual_dizziness_read_as_failure": "retreated_for_dizziness_only"}
    assert [told(reasons) for reasons in results] == [residual if found else {} for found, _ in asked]


def test_remission_long_after_the_last_maneuver(explain):
    # mean 39 days untreated in the posterior canal, 16 in the lateral: Imai T et al. Neurology 2005;64:920-921
    posterior = [case([*FAILED, RIGHT | LATER | {"day": last}, SILENT | LATER | {"day": 60}]) for last in (38, 39, 40)]
    lateral = []
    for last in (15, 16, 17):
        seen = [roll("geotropic", "right", day=day, after_attempt=pd.NA) for day in (7, last)]
        gone = roll("none", "right", day=30, after_attempt=pd.NA)
        lateral.append(case([*roll("geotropic", "right"), *seen[0], *seen[1], *gone], [{"maneuver": "barbecue_roll"}]))
    found = explain(*posterior, *lateral)
    long_after = ["resolved_long_after_maneuver" in evidence(reasons, "in_hindsight") for reasons in found]
    assert long_after == [False, True, True, False, True, True]
    assert all(told(reasons) == NOTHING for reasons in found)


def test_resolution_without_any_maneuver_that_could_fit(explain):
    seconds = {
        True: [None, {"maneuver": "observe", "side": "none"}, {"maneuver": "barbecue_roll"}, {"side": "left"}],
        False: [{}, {"maneuver": "other"}],
    }
    asked = [(found, second) for found, listed in seconds.items() for second in listed]
    results = explain(
        *(
            case(
                [*FAILED, SILENT | LATER | {"day": 12}],
                [{}] + ([second | {"attempt": 2, "day": 7}] if second is not None else []),
            )
            for _, second in asked
        )
    )
    alone = ["resolved_without_fitting_maneuver" in evidence(reasons, "in_hindsight") for reasons in results]
    assert alone == [found for found, _ in asked]


def test_nobody_looked(explain):
    never, again = explain(case([RIGHT]), case([RIGHT, RIGHT | LATER | {"day": 9}], [{}, {"attempt": 2, "day": 5}]))
    assert told(never) == told(never, "in_hindsight") == {"never_looked": "no_later_look"}
    assert never["known_day"].isna().all()
    assert told(again) == told(again, "in_hindsight") == {"never_looked": "retreated_before_a_look"}
    assert again["known_day"].tolist() == [5, 5]


# ---- what must never matter

look_strategy = st.one_of(
    st.sampled_from([RIGHT, LEFT, SILENT, RIGHT | {"duration_s": 90}, RIGHT | {"vertical": "down"}]).map(lambda x: [x]),
    st.sampled_from([("geotropic", "right"), ("apogeotropic", "left")]).map(lambda way: roll(*way)),
)
treatment_strategy = st.fixed_dictionaries(
    {
        "day": st.integers(0, 30),
        "maneuver": st.sampled_from(["epley", "semont", "bow_and_yaw", "barbecue_roll", "gufoni_apogeotropic"]),
        "side": st.sampled_from(["right", "left"]),
        "hold_s": st.sampled_from([10, 45, 200]),
        "completed": st.sampled_from(["yes", "no"]),
    }
)
contact_strategy = st.fixed_dictionaries({"day": st.integers(1, 30), "other_dizziness": st.sampled_from(["yes", "no"])})
episode_strategy = st.builds(
    lambda days, treatments, contacts: case(
        [RIGHT] + [look | LATER | {"day": day} for day, seen in days for look in seen],
        [t | {"attempt": n} for n, t in enumerate([SILENT, *sorted(treatments, key=lambda t: t["day"])], start=1)],
        contacts,
    ),
    st.lists(st.tuples(st.integers(1, 40), look_strategy), max_size=4, unique_by=lambda seen: seen[0]),
    st.lists(treatment_strategy, max_size=3),
    st.lists(contact_strategy, max_size=2, unique_by=lambda contact: contact["day"]),
)
pool_strategy = st.lists(episode_strategy, min_size=8, max_size=8)
FEW = settings(
    suppress_health_check=list(HealthCheck), max_examples=5, deadline=None, phases=[Phase.explicit, Phase.generate]
)


@FEW
@given(pool=pool_strategy, last=look_strategy)
def test_a_later_look_never_changes_what_was_known_at_the_time(explain, pool, last):
    longer = [c | {"examinations": c["examinations"] + [x | LATER | {"day": 50} for x in last]} for c in pool]
    reasons = explain(*pool, *longer)
    for before, after in zip(reasons[: len(pool)], reasons[len(pool) :], strict=True):
        if "no_later_look" not in evidence(before):  # whoever was never looked at has now been
            first, second = (r[r["view"].eq("at_the_time")].reset_index(drop=True) for r in (before, after))
            pd.testing.assert_frame_equal(first, second)


@FEW
@given(pool=pool_strategy, order=st.randoms(use_true_random=False))
def test_mirror_order_and_hindsight(explain, pool, order):
    def turn(row: dict) -> dict:
        return row | {k: MIRROR.get(row[k], row[k]) for k in ("side", "torsion") if k in row}

    mirrored = [{name: [turn(row) for row in rows] for name, rows in c.items()} for c in pool]
    shuffled = [{name: order.sample(rows, len(rows)) for name, rows in c.items()} for c in pool]
    reasons = explain(*pool, *mirrored, *shuffled)
    for plain, turned, mixed in zip(
        *(reasons[n : n + len(pool)] for n in range(0, len(reasons), len(pool))), strict=True
    ):
        pd.testing.assert_frame_equal(turned, plain)
        pd.testing.assert_frame_equal(mixed, plain)
        assert evidence(plain) <= evidence(plain, "in_hindsight") <= set(EVIDENCE)


def test_episodes_do_not_touch_each_other(explain):
    one, another = case([RIGHT, LEFT | LATER | {"day": 7}]), case(FAILED, [{"completed": "no"}])
    pd.testing.assert_frame_equal(explain(one)[0], explain(another, one)[1])


def test_many_episodes_take_seconds(table, plan, failure):
    count, pool = 5_000, {}
    for name, rows in {"episodes": [{}], "examinations": FAILED, "treatments": [CLEAN], "followups": []}.items():
        one = table(name, rows)
        pool[name] = one.loc[one.index.repeat(count)].reset_index(drop=True)
        numbers = pool[name].index % count
        pool[name]["episode_id"] = pd.Series([f"EP-{n}" for n in numbers], dtype="string")
    record = derive(pool, plan)
    start = time.perf_counter()
    reasons = explain_failures(record, plan.criteria, plan.maneuvers, failure)
    assert time.perf_counter() - start < 5
    assert len(reasons) == 2 * count
    assert reasons["reason"].eq("undetermined").all()


# ---- the configuration


def test_every_pattern_is_written_down_with_a_reason_and_a_source(failure, plan):
    assert set(failure.patterns) == set(EVIDENCE)
    assert {p.reason for p in failure.patterns.values()} == set(REASON) - {"undetermined"}
    assert {code for t in failure.tolerances.values() for code in t.maneuvers} <= set(plan.maneuvers)


@pytest.mark.parametrize(
    "change",
    [
        {"patterns": {"hold_too_shrt": {"reason": "technique", "source": "x", "standing": "proposal"}}},
        {"remission": {"posterior": {"days": 0, "source": "x", "standing": "proposal"}}},
        {"tolerance": {}},
    ],
)
def test_a_misspelt_or_impossible_entry_is_refused(failure, change):
    with pytest.raises(ValidationError):
        Failure.model_validate(failure.model_dump() | change)


@pytest.mark.parametrize("bounds", [{"least": None, "most": None}, {"least": 50, "most": 40}])
def test_a_tolerance_needs_bounds_in_order(failure, bounds):
    tolerance = failure.tolerances["semont_head_turn"]
    with pytest.raises(ValidationError):
        type(tolerance).model_validate(tolerance.model_dump() | bounds)


def test_a_pattern_left_out_is_not_looked_for(explain, failure):
    fewer = {code: pattern for code, pattern in failure.patterns.items() if code != "not_completed"}
    (reasons,) = explain(case(FAILED, [{"completed": "no"}]), failure=failure.model_copy(update={"patterns": fewer}))
    assert told(reasons) == NOTHING
