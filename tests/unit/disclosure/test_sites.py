"""Single sites cannot be told by letter, place or size."""

import pandas as pd

from pipeline.disclosure.protect import HIDDEN
from pipeline.disclosure.sites import draw_letters, mask_sites, name_letters
from pipeline.statistics.tidy import state, tidy_estimates
from tests.pool_of_counts import release

SITES = {"S01": 251, "S02": 188, "S03": 136, "S04": 43}


def of_sites(sizes: dict[str, int]) -> pd.DataFrame:
    """A share of each site with its size, a difference between arms in each, and the whole."""
    rows = []
    for site, size in sizes.items():
        columns = {
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
                **columns,
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
    site_rows = released[texts.str.contains("site=")]
    assert site_rows[["n_episodes", "n_events"]].isna().all(axis=None)
    shares = site_rows[site_rows["term"].eq("resolved_by_day_7")]
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
