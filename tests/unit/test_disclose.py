"""Small groups are hidden, and so is what would give them away within one sum."""

import pandas as pd
import pytest

from pipeline.disclose.suppress import hide_small_groups
from pipeline.models.tidy import state, tidy_estimates
from schemas.study import Disclosure

RULE = Disclosure(min_cell=11, min_sites=2, max_share=0.8)


def flow(**counts: int) -> pd.DataFrame:
    rows = [state(term, n, n_episodes=n, n_sites=3) for term, n in counts.items()]
    return tidy_estimates(rows, analysis="episode_flow", population="pool", stratum="all", method="count")


@pytest.mark.parametrize(("count", "hidden"), [(0, False), (1, True), (10, True), (11, False)])
def test_counts_from_one_to_ten_are_hidden(count, hidden):
    rows = hide_small_groups(
        flow(stored=500 + count, positional=250, probable_non_positional=250, undetermined=count), RULE
    )
    row = rows.set_index("term").loc["undetermined"]
    assert (row["status"] == "suppressed") == hidden
    assert pd.isna(row["estimate"]) == hidden
    assert pd.isna(row["n_episodes"]) == hidden


def test_a_single_hidden_part_takes_the_next_smallest_with_it():
    rows = hide_small_groups(
        flow(stored=405, positional=300, probable_non_positional=100, undetermined=5), RULE
    ).set_index("term")
    assert rows["status"].to_dict() == {
        "stored": "ok",
        "positional": "ok",
        "probable_non_positional": "suppressed",
        "undetermined": "suppressed",
    }


def test_zero_is_no_cover_and_hidden_parts_never_add_up_to_a_small_group():
    counts = {"untreated": 0, "incomplete_record": 3, "not_looked": 4, "followed": 300}
    rows = hide_small_groups(flow(positional=307, **counts), RULE).set_index("term")["status"]
    assert rows["untreated"] == "ok"
    assert set(rows[["incomplete_record", "not_looked", "followed"]]) == {"suppressed"}


def test_shares_that_show_a_small_group_or_its_complement_are_hidden():
    rows = [
        state("share", e / 100, stratum=f"sex={s}", n_events=e, n_episodes=100, n_sites=3)
        for s, e in (("female", 95), ("male", 5))
    ]
    safe = hide_small_groups(
        tidy_estimates(rows, analysis="pool_description", population="stored", method="share"), RULE
    )
    assert set(safe["status"]) == {"suppressed"}
    assert safe[["estimate", "n_episodes", "n_events"]].isna().all(axis=None)


def test_a_median_stays_but_its_small_count_of_events_goes():
    rows = [state("median_days", 7, stratum="all", n_events=97, n_episodes=100, n_sites=3)]
    safe = hide_small_groups(
        tidy_estimates(rows, analysis="resolution_curves", population="positional", method="m"), RULE
    ).iloc[0]
    assert safe["estimate"] == 7
    assert pd.isna(safe["n_events"])


def test_a_single_small_difference_of_diagnoses_is_not_left_to_the_total():
    cells = {
        ("posterior", "posterior"): 80,
        ("posterior", "lateral"): 4,
        ("lateral", "posterior"): 20,
        ("lateral", "lateral"): 60,
    }
    rows = [
        state(f"canal:recorded={r},adjudicated={a}", n, stratum="all", n_episodes=n, n_sites=3)
        for (r, a), n in cells.items()
    ]
    table = tidy_estimates(rows, analysis="diagnosis_agreement", population="positional", method="count")
    hidden = hide_small_groups(table, RULE)["status"].eq("suppressed").tolist()
    assert hidden == [False, True, True, False]


def steps(stratum: str, **counts: int) -> list[dict]:
    whole = sum(n for term, n in counts.items() if term != "reached")
    return [
        state(
            f"next={term[5:]}" if term.startswith("next_") else term,
            n,
            stratum=stratum,
            n_events=n,
            n_episodes=whole,
            n_sites=3,
        )
        for term, n in counts.items()
    ]


def test_what_became_of_a_path_hides_no_small_group_in_its_sum_and_nowhere_later():
    rows = [
        *steps("path=start", reached=400, next_epley=300, next_semont=100),
        *steps(
            "path=epley", reached=300, resolved_at_next_look=200, next_semont=60, no_further_session=35, never_looked=5
        ),
        *steps("path=epley > semont", reached=60, resolved_at_next_look=60),
        *steps("path=semont", reached=100, resolved_at_next_look=88, next_semont=12, never_looked=0),
    ]
    estimates = tidy_estimates(rows, analysis="sequence_paths", population="positional", method="count")
    safe = hide_small_groups(estimates, RULE).set_index(["stratum", "term"])["status"].eq("ok")
    assert not safe["path=epley"]["never_looked"]
    assert not safe["path=epley"]["no_further_session"]  # or the sum would tell of five
    assert safe["path=epley"][["reached", "resolved_at_next_look", "next=semont"]].all()
    assert safe["path=epley > semont"].all()
    assert safe["path=semont"].all()


def test_a_hidden_step_is_hidden_where_the_path_goes_on():
    rows = [
        *steps("path=start", reached=40, next_epley=25, next_semont=15),
        *steps("path=epley", reached=25, resolved_at_next_look=9, next_semont=16),
        *steps("path=epley > semont", reached=16, resolved_at_next_look=16),
    ]
    estimates = tidy_estimates(rows, analysis="sequence_paths", population="positional", method="count")
    safe = hide_small_groups(estimates, RULE).set_index(["stratum", "term"])["status"].eq("ok")
    assert not safe["path=epley"]["next=semont"]  # the complement of the nine
    assert not safe["path=epley > semont"].any()
    assert safe["path=start"].all()


def test_choices_after_a_failure_hide_no_small_group_in_their_sum():
    rows = [
        state(f"choice_{name}", n, stratum="all", n_episodes=n, n_sites=3)
        for name, n in (("repeat", 90), ("change", 40), ("mixed", 4))
    ]
    estimates = tidy_estimates(
        rows, analysis="second_line", population="positional", endpoint="objective", method="count"
    )
    assert hide_small_groups(estimates, RULE)["status"].tolist() == ["ok", "suppressed", "suppressed"]


def vary(**counts: tuple[int, int]) -> pd.DataFrame:
    rows = [
        state(
            "resolved_by_day_7",
            0.5,
            stratum=f"variation={name.replace('__', ',part=')}",
            n_episodes=n,
            n_events=e,
            n_sites=5,
        )
        for name, (n, e) in counts.items()
    ]
    return tidy_estimates(rows, analysis="sensitivity", population="positional", method="curves")


def test_variations_lose_counts_that_are_nearly_those_of_another():
    told = vary(
        primary=(676, 198),
        same=(676, 198),
        few_more=(680, 199),
        few_events=(676, 202),
        many_more=(705, 215),
        few_more__a=(340, 100),
        few_more__b=(340, 99),
        many_more__a=(400, 100),
    )
    found = hide_small_groups(told, RULE).set_index(told["stratum"].str.removeprefix("variation="))
    assert found["n_episodes"].isna()[found["n_episodes"].isna()].index.tolist() == [
        "few_more",
        "few_more,part=a",
        "few_more,part=b",
    ]
    assert found.index[found["n_events"].isna()].tolist() == [
        "few_more",
        "few_events",
        "few_more,part=a",
        "few_more,part=b",
    ]
    assert found["estimate"].notna().all()
    assert found.loc["few_more", "note"].startswith("counts left out")
