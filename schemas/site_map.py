"""What a site calls things in its own records, as data: types of `config/sites/<site>.yaml`.

No list means the names of the dictionary.
"""

import re
from collections.abc import Collection, Iterable
from pathlib import Path

import yaml
from pydantic import Field, TypeAdapter, ValidationError, field_validator, model_validator

from schemas import codes
from schemas.columns import Description
from schemas.criteria import Closed
from schemas.delivery import TABLES
from schemas.plan_faults import PlanFault, describe_faults, load_plan_file

DESCRIBED = {name: model.describe() for name, model in TABLES.items()}


def spell_plainly(text: str) -> str:
    """A name without regard to capitals, blanks, hyphens, underscores and other signs:
    what is left must be the same in both spellings."""
    return re.sub(r"[\W_]+", "", text.casefold())


class SiteMap(Closed):
    """One site's own names of tables, columns and codes, each with the one of the dictionary that
    it stands for."""

    tables: dict[str, str] = Field(
        default={}, description="Name of a sheet or file: table of the dictionary"
    )
    columns: dict[str, dict[str, str]] = Field(
        default={}, description="Table: header: column of the dictionary"
    )
    codes: dict[str, dict[str, dict[str, str]]] = Field(
        default={},
        description="Table: column of the dictionary: entry of the site: code of the dictionary",
    )

    pseudonyms: tuple[str, ...] = Field(
        default=(),
        description=(
            "Shapes of the site's own pseudonyms: 9 a digit, X a letter or digit drawn by lot, "
            "capitals and hyphens themselves"
        ),
    )

    @field_validator("pseudonyms", mode="after")
    @classmethod
    def _shapes_are_shapes(cls, shapes: tuple[str, ...]) -> tuple[str, ...]:
        for shape in shapes:
            if not re.fullmatch("[A-Z9-]{3,24}", shape) or not re.search("[9X]", shape):
                raise ValueError(
                    f"{shape!r} is no shape of a pseudonym: 3 to 24 of 9, X, other capitals and "
                    "hyphens, as BPPV-9999"
                )
        return shapes

    @field_validator("tables", mode="after")
    @classmethod
    def _tables_are_known(cls, tables: dict[str, str]) -> dict[str, str]:
        _require(tables.values(), codes.TABLE, "table")
        return tables

    @model_validator(mode="after")
    def _columns_are_known_and_meant_once(self) -> "SiteMap":
        _require([*self.columns, *self.codes], TABLES, "table")
        for table, headers in self.columns.items():
            _require(headers.values(), DESCRIBED[table], f"column of {table}")
            for spellings, what in (
                (map(spell_plainly, headers), "header"),
                (headers.values(), "column"),
            ):
                _require_once(list(spellings), f"{table}: a {what}")
        return self

    @model_validator(mode="after")
    def _codes_are_known(self) -> "SiteMap":
        for table, columns in self.codes.items():
            _require(columns, DESCRIBED[table], f"column of {table}")
            for name, entries in columns.items():
                described = DESCRIBED[table][name]
                # against the list of maneuvers, once the whole plan is there
                if name != "maneuver":
                    _require(entries.values(), described.codes or (), f"code of {name}")
                _require_once([entry.casefold() for entry in entries], f"{table}, {name}: an entry")
                _forbid_codes(entries, described)
        return self

    def entries_of(self, table: str, column: str) -> dict[str, str]:
        """The site's entries of a column without regard to capitals, each with its code."""
        entries = self.codes.get(table, {}).get(column, {})
        return {entry.casefold(): code for entry, code in entries.items()}


SITE_MAPS = dict[str, SiteMap]


def read_site_maps(folder: Path) -> dict[str, SiteMap]:
    """The lists of all sites that have one; raises PlanFault with a sentence for each fault,
    its file and line."""
    files, faults = {}, []
    for path in sorted(folder.glob("*.yaml")):
        if re.fullmatch(codes.SITE_CODE, path.stem):
            files[path.stem] = load_plan_file(path)
        else:
            faults.append(f"{path}: a site's list is named as the site, S and two or three digits.")
    if faults:
        raise PlanFault("\n".join(faults))
    try:
        return TypeAdapter(SITE_MAPS).validate_python(
            {site: file.content or {} for site, file in files.items()}
        )
    except ValidationError as error:
        raise describe_faults(error, files, SITE_MAPS) from None


def write_site_map(site_map: SiteMap) -> str:
    """The list of one site as the text of a file that `read_site_maps` reads."""
    return yaml.safe_dump(
        site_map.model_dump(mode="json", exclude_defaults=True), allow_unicode=True, sort_keys=False
    )


def _require(names: Iterable[str], known: Collection[str], what: str) -> None:
    for name in names:
        if name not in known:
            raise ValueError(f"{name!r} is no {what}; known are {', '.join(known) or 'none'}")


def _require_once(names: list[str], what: str) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{what} is named twice: {', '.join(twice)}")


def _forbid_codes(entries: dict[str, str], described: Description) -> None:
    """A code of the dictionary always means itself."""
    for entry, code in entries.items():
        if entry.casefold() in (described.codes or ()) and entry.casefold() != code:
            raise ValueError(
                f"{entry!r} is a code of {described.name} and cannot stand for {code!r}"
            )
