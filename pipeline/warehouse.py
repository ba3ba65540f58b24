"""The store: the only room that knows the database.

It is built beside the old one and takes its place when it is whole.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import duckdb
import pandas as pd

from pipeline.results import limit_rights
from schemas.columns import Flag, Integer, Number, Text
from schemas.delivery import TABLES
from schemas.store import KEPT
from schemas.warehouse import SINGULAR, columns_of, key_of, model_of

SQL_TYPES = {Integer: "BIGINT", Number: "DOUBLE", Text: "VARCHAR", Flag: "BOOLEAN"}
DELIVERED = TABLES | KEPT


class Warehouse:
    """An open warehouse: every table that the schemas describe, each column with its type,
    key and meaning."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection = connection
        self.rows_read: dict[str, int] = {}  # by table, for whoever logs what a step was given

    def create_tables(self) -> None:
        """Make all tables, empty, from the models; in one transaction, since each takes a write to
        the disk."""
        self._connection.begin()
        for name, singular in SINGULAR.items():
            columns = columns_of(name)
            lines = [
                f"{quote(c)} {SQL_TYPES[type(d.dtype)]}{' NOT NULL' if d.filled else ''}"
                for c, d in columns.items()
            ]
            lines.append(f"PRIMARY KEY ({', '.join(map(quote, key_of(name)))})")
            self._connection.execute(f"CREATE TABLE {quote(singular)} ({', '.join(lines)})")
            self._connection.execute(
                f"COMMENT ON TABLE {quote(singular)} IS {literal(model_of(name).row_meaning())}"
            )
            for column, described in columns.items():
                meaning = described.meaning + (f" [{described.unit}]" if described.unit else "")
                self._connection.execute(
                    f"COMMENT ON COLUMN {quote(singular)}.{quote(column)} IS {literal(meaning)}"
                )
        self._connection.commit()

    def load_deliveries(self, folders: list[Path]) -> None:
        """Take in what intake left in each folder (one Parquet file a table),
        then say which delivery of each site is current."""
        for name in DELIVERED:
            files = [str(folder / f"{name}.parquet") for folder in folders]
            if files:
                self._insert(name, "read_parquet(?)", [files])
        self._connection.execute(
            """UPDATE delivery SET is_current = (site, delivery) IN
               (SELECT (site, max(delivery)) FROM delivery
                WHERE status = 'accepted' GROUP BY site)"""
        )

    def insert(self, name: str, rows: pd.DataFrame) -> None:
        """Add rows to a table after its model has approved them."""
        approved = model_of(name).validate(model_of(name).cast(rows), lazy=True)
        self._connection.register("approved_rows", approved)
        self._insert(name, "approved_rows", [])
        self._connection.unregister("approved_rows")

    def read(self, name: str, *, current: bool = False) -> pd.DataFrame:
        """All rows of a table in the order of their keys, typed as the schemas say; with `current`,
        of each site's current delivery only."""
        order = ", ".join(map(quote, key_of(name)))
        chosen = (
            (
                "SEMI JOIN (SELECT site, delivery FROM delivery WHERE is_current) USING (site, "
                "delivery)"
            )
            if current
            else ""
        )
        rows = self._connection.execute(
            f"SELECT * FROM {quote(SINGULAR[name])} {chosen} ORDER BY {order}"
        ).df()
        self.rows_read[name] = len(rows)
        return pd.DataFrame(
            {column: rows[column].astype(d.dtype) for column, d in columns_of(name).items()}
        )

    def count_unused_pages(self) -> int:
        """Pages of the file that no table uses any more, in which former rows may still stand; none
        in a store that was built anew."""
        row = self._connection.execute("SELECT free_blocks FROM pragma_database_size()").fetchone()
        return int(row[0]) if row else 0

    def _insert(self, name: str, source: str, parameters: list) -> None:
        try:
            self._connection.execute(
                f"INSERT INTO {quote(SINGULAR[name])} BY NAME SELECT * FROM {source}", parameters
            )
        except duckdb.ConstraintException:
            raise KeyTwice(
                f"two rows of {name} have the same {', '.join(key_of(name))}"
            ) from None  # its own message prints the key


class KeyTwice(Exception):
    """A program fault: rows reached the store whose key is not theirs alone."""


@contextmanager
def build_warehouse(path: Path) -> Iterator[Warehouse]:
    """A new, empty warehouse, which takes the place of `path` only when the block ends well;
    until then the old one stays whole."""
    beside = path.with_name(path.name + ".building")
    _remove(beside)
    connection = duckdb.connect(str(beside))
    try:
        warehouse = Warehouse(connection)
        warehouse.create_tables()
        yield warehouse
        connection.execute(
            "CHECKPOINT"
        )  # closing tries it too, but says nothing if the disk is full
    except BaseException:
        with suppress(duckdb.Error):  # a full disk is told by what came first
            connection.close()
        _remove(beside)
        raise
    connection.close()
    limit_rights(beside)
    os.replace(beside, path)


def _remove(path: Path) -> None:
    """Take a warehouse away that is not finished, with what was not yet written into it."""
    for part in (path, path.with_name(path.name + ".wal")):
        part.unlink(missing_ok=True)


@contextmanager
def open_warehouse(path: Path) -> Iterator[Warehouse]:
    """The finished warehouse, to read from; many may read at once."""
    with duckdb.connect(str(path), read_only=True) as connection:
        yield Warehouse(connection)


def quote(name: str) -> str:
    """A name of our own as SQL writes it."""
    return '"' + name.replace('"', '""') + '"'


def literal(text: str) -> str:
    """A text of our own as SQL writes it."""
    return "'" + text.replace("'", "''") + "'"
