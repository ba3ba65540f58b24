"""What rests on one site stays hidden, also against sums."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.disclosure.people import read_by_site
from pipeline.disclosure.protect import HIDDEN
from pipeline.disclosure.rounding import unround_count
from pipeline.statistics.tidy import count_sites, state, tidy_estimates
from tests.pool_of_counts import CANALS, RULE, release


def parts(**sites: dict[str, int]) -> pd.DataFrame:
    """Medians by canal, each of the sites given, with all of them together."""
    everybody = [site for counts in sites.values() for site, n in counts.items() for _ in range(n)]
    codes_by_stratum = {"all": everybody} | {
        f"canal={k}": [s for s, n in counts.items() for _ in range(n)]
        for k, counts in sites.items()
    }
    rows = [
        state(
            "median_days",
            7,
            stratum=name,
            n_episodes=len(codes),
            **count_sites(pd.DataFrame({"site": codes})),
        )
        for name, codes in codes_by_stratum.items()
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


@settings(max_examples=8)
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
        counts_of_site = by_site.of(label, "episodes", estimates.at[label, "n_episodes"])
        assert counts_of_site.max() <= RULE.max_share * counts_of_site.sum()
        least, most = unround_count(shown, RULE.round_counts)
        # nor what a site can take itself away from
        assert not any(least - mine >= 1 and most - mine <= 10 for mine in counts_of_site if mine)
    assert made.rows["by_site"].isna().all()
