"""How a column and a rule describe themselves, once, for the dictionary, the store,
the checks and the messages."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

import pandas as pd
import pandera.pandas as pa
from pandera.typing import DataFrame

Severity = Literal["refuse", "set_aside", "warn"]
VERSIONS = (1, 2)  # of the data dictionary: deliveries of all of them are read
DICTIONARY_VERSION = VERSIONS[-1]  # the one to follow
SEPARATOR = "; "  # between several entries of one cell
Integer, Number, Text, Flag = pd.Int64Dtype, pd.Float64Dtype, pd.StringDtype, pd.BooleanDtype


@dataclass(frozen=True)
class Rule:
    """One way in which handed-in data can be wrong.

    Attributes
    ----------
    name
        As problems name it.
    severity
        How grave it is.
    message, fix
        What is said, and how to mend it. Both may hold {column}, {meaning}, {unit}, {allowed},
        {least}, {most}: they are filled from the column's own description, never from a cell.
    column
        The column that is blamed.
    """

    name: str
    severity: Severity
    message: str
    fix: str
    column: str = ""


RULES: dict[str, Rule] = {}


def register(rule: Rule) -> Rule:
    """Enter a rule in the catalogue; two rules of one name are a programming error."""
    if rule.name in RULES:
        raise ValueError(f"rule {rule.name} is defined twice")
    RULES[rule.name] = rule
    return rule


def row_rule(
    name: str, *, column: str, message: str, fix: str, severity: Severity = "set_aside"
) -> Callable:
    """Declare a rule across the columns of one row: the method takes all rows and is True where a
    row is fine or has gaps."""
    register(Rule(name, severity, message, fix, column))
    # the rule itself says what a gap means
    return pa.dataframe_check(name=name, error=name, ignore_na=False)


def column(
    meaning: str,
    *,
    unit: str | None = None,
    codes: dict[str, str] | None = None,
    filled: bool = False,
    ge: float | None = None,
    le: float | None = None,
    form: str | None = None,
    form_words: str | None = None,
    example: str | None = None,
    versions: tuple[int, ...] = VERSIONS,
    several: bool = False,
) -> Any:
    """Declare a column that says what it means.

    Parameters
    ----------
    meaning
        What it holds, in words.
    unit
        Unit of the number.
    codes
        The closed list of values with their meanings.
    filled
        Whether no cell may be empty.
    ge, le
        The least and the greatest number.
    form, form_words
        A regular expression for the whole text, and the same in words.
    example
        What a cell may look like.
    versions
        Those of the data dictionary that have the column.
    several
        Whether a cell may hold several of the codes: they stand in the order of the list, each
        once, separated by "; ". The first code of the list is that of none, and stands alone.

    Returns
    -------
    Any
        A field of a pandera model, whose metadata hold the rest.
    """
    metadata = {
        "unit": unit,
        "codes": codes,
        "form": form,
        "form_words": form_words,
        "example": example,
        "ge": ge,
        "le": le,
        "versions": versions,
        "several": several,
    }
    return pa.Field(
        description=meaning,
        nullable=not filled,
        isin=None if codes is None else list_entries(codes) if several else list(codes),
        ge=ge,
        le=le,
        str_matches=None if form is None else f"^(?:{form})$",
        metadata=metadata,
    )


def list_entries(codes: Iterable[str]) -> list[str]:
    """What a cell of several codes may hold: the first alone, or any of the others."""
    none, *others = codes
    some = [c for n in range(1, len(others) + 1) for c in combinations(others, n)]
    return [none, *(SEPARATOR.join(each) for each in some)]


@dataclass(frozen=True)
class Description:
    """What one column of a table says of itself; `kept` is false where what a cell stands for is
    written into other columns at intake."""

    name: str
    dtype: Any
    meaning: str
    unit: str | None
    codes: dict[str, str] | None
    filled: bool
    ge: float | None
    le: float | None
    form: str | None
    form_words: str | None
    example: str | None
    versions: tuple[int, ...]
    several: bool
    kept: bool


class Table(pa.DataFrameModel):
    """A table of the project. `Config.metadata` names its key and says what one row is."""

    class Config:
        strict = True
        coerce = False

    @classmethod
    def describe(cls) -> dict[str, Description]:
        """The columns in their order, each with its own description, of all versions."""
        return {
            name: Description(
                name=name,
                dtype=field.dtype.type,
                meaning=field.description,
                filled=not field.nullable,
                kept=field.required,
                **field.metadata,
            )
            for name, field in cls.to_schema().columns.items()
        }

    @classmethod
    def describe_kept(cls) -> dict[str, Description]:
        """The columns that the store keeps."""
        return {name: d for name, d in cls.describe().items() if d.kept}

    @classmethod
    def key(cls) -> list[str]:
        """The columns whose values together name one row."""
        return list(cls._said()["key"])

    @classmethod
    def row_meaning(cls) -> str:
        """What one row of the table is."""
        return cls._said()["row"]

    @classmethod
    def _said(cls) -> dict[str, Any]:
        return (cls.__config__ and cls.__config__.metadata) or {}

    @classmethod
    def cast(cls, rows: pd.DataFrame) -> pd.DataFrame:
        """The rows with exactly the columns that are kept of this table, in order and typed;
        for data that were checked before and only lost their types."""
        described = cls.describe_kept()
        return pd.DataFrame(
            {name: rows[name].astype(d.dtype, copy=False) for name, d in described.items()},
            columns=list(described),
        )

    @classmethod
    def empty(cls) -> pd.DataFrame:
        """No rows, with the right columns and types."""
        return pd.DataFrame(
            {name: pd.Series([], dtype=d.dtype) for name, d in cls.describe_kept().items()}
        )


if TYPE_CHECKING:
    Of = TypeVar("Of", bound=Table)

    class Frame(Generic[Of]):
        """`Frame[Spells]` in a signature: rows of that table, all or some, and no others.

        What is taken out of them is a plain frame, which may stand for any table. A subclass of
        pandas' own frame, which has no types, would be taken for every table.
        """

        def __getattr__(self, name: str) -> Any: ...
        def __getitem__(self, key: Any) -> Any: ...
        def __setitem__(self, key: Any, value: Any) -> None: ...
        def __len__(self) -> int: ...
else:
    Frame = DataFrame
