"""What the tests of an episode have in common: sets of variants, held as bits,
and the reading that they leave.

Each test allows a set of variants. What all tests allow is the reading. Tests of one place (canal
and ear) that allow nothing in common leave its arm and mechanism open; tests of different places
tell of several canals or both ears.
"""

from collections.abc import Iterable
from itertools import pairwise, product
from typing import Any

import numpy as np
import pandas as pd

from schemas.codes import SHORT_ARMS
from schemas.keys import EPISODE

VALUES = {
    "canal": ("posterior", "lateral", "anterior"),
    "side": ("right", "left"),
    "arm": ("long", "short", "cupula"),
    "mechanism": ("canalolithiasis", "cupulolithiasis"),
}
VARIANTS = list(product(*VALUES.values()))  # one bit each
BITS = {
    part: {value: sum(1 << n for n, v in enumerate(VARIANTS) if v[p] == value) for value in values}
    for p, (part, values) in enumerate(VALUES.items())
}
SHORT_OR_CUPULA = BITS["arm"]["short"] | BITS["arm"]["cupula"]
PLACES = [canal & side for canal in BITS["canal"].values() for side in BITS["side"].values()]
EVERY = (1 << len(VARIANTS)) - 1
CERTAINTIES = ["definite", "probable", "emerging", "suspected", "subjective"]
FIRM = ("definite", "probable")
ON_SYMPTOMS = ("suspected", "subjective")


def read_variants(matches: pd.DataFrame) -> pd.DataFrame:
    """Find the reading of each episode by its matches.

    `certainty` is that of the best test, and of a test that of its least certain variant left: not
    to time a test, or to time it within the band, leaves open the less established variant too, and
    is no surer than to have shown that one (this project's proposal).

    Parameters
    ----------
    matches
        Matches by variants.match_variants.

    Returns
    -------
    pd.DataFrame
        By site and episode_id: met_day; canal, side, arm and mechanism where all variants left
        agree, arm being `short_or_cupula` where tests on sitting up leave both, and canal
        `multiple`, or side `both`, where tests of different places have none in common; arm_basis;
        `variants` and `criteria` that are left (what another test of the same place rules out is
        gone, and what it narrows down is told as narrow); certainty; `firm`, whether one of these
        criteria is definite or probable, and `on_nystagmus`, whether one of them rests on nystagmus
        seen as described; side_by and side_signs.
    """
    rows = matches.assign(
        bits=_read_bits(matches), rank=matches["certainty"].map(CERTAINTIES.index).astype(int)
    )
    rows["episode"] = rows.groupby(EPISODE).ngroup()
    rows = rows.sort_values(["episode", "test_id"], kind="stable", ignore_index=True)
    left = _find_left(rows)
    rows["bits"] &= left["bits"].to_numpy()[rows["episode"]]
    rows = rows[rows["bits"].ne(0)].reset_index(drop=True)
    codes, kinds = pd.factorize(rows["bits"])
    rows["variant"] = pd.Series(_name_variants(kinds)[codes], dtype="string")
    readings = rows.groupby(EPISODE).agg(met_day=("day", "min"), arm_basis=("arm_basis", "first"))
    for part in VALUES:
        readings[part] = left[part].to_numpy()
    left_open = left["arms_left"].to_numpy() & readings["arm_basis"].notna().to_numpy()
    readings["arm"] = readings["arm"].mask(left_open, "short_or_cupula")
    readings["arm_basis"] = readings["arm_basis"].where(readings["arm"].isin(SHORT_ARMS))
    for name, column in {"variants": "variant", "criteria": "criterion"}.items():
        readings[name] = join_sorted(rows, column)
    readings["certainty"] = _rank_tests(rows).map(dict(enumerate(CERTAINTIES)))
    by_episode = [rows["site"], rows["episode_id"]]
    readings["firm"] = rows["certainty"].isin(FIRM).groupby(by_episode).any()
    readings["on_nystagmus"] = ~rows["certainty"].isin(ON_SYMPTOMS).groupby(by_episode).all()
    readings["side_by"] = (
        join_sorted(rows[rows["side"].ne("unknown")], "side_by").str.split().str[0]
    )
    readings["side_signs"] = join_sorted(rows, "side_signs").str.strip()
    return readings


