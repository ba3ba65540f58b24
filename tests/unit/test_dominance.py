"""What rests on one site stays hidden, also against sums; single sites cannot be told by letter, place or size."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclose.audit import find_exposed
from pipeline.disclose.cells import list_cells
from pipeline.disclose.release import GivenAway, audit_release, release_estimates
from pipeline.disclose.sites import draw_letters, mask_sites, name_letters
from pipeline.disclose.suppress import ONE_SITE, hide_rows, hide_small_groups
from pipeline.models.tidy import count_sites, state, tidy_estimates
from schemas.study import Disclosure

RULE = Disclosure(min_cell=11, min_sites=2, max_share=0.8)
SITES = {"S01": 251, "S02": 188, "S03": 136, "S04": 43}


def parts(**sites: dict[str, int]) -> pd.DataFrame:
    """Counts by canal, each from the sites given, with their sum."""
    whole = [site for own in sites.values() for site, n in own.items() for _ in range(n)]
    rows = []
    for name, codes in {
        "all": whole,
        **{f"canal={k}": [s for s, n in own.items() for _ in range(n)] for k, own in sites.items()},
    }.items():
        rows.append(state("followed", len(codes), stratum=name, n_episodes=len(codes), **count_sites(codes)))
    return tidy_estimates(
        rows, analysis="resolution_curves", population="positional", endpoint="objective", method="count"
    )


@pytest.mark.parametrize(("largest", "hidden"), [(80, False), (81, True)])
def test_a_number_is_hidden_if_one_site_is_more_of_it_than_allowed(largest, hidden):
    estimates = parts(
        posterior={"S01": 200, "S02": 200},
        lateral={"S01": largest, "S02": 100 - largest},
        anterior={"S02": 50, "S03": 50},
    )
    safe = hide_small_groups(estimates, RULE).set_index("stratum").fillna({"note": ""})
    assert (safe.loc["canal=lateral", "note"] == ONE_SITE) == hidden
    assert safe.loc["canal=lateral", ["estimate", "n_episodes"]].isna().all() == hidden
    assert safe.loc["canal=posterior", "status"] == "ok"


def test_the_share_is_that_of_the_largest_site():
    assert count_sites(["b", "a", "b", "c"]) == {"n_sites": 3, "largest_share": 0.5}
    assert count_sites([]) == {"n_sites": 0, "largest_share": None}


def test_what_is_one_sites_cannot_be_worked_out_from_the_total():
    estimates = parts(
        posterior={"S01": 200, "S02": 200}, lateral={"S01": 95, "S02": 5}, anterior={"S02": 10, "S03": 10}
    )
    lateral, anterior = (estimates["stratum"].eq(f"canal={name}") for name in ("lateral", "anterior"))
    with pytest.raises(GivenAway) as alone:
        audit_release(estimates, hide_rows(estimates, lateral, ONE_SITE), RULE)
    assert "nearly all of one site" in str(alone.value)
    # 95 of one site may be at most four fifths: 119 must seem possible, and with 20 hidden beside 100 it does
    audit_release(estimates, hide_rows(estimates, lateral | anterior, ONE_SITE), RULE)
    fewer = parts(posterior={"S01": 200, "S02": 200}, lateral={"S01": 95, "S02": 5}, anterior={"S02": 9, "S03": 9})
    released = hide_rows(fewer, lateral | anterior, ONE_SITE)
    (found,) = find_exposed(list_cells(fewer, released, RULE), RULE.min_cell)
    assert found.most == 118
    audit_release(fewer, release_estimates(fewer, RULE), RULE)


@settings(max_examples=10, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), min_size=4, max_size=4))
def test_no_release_shows_or_gives_away_what_is_one_sites(counts):
    estimates = parts(**{name: {"S01": a, "S02": b, "S03": 1} for name, (a, b) in zip("abcd", counts, strict=True)})
    released = release_estimates(estimates, RULE)
    audit_release(estimates, released, RULE)
    assert not released["estimate"][estimates["largest_share"].gt(RULE.max_share)].notna().any()
    assert released["largest_share"].isna().all()


def of_sites(sizes: dict[str, int]) -> pd.DataFrame:
    """A share of each site with its size, the size as a number, a difference between arms in each, and the whole."""
    rows = []
    for site, size in sizes.items():
        own = {"stratum": f"site={site}", "n_episodes": size, "n_sites": 1, "largest_share": 1.0}
        rows.append(state("share", (size // 2) / size, n_events=size // 2, lower=0.41234, upper=0.6, **own))
        rows.append(state("effective_number_day_7", size, **own))
        rows.append(state(f"smd_after:site={site}", 0.123456, stratum="all", n_episodes=size, n_sites=len(sizes)))
    whole = sum(sizes.values())
    rows.append(
        state("share", 0.5, stratum="all", n_episodes=whole, n_events=whole // 2, n_sites=len(sizes), largest_share=0.4)
    )
    return tidy_estimates(rows, analysis="site_pooling", population="positional", endpoint="objective", method="m")


def test_single_sites_lose_codes_sizes_and_places():
    estimates = of_sites(SITES)
    released = release_estimates(estimates, RULE)
    texts = released[["stratum", "term", "comparison"]].fillna("").agg(" ".join, axis=1)
    assert not texts.str.contains("S0").any()
    own = released[texts.str.contains("site=")]
    assert own[["n_episodes", "n_events"]].isna().all(axis=None)
    assert own.loc[own["term"].str.startswith("effective"), "status"].eq("suppressed").all()
    shares = own[own["term"].eq("share")]
    assert shares["stratum"].tolist() == [f"site={letter}" for letter in "ABCD"]  # not in the order of the codes
    assert (shares["estimate"] * 100 % 1).round(6).isin([0, 1]).all()
    assert shares["lower"].tolist() == [0.41] * 4
    assert released.loc[released["stratum"].eq("all") & released["term"].eq("share"), "n_episodes"].item() == sum(
        SITES.values()
    )


def test_letters_stay_for_the_same_pool_and_follow_neither_codes_nor_sizes():
    estimates = of_sites(SITES)
    letters = draw_letters(estimates)
    assert draw_letters(estimates.sample(frac=1, random_state=1)) == letters
    assert sorted(letters.values()) == list("ABCD")
    drawn = [draw_letters(of_sites(SITES | {"S01": 251 + n}))["S01"] for n in range(60)]
    for letter in "ABCD":  # of 60 pools a quarter each; 15 and not quite 5 standard deviations
        assert 1 <= drawn.count(letter) <= 30
    assert [name_letters(k) for k in (0, 25, 26, 52)] == ["A", "Z", "AA", "BA"]


def test_each_row_keeps_its_own_letter():
    estimates = of_sites(SITES)
    letters = draw_letters(estimates)
    masked = mask_sites(estimates, letters).set_index(["stratum", "term"])
    for code, size in SITES.items():
        assert masked.loc[(f"site={letters[code]}", "share"), "n_episodes"] == size
        assert masked.loc[("all", f"smd_after:site={letters[code]}"), "n_episodes"] == size
