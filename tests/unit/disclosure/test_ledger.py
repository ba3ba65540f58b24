"""The ledger gives back what was written, in order, and an entry is called by its content."""

import numpy as np
import pandas as pd
import pytest

from pipeline.disclosure.ledger import ESTIMATES, fingerprint, read_ledger, write_entry
from pipeline.disclosure.release import state_all
from tests.pool_of_counts import RULE, SITES, curves

COUNTS = {"canal=posterior": 311, "canal=lateral": 107, "canal=anterior": 5}


@pytest.fixture
def written(tmp_path):
    """A ledger with one entry, its cells and what it showed of them."""
    estimates = curves(COUNTS)
    cells = state_all(estimates, RULE).audit.cells
    bounds = np.array([(value, value) for value in cells.values])
    bounds[0] = 3, np.inf
    made_from = pd.DataFrame({"name": ["version"], "value": ["1"]})
    files = {"resolution_curves.csv": estimates}
    write_entry(tmp_path, 1, "source", files, made_from, cells, bounds, SITES)
    return tmp_path, cells, bounds, files


def test_without_a_ledger_there_are_no_entries(tmp_path):
    assert read_ledger(tmp_path / "none") == []


def test_an_entry_is_read_as_it_was_written(written):
    folder, cells, bounds, files = written
    (entry,) = read_ledger(folder)
    assert (entry.number, entry.source, entry.content) == (1, "source", fingerprint(files))
    assert entry.names == [key.say() for key in cells.keys]
    np.testing.assert_array_equal(entry.bounds, bounds)
    np.testing.assert_array_equal(entry.values, cells.values)
    known = cells.place[cells.keys[int(np.nanargmax(cells.values))]]
    assert sum(entry.owned[known].values()) == cells.values[known]
    assert {frozenset(equation) for equation in entry.equations} == set(cells.equations)
    kept = pd.read_csv(entry.folder / ESTIMATES / "resolution_curves.csv")
    assert len(kept) == len(files["resolution_curves.csv"])


def test_cells_of_earlier_releases_are_not_kept_twice(written):
    folder, cells, bounds, files = written
    last = len(cells.keys) - 1
    cells.past[last] = (0, 5)
    made_from = pd.DataFrame({"name": [], "value": []})
    write_entry(folder, 2, "later", files, made_from, cells, bounds, SITES)
    entry = read_ledger(folder)[1]
    assert entry.number == 2
    assert cells.keys[last].say() not in entry.names
    assert all(n < last for equation in entry.equations for n, _ in equation)


def test_content_is_told_by_its_tables_and_not_by_their_order():
    one, other = pd.DataFrame({"a": [1]}), pd.DataFrame({"a": [2]})
    assert fingerprint({"x": one, "y": other}) == fingerprint({"y": other, "x": one})
    assert fingerprint({"x": one}) != fingerprint({"x": other})
    assert fingerprint({"x": one}) != fingerprint({"y": one})
