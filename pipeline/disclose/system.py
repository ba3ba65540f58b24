"""What relates the counts of a release to each other, as arrays: equations between cells, and shares of one cell in another."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

CLOSE = 1e-6


@dataclass(frozen=True)
class Rules:
    """Sums of cells (`matrix`: rules, cells) that are at least `low` and at most `high`."""

    matrix: csr_array
    low: np.ndarray
    high: np.ndarray

    def allow(self, numbers: np.ndarray) -> bool:
        """Whether numbers of the cells fit; one that is not known (nan) fits."""
        sums = self.matrix @ numbers
        return not ((sums < self.low - CLOSE) | (sums > self.high + CLOSE)).any()


def list_rules(
    row: np.ndarray, cell: np.ndarray, sign: np.ndarray, shares: np.ndarray, shape: tuple[int, int]
) -> Rules:
    """The rules of `shape` (equations, cells): equations by the row, the cell and the sign of each entry, and for each of the `shares` (part,
    whole, least and greatest share) that the part is not less of the whole and not more."""
    equations, cells = shape
    part, whole, least, most = shares.T
    count = len(shares)
    not_less, not_more = equations + np.arange(count), equations + count + np.arange(count)
    rows = np.concatenate([row, not_less, not_less, not_more, not_more]).astype(int)
    columns = np.concatenate([cell, part, whole, part, whole]).astype(int)
    values = np.concatenate([sign, np.ones(count), -least, np.ones(count), -most])
    matrix = coo_array((values, (rows, columns)), shape=(equations + 2 * count, cells)).tocsr()
    none, far = np.zeros(equations), np.full(count, np.inf)
    return Rules(matrix, np.concatenate([none, 0 * not_less, -far]), np.concatenate([none, far, 0.0 * not_more]))


@dataclass(frozen=True)
class System:
    """The cells of a release with their `least` and their `most`, and the rules between them."""

    least: np.ndarray
    most: np.ndarray
    rules: Rules

    def allow(self, numbers: np.ndarray) -> bool:
        """Whether numbers of the cells fit; one that is not known (nan) fits."""
        return not ((numbers < self.least) | (numbers > self.most)).any() and self.rules.allow(numbers)

    def part(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """The cells that are not known and hang together, with the rules that relate them."""
        entries = self.rules.matrix.tocoo()
        rule, cell = (each[(self.most > self.least)[entries.col]] for each in (entries.row, entries.col))
        size = sum(entries.shape)
        graph = coo_array((np.ones(len(rule)), (rule, entries.shape[0] + cell)), shape=(size, size))
        label = connected_components(graph, directed=False)[1]
        rules, cells = np.unique(rule), np.unique(cell)
        for each in np.unique(label[rules]):
            yield cells[label[entries.shape[0] + cells] == each], rules[label[rules] == each]
