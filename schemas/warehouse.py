"""The tables of the warehouse: each is the columns of one or two models, in order."""

from schemas.columns import Description, Table
from schemas.delivery import TABLES
from schemas.derived import DERIVED
from schemas.store import KEPT, Provenance

SINGULAR = {
    "deliveries": "delivery",
    "planned_days": "planned_day",
    "row_counts": "row_count",
    "changes": "change",
    "set_aside": "set_aside",
    "problems": "problem",
    "episodes": "episode",
    "examinations": "examination",
    "treatments": "treatment",
    "followups": "followup",
    "examined_days": "examined_day",
    "findings": "finding",
    "reasons_against": "reason_against",
    "adjudications": "adjudication",
    "spells": "spell",
    "attempts": "attempt",
    "sequences": "sequence",
    "later_flags": "later_flag",
    "failure_reasons": "failure_reason",
}


def columns_of(name: str) -> dict[str, Description]:
    """The columns of a warehouse table, by the plural name that the code and the deliveries use."""
    if name in TABLES:
        return Provenance.describe() | TABLES[name].describe_kept()
    return model_of(name).describe()


def key_of(name: str) -> list[str]:
    """The columns that name one row of a warehouse table."""
    return Provenance.key() + TABLES[name].key() if name in TABLES else model_of(name).key()


def model_of(name: str) -> type[Table]:
    """The model that a table's rows follow (without the provenance columns of a delivered one)."""
    return (TABLES | KEPT | DERIVED)[name]