def join_sorted(rows: pd.DataFrame, column: str) -> pd.Series:
    """The distinct texts of each episode in alphabetical order, separated by blanks;
    indexed by site and episode_id."""
    distinct = (
        rows[[*EPISODE, column]]
        .drop_duplicates()
        .sort_values([*EPISODE, column], ignore_index=True)
    )
    texts = distinct[column].to_numpy(object).tolist()
    starts = np.flatnonzero(~distinct.duplicated(EPISODE))
    joined = [" ".join(texts[begin:end]) for begin, end in pairwise([*starts, len(texts)])]
    return pd.Series(
        joined, pd.MultiIndex.from_frame(distinct.loc[starts, EPISODE]), dtype="string", name=column
    )


def _find_left(rows: pd.DataFrame) -> pd.DataFrame:
    """One row for each number of `episode`, in order: the bits of the variants that are left,
    and what they name."""
    tests = _combine(rows, ["episode", "test_id"], "bits", np.bitwise_or)
    tests["place"] = _fill_places(tests["bits"].to_numpy())
    tests = tests.sort_values(["episode", "place"], ignore_index=True)
    groups = _combine(tests, ["episode", "place"], "bits", np.bitwise_and)
    any_of = _combine(tests, ["episode", "place"], "bits", np.bitwise_or)["bits"]
    groups["bits"] = np.where(groups["bits"] != 0, groups["bits"], any_of)
    shared, place = (
        _combine(groups, ["episode"], c, np.bitwise_and)[c].to_numpy() for c in ("bits", "place")
    )
    possible = _combine(groups, ["episode"], "bits", np.bitwise_or)["bits"].to_numpy()
    several = place == 0
    bits = np.select([shared != 0, ~several], [shared, possible & place], possible)
    left = pd.DataFrame({"bits": bits} | {part: _name_part(bits, part) for part in VALUES})
    left["arms_left"] = (_fill(bits, BITS["arm"].values()) == SHORT_OR_CUPULA) & ~several
    vertical = (bits & BITS["canal"]["posterior"] != 0) & (bits & BITS["canal"]["anterior"] != 0)
    left.loc[vertical & (bits & BITS["canal"]["lateral"] == 0), "canal"] = "anterior_or_posterior"
    for part, name in {"canal": "multiple", "side": "both"}.items():
        filled = groups.assign(bits=_fill(groups["bits"].to_numpy(), BITS[part].values()))
        common = _combine(filled, ["episode"], "bits", np.bitwise_and)["bits"].to_numpy()
        left.loc[several, part] = np.where(common == 0, name, _name_part(common, part))[several]
    return left


def _rank_tests(rows: pd.DataFrame) -> pd.Series:
    """The rank in CERTAINTIES of each episode's best test, by its least certain variant;
    indexed by site and episode_id."""
    best = rows.groupby([*EPISODE, "test_id", "variant"])["rank"].min()
    return best.groupby([*EPISODE, "test_id"]).max().groupby(EPISODE).min()


def _read_bits(matches: pd.DataFrame) -> np.ndarray:
    """The bits of the variants that each match allows; an unknown part could be any."""
    bits = np.full(len(matches), EVERY, "int64")
    for part, values in BITS.items():
        bits &= matches[part].map(values).fillna(EVERY).to_numpy("int64")
    return bits


def _name_variants(bits: np.ndarray) -> np.ndarray:
    """Bits as texts canal/side/arm/mechanism, with unknown for a part of which several values are
    left."""
    canal, side, arm, mechanism = (_name_part(bits, part) for part in VALUES)
    return canal + "/" + side + "/" + arm + "/" + mechanism


def _fill(bits: np.ndarray, blocks: Iterable[Any]) -> np.ndarray:
    """All of each of the blocks of bits of which any is set."""
    return sum(
        (np.where((bits & block) != 0, block, 0) for block in blocks), np.zeros(len(bits), "int64")
    )


def _fill_places(bits: np.ndarray) -> np.ndarray:
    return _fill(bits, PLACES)


def _name_part(bits: np.ndarray, part: str) -> np.ndarray:
    """The value of a part that all variants of each row of bits share, else unknown."""
    by_value = {value: (bits & block) != 0 for value, block in BITS[part].items()}
    count = sum(by_value.values())
    names = np.select(
        [shown & (count == 1) for shown in by_value.values()], list(by_value), "unknown"
    ).astype(object)
    return names


def _combine(rows: pd.DataFrame, keys: list[str], column: str, how: np.ufunc) -> pd.DataFrame:
    """`column` of all rows with the same keys combined bit by bit;
    `rows` are in the order of their keys."""
    starts = np.flatnonzero(~rows.duplicated(keys))
    given = rows[column].to_numpy("int64")
    values = how.reduceat(given, starts) if len(starts) else given
    return rows.loc[starts, keys].assign(**{column: values}).reset_index(drop=True)
