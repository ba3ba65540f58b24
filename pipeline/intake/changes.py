"""What changed since the last accepted delivery of a site, episode by episode."""

import pandas as pd

from schemas.delivery import TABLES
from schemas.store import Changes


def compare_deliveries(
    before: dict[str, pd.DataFrame], now: dict[str, pd.DataFrame]
) -> pd.DataFrame:
    """Compare a delivery with the one before, episode by episode.

    An episode that was handed in and set aside is in the delivery; as none of its rows is stored,
    it counts as changed when it was stored before.

    Parameters
    ----------
    before, now
        The tables of one delivery by name.

    Returns
    -------
    pd.DataFrame
        Episodes that were added, changed or withdrawn (schemas.store.Changes without site and
        delivery), in the order of their codes.
    """
    earlier, later = list_episodes(before), list_episodes(now)
    old, new = fingerprint_episodes(before), fingerprint_episodes(now)
    changed = [episode for episode in earlier & later if old.get(episode) != new.get(episode)]
    change_by_episode = (
        dict.fromkeys(later - earlier, "added")
        | dict.fromkeys(earlier - later, "withdrawn")
        | dict.fromkeys(changed, "changed")
    )
    return pd.DataFrame(sorted(change_by_episode.items()), columns=list(Changes.describe())[-2:])


def list_episodes(tables: dict[str, pd.DataFrame]) -> set[str]:
    """All episodes that a delivery holds, stored or set aside."""
    aside = tables["set_aside"]
    return {
        *tables["episodes"]["episode_id"],
        *aside.loc[aside["table"] == "episodes", "episode_id"].dropna(),
    }


def fingerprint_episodes(tables: dict[str, pd.DataFrame]) -> dict[str, int]:
    """One number for all stored rows of each episode, the same in whatever order they stand:
    the sum of their hashes."""
    sums = []
    for name, model in TABLES.items():
        rows = tables[name][list(model.describe_kept())]
        hashes = pd.util.hash_pandas_object(
            rows.astype("string").fillna(""), index=False, hash_key=name.ljust(16, ".")
        )
        sums.append(hashes.groupby(rows["episode_id"].astype(object).to_numpy()).sum())
    total = pd.concat(sums)
    return total.groupby(level=0).sum().to_dict()
