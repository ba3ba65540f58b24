"""The contracts describe themselves completely, and the plan's files fit them."""

import pytest
from pydantic import ValidationError

from schemas import rules
from schemas.columns import RULES
from schemas.delivery import TABLES, Submission
from schemas.derived import DERIVED
from schemas.store import KEPT
from schemas.study import Study
from schemas.warehouse import SINGULAR, columns_of, key_of

EVERY = TABLES | DERIVED | KEPT | {"submission": Submission}


@pytest.mark.parametrize("name", EVERY)
def test_every_column_says_what_it_means(name):
    for column in EVERY[name].describe().values():
        assert column.meaning
        if column.codes:
            assert all(column.codes.values())


@pytest.mark.parametrize("name", SINGULAR)
def test_every_table_has_a_key_of_its_own_filled_columns(name):
    columns = columns_of(name)
    assert all(columns[key].filled for key in key_of(name))


def test_rules_never_quote_a_cell():
    allowed = {"column", "meaning", "unit", "allowed", "least", "most"}
    for rule in RULES.values():
        filled = (rule.message + rule.fix).format(**dict.fromkeys(allowed, "x"))
        assert "{" not in filled
    assert rules.CATALOGUE


def test_every_rule_of_the_plan_names_its_source(plan):
    for entries in (plan.criteria.criteria, plan.criteria.flags, plan.criteria.other_causes):
        assert entries
        assert all(entry.source and entry.standing and entry.says for entry in entries.values())


def test_a_misspelt_key_of_the_plan_is_refused_by_name(plan):
    content = plan.study.model_dump()
    content["resolution"]["recurence_gap"] = 14
    with pytest.raises(ValidationError, match="recurence_gap"):
        Study.model_validate(content)
