"""Single sites in a release: called by letters, in an order that says nothing,
and without what tells their size.

Whoever knows how large the sites are would know which is which. The order is drawn from all counts
before protection, so that it is the same whenever the same pool is run, and so that nobody can draw
it again from what is released: that shows only some of the counts, and none of a single site.
Shares of single sites are rounded, since a share with all its digits tells of how many it is one.
"""

import hashlib
import re

import pandas as pd

from schemas.columns import Frame
from schemas.estimate import Estimates

SITE = re.compile(r"\bsite=([^,:\s]+)")
NAMED = ["stratum", "term", "comparison"]
COUNTS = ["n_episodes", "n_events"]


def find_site_rows(estimates: Frame[Estimates]) -> pd.Series:
    """True for rows that name a single site."""
    return pd.concat(
        [estimates[column].str.contains(r"\bsite=", na=False) for column in NAMED], axis=1
    ).any(axis=1)


def draw_letters(estimates: Frame[Estimates]) -> dict[str, str]:
    """A letter for the code of each site that is named in `estimates`,
    all rows before protection."""
    codes = {
        code
        for column in NAMED
        for text in estimates[column].dropna().unique()
        for code in SITE.findall(text)
    }
    counts = (
        estimates[["analysis", "population", "endpoint", *NAMED, *COUNTS]]
        .astype("string")
        .fillna("")
    )
    lines = sorted(map("|".join, zip(*(counts[name] for name in counts), strict=True)))
    drawn = hashlib.sha256("\n".join(lines).encode()).hexdigest()
    places = sorted(codes, key=lambda code: hashlib.sha256(f"{drawn}{code}".encode()).digest())
    return {code: name_letters(k) for k, code in enumerate(places)}


def mask_sites(rows: pd.DataFrame, letters: dict[str, str]) -> pd.DataFrame:
    """The rows with single sites called by their letters, and without the shares that the largest
    one has of them.

    Rows of single sites take their places of each analysis in the order of the letters: that of the
    codes would tell which is which.
    """
    masked = rows.assign(by_site=pd.NA)
    for column in NAMED:
        named = rows[column].str.contains(r"\bsite=", na=False)
        masked.loc[named, column] = rows.loc[named, column].map(
            lambda text: SITE.sub(lambda match: f"site={letters.get(match[1], match[1])}", text)
        )
    site_rows = masked[find_site_rows(masked)]
    for _, group in site_rows.groupby("analysis", sort=False):
        letter = group[NAMED].fillna("").agg(" ".join, axis=1).str.extract(SITE, expand=False)
        order = letter.sort_values(key=lambda a: a.str.len().astype(str) + a, kind="stable").index
        masked.loc[group.index] = group.loc[order].set_axis(group.index)
    return masked


def name_letters(number: int) -> str:
    """A, B, ... Z, AA, AB for 0, 1, ..."""
    above, last = divmod(number, 26)
    return (name_letters(above - 1) if above else "") + chr(ord("A") + last)
