"""Where episodes went: a count rests on episodes, and so does the share of its largest site."""

import pandas as pd

from pipeline.analyses.description.counts import count_flow


def test_the_largest_site_of_what_was_handed_in_has_most_episodes_not_most_deliveries():
    sites = ["S01"] * 95 + ["S02"] * 5
    deliveries = pd.DataFrame({"site": ["S01", "S02"], "delivery": "001", "is_current": True})
    rows = {
        "rows_in": [97, 5],
        "rows_withdrawn": [2, 0],
        "rows_refused": 0,
        "rows_set_aside": 0,
        "rows_stored": [95, 5],
    }
    row_counts = deliveries[["site", "delivery"]].assign(table="episodes", **rows)
    verdicts = pd.DataFrame(
        {"site": sites, "episode_id": [f"EP-{n}" for n in range(100)], "positional": "yes"}
    )
    spells = verdicts[["site", "episode_id"]].assign(
        spell=1, endpoint="objective", status="resolved"
    )
    estimates = count_flow(
        row_counts, deliveries, verdicts.assign(reclassified_day=pd.NA), spells
    ).set_index("term")
    for term in ("handed_in", "stored", "positional", "followed"):
        row = estimates.loc[term, ["estimate", "n_episodes", "n_sites", "by_site"]]
        assert row.tolist() == [100, 100, 2, "S01=95 S02=5"]
    assert estimates.loc["set_aside", ["estimate", "n_sites"]].tolist() == [0, 0]
