"""Reasons of failure: evidence by frequency, hindsight told apart, and bounds on their side."""

from pipeline.reports.committee.failures import FAILED, describe_failures
from pipeline.statistics.tidy import state
from tests.unit.reports.committee.sections import number, table, words


def test_reasons_of_failure_are_evidence_by_frequency_and_hindsight_is_told_apart():
    def reason(view: str, name: str, events: int) -> dict:
        fields = {"n_episodes": 200, "n_events": events, "n_sites": 8}
        return state(
            "share",
            events / 200,
            stratum=f"view={view},reason={name}",
            lower=0.0,
            upper=0.5,
            **fields,
        )

    rows = [
        reason("at_the_time", name, n)
        for name, n in (("wrong_side", 20), ("technique", 50), ("undetermined", 90))
    ]
    rare = {"status": "bounded", "note": "few", "upper": 0.08, "n_episodes": 200}
    rows += [{"term": "share", "stratum": "view=at_the_time,reason=wrong_arm"} | rare]
    rows += [reason("in_hindsight", name, n) for name, n in (("wrong_side", 60), ("technique", 50))]
    section = describe_failures(table("failure_reasons", rows, FAILED, None))
    text, drawn = words(section), section["figure"]["svg"]
    assert drawn.index("not done as") < drawn.index("wrong ear") < drawn.index("holds evidence")
    assert "the wrong ear was treated (from 10 % to 30 %)" in text
    assert "not a verdict" in text
    assert "In none or few: debris was in another arm of the canal (under 8 %)." in text


def test_the_parts_of_the_technique_are_told_with_counts():
    rows = [
        number("share", n / 200, f"view=at_the_time,reason=technique{part}", n_events=n)
        for part, n in (("", 50), (",measure=hold", 10), (",measure=angle", 40))
    ]
    text = words(describe_failures(table("failure_reasons", rows, FAILED, None)))
    assert "head turn or hang outside the tolerance in 40 episodes (20 %) and positions" in text
    assert "nobody watched" not in text


def test_a_reason_in_nearly_all_is_not_told_among_those_in_few():
    terms = ("technique", "wrong_side", "wrong_canal")
    rows = [number("share", 0.3, f"view=at_the_time,reason={reason}") for reason in terms]
    tables = table("failure_reasons", rows, FAILED, None)
    for reason, end, limit in (("wrong_side", "upper", 0.06), ("wrong_canal", "lower", 0.94)):
        bounded = tables["failure_reasons"]["stratum"].str.endswith(reason)
        tables["failure_reasons"].loc[bounded, ["status", "estimate", end]] = [
            "bounded",
            None,
            limit,
        ]
    notes = [note.replace("\u00a0", " ") for note in describe_failures(tables)["notes"]]
    assert [note.partition(":")[0] for note in notes if "under 6 %" in note] == ["In none or few"]
    assert [note.partition(":")[0] for note in notes if "over 94 %" in note] == [
        "In all or nearly all"
    ]
