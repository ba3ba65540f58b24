"""What rests on one site stays hidden, also against sums; single sites cannot be told by letter,
place or size."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclosure.people import read_by_site
from pipeline.disclosure.protect import HIDDEN
from pipeline.disclosure.rounding import unround_count
from pipeline.disclosure.sites import draw_letters, mask_sites, name_letters
from pipeline.statistics.tidy import count_sites, state, tidy_estimates
from tests.pool_of_counts import CANALS, RULE, release

SITES = {"S01": 251, "S02": 188, "S03": 136, "S04": 43}


def parts(**sites: dict[str, int]) -> pd.DataFrame:
    """Medians by canal, each of the sites given, with all of them together."""
    whole = [site for own in sites.values() for site, n in own.items() for _ in range(n)]
    told = {"all": whole} | {
        f"canal={k}": [s for s, n in own.items() for _ in range(n)] for k, own in sites.items()
    }
    rows = [
        state("median_days", 7, stratum=name, n_episodes=len(codes), **count_sites(codes))
        for name, codes in told.items()
    ]
    return tidy_estimates(
        rows,
        analysis="resolution_curves",
        population="positional",
        endpoint="objective",
        method="m",
    )


@pytest.mark.parametrize(("largest", "hidden"), [(80, False), (81, True)])
def test_a_number_is_hidden_if_one_site_is_more_of_it_than_allowed(largest, hidden):
    estimates = parts(
        posterior={"S01": 200, "S02": 200, "S03": 200},
        lateral={"S01": largest, "S02": 100 - largest},
        anterior={"S02": 50, "S03": 50},
    )
    safe = release(estimates).rows.set_index("stratum").fillna({"note": ""})
    assert (safe.loc["canal=lateral", "note"] == HIDDEN) == hidden
    assert safe.loc["canal=lateral", ["estimate", "n_episodes"]].isna().all() == hidden
    assert safe.loc["canal=posterior", "status"] == "ok"


def test_sites_are_counted_with_their_episodes_and_events():
    assert count_sites(["b", "a", "b", "c"]) == {"n_sites": 3, "by_site": "a=1 b=2 c=1"}
    assert count_sites(["b", "a", "b"], events=["b"]) == {"n_sites": 2, "by_site": "a=1/0 b=2/1"}
    assert count_sites(["b"], among=["b", "a", "b"]) == {"n_sites": 1, "by_site": "a=1/0 b=2/1"}
    assert count_sites([]) == {"n_sites": 0, "by_site": None}


def test_what_is_one_sites_cannot_be_worked_out_from_the_total():
    # 95 of one site may be at most four fifths: 119 must seem possible, which takes 24 more that
    # are hidden
    estimates = parts(
        posterior={"S01": 200, "S02": 200, "S03": 200},
        lateral={"S01": 95, "S02": 5},
        anterior={"S02": 40, "S03": 40},
    )
    made = release(estimates)
    shown = set(made.rows["stratum"][made.rows["n_episodes"].notna()])
    assert "canal=lateral" not in shown
    assert shown != {"all", "canal=posterior", "canal=anterior"}
    cells = made.stated.audit.cells
    lateral = next(
        n for n, key in enumerate(cells.keys) if key.say() == "followed objective, canal=lateral"
    )
    assert cells.floor[lateral] == 119
    assert made.stated.audit.carry(made.known)[1][lateral] >= 119


@settings(max_examples=8, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=4, max_size=4))
def test_no_release_shows_or_gives_away_what_is_one_sites(counts):
    estimates = parts(
        **{
            name: {"S01": a, "S02": b, "S03": 1}
            for name, (a, b) in zip(CANALS, counts, strict=True)
        }
    )
    made = release(estimates)
    by_site = read_by_site(estimates)
    for stratum, shown in made.rows.set_index("stratum")["n_episodes"].dropna().items():
        label = estimates.index[estimates["stratum"].eq(stratum)][0]
        own = by_site.of(label, "episodes", estimates.at[label, "n_episodes"])
        assert own.max() <= RULE.max_share * own.sum()
        least, most = unround_count(shown, RULE.round_counts)
        # nor what a site can take itself away from
        assert not any(least - mine >= 1 and most - mine <= 10 for mine in own if mine)
    assert made.rows["by_site"].isna().all()


def of_sites(sizes: dict[str, int]) -> pd.DataFrame:
    """A share of each site with its size, a difference between arms in each, and the whole."""
    rows = []
    for site, size in sizes.items():
        own = {
            "stratum": f"site={site}",
            "n_episodes": size,
            "n_sites": 1,
            "by_site": f"{site}={size}",
        }
        rows.append(
            state(
                "resolved_by_day_7",
                (size // 2) / size,
                n_events=size // 2,
                lower=0.41234,
                upper=0.6,
                **own,
            )
        )
        balance = {
            "analysis": "second_line",
            "stratum": "all",
            "n_episodes": size,
            "n_sites": len(sizes),
        }
        rows.append(state(f"smd_after:site={site}", 0.123456, **balance))
    whole = {
        "n_episodes": sum(sizes.values()),
        "n_events": sum(sizes.values()) // 2,
        "n_sites": len(sizes),
    }
    rows.append(state("resolved_by_day_7", 0.5, stratum="all", **whole))
    return tidy_estimates(
        rows, analysis="site_pooling", population="positional", endpoint="objective", method="m"
    )


def test_single_sites_lose_codes_sizes_and_places():
    released = release(of_sites(SITES)).rows
    texts = released[["stratum", "term", "comparison"]].fillna("").agg(" ".join, axis=1)
    assert not texts.str.contains("S0").any()
    own = released[texts.str.contains("site=")]
    assert own[["n_episodes", "n_events"]].isna().all(axis=None)
    shares = own[own["term"].eq("resolved_by_day_7")]
    # not in the order of the codes
    assert shares["stratum"].tolist() == [f"site={letter}" for letter in "ABCD"]
    assert (shares["estimate"] * 100 % 1).round(6).isin([0, 1]).all()
    assert shares["lower"].tolist() == [0.41] * 4
    assert not released["note"].eq(HIDDEN).any()


def test_letters_stay_for_the_same_pool_and_follow_neither_codes_nor_sizes():
    estimates = of_sites(SITES)
    letters = draw_letters(estimates)
    assert draw_letters(estimates.sample(frac=1, random_state=1)) == letters
    assert sorted(letters.values()) == list("ABCD")
    drawn = [draw_letters(of_sites(SITES | {"S01": 251 + n}))["S01"] for n in range(24)]
    for letter in "ABCD":  # of 24 pools about 6 each, with a standard deviation of 2
        assert 1 <= drawn.count(letter) <= 16
    assert [name_letters(k) for k in (0, 25, 26, 52)] == ["A", "Z", "AA", "BA"]


def test_each_row_keeps_its_own_letter():
    estimates = of_sites(SITES)
    letters = draw_letters(estimates)
    masked = mask_sites(estimates, letters).set_index(["stratum", "term"])
    for code, size in SITES.items():
        assert masked.loc[(f"site={letters[code]}", "resolved_by_day_7"), "n_episodes"] == size
        assert masked.loc[("all", f"smd_after:site={letters[code]}"), "n_episodes"] == size
