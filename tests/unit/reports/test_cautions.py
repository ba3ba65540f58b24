"""Pages name every answer that the rules take as a red flag, and every caution of the plan."""

from pipeline.reports.cautions import list_red_flags, say_red_flags, tabulate_cautions
from schemas.maneuver import CAUTION


def test_every_answer_that_sets_a_case_apart_alone_is_a_red_flag(plan):
    decisive = [
        flag.says
        for flag in plan.criteria.flags.values()
        if flag.weight == "decisive" and flag.field
    ]
    assert decisive
    assert set(decisive) <= set(list_red_flags(plan.criteria))


def test_weak_signs_are_none(plan):
    weak = {
        flag.says for flag in plan.criteria.flags.values() if flag.weight in ("weak", "moderate")
    }
    assert not weak & set(list_red_flags(plan.criteria))


def test_the_sentence_names_each_of_them_and_defers_to_local_rules(plan):
    text = say_red_flags(plan.criteria)
    assert "local rules" in text
    assert all(says[1:] in text for says in list_red_flags(plan.criteria))


def test_every_maneuver_that_moves_a_patient_has_its_cautions_with_a_source(plan):
    moving = [m.name for m in plan.maneuvers.values() if m.kind in ("maneuver", "exercise")]
    rows = tabulate_cautions(plan.maneuvers)
    assert [row["maneuver"] for row in rows] == moving
    assert all(row["source"] for row in rows)
    assert all(set(row["conditions"].split("; ")) <= set(CAUTION.values()) for row in rows)
