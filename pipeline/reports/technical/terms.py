"""What terms, strata and comparisons of any analysis are called, and how a number is written."""

import math
from collections.abc import Mapping

import pandas as pd

from pipeline.reports.wording import name_value
from schemas import codes
from schemas.declared import find_quantity
from schemas.failure import REASON, VIEW
from schemas.quantities import Quantity
from schemas.strata import SMALLER_CELLS, THEN, VARIABLES, WHOLE
from schemas.study import Config

ANY_SITE = "any one site"
FAMILIES = ("family", "first_family", "first_maneuver", "change_to")


def name_term(analysis: str, stratum: str, term: str, config: Config) -> str:
    """A term in the words of its declaration (schemas/declared);
    raises schemas.quantities.Undeclared if it has none."""
    declared = find_quantity(analysis, stratum, term)
    parameters = declared.parameters
    return declared.quantity.words.format_map(
        {name: _name_parameter(name, parameters, config) for name in parameters}
    )


def _name_parameter(name: str, parameters: Mapping[str, str], config: Config) -> str:
    """What one parameter of a term is called; a class by its variable,
    a level as a part of the pool."""
    value = parameters[name]
    if name == "variable":
        return name_variable(value)
    if name == "class":
        return _name_code(parameters["variable"], value, config)
    return name_part(value, config) if name == "level" else _name_code(name, value, config)


def name_part(stratum: str, config: Config) -> str:
    """A stratum or comparison in words; 'all' is the whole population,
    and a site is only said to be one."""
    if stratum == WHOLE:
        return "whole population"
    if stratum.startswith(SMALLER_CELLS):
        return stratum.replace("_", " ")
    return ", ".join(_say_pair(part, config) for part in stratum.split(","))


def name_order(order: str, config: Config) -> str:
    """An order of maneuvers: its families in turn, the last of them again until negative."""
    return THEN.join(name_value("first_maneuver", family, config) for family in order.split(THEN))


def name_variable(variable: str) -> str:
    """A variable that divides the pool, in words; raises KeyError for one that is not declared."""
    return VARIABLES[variable].words


def _say_pair(pair: str, config: Config) -> str:
    variable, equals, code = pair.partition("=")
    if not equals:
        return VARIABLES[pair].words if pair in VARIABLES else pair.replace("_", " ")
    return (
        ANY_SITE
        if variable == "site"
        else f"{name_variable(variable)}: {_name_code(variable, code, config)}"
    )


def _name_code(variable: str, code: str, config: Config) -> str:
    if variable == "view":
        return code.replace("_", " ") if code in VIEW else code
    if variable == "reason" and code in REASON:
        return REASON[code]
    if code == "not_tested_again":
        return "not tested again"
    if variable == "path":
        return code.replace("_", " ")
    if variable == "strategy":
        return name_order(code, config)
    if variable in FAMILIES:
        return name_value("first_maneuver", code, config)
    if variable == "read":
        return (
            codes.POSITIONAL.get(code, code.replace("_", " ")) if code != "unknown" else "unknown"
        )
    return name_value(variable, code, config)


def select_terms(rows: pd.DataFrame, *quantities: Quantity) -> pd.Series:
    """Which rows are of one of these quantities."""
    kept = {
        term
        for term in rows["term"].unique()
        if any(each.pattern.fullmatch(term) for each in quantities)
    }
    return rows["term"].isin(kept)


def write_number(number: float | None) -> str:
    """Three digits that count, never an exponent below a million: 0.0123, 1.25, 12.5, 1,204."""
    if number is None or pd.isna(number):
        return ""
    if math.isinf(number):
        return "∞" if number > 0 else "−∞"
    if number == int(number) and abs(number) < 1e15:
        return f"{number:,.0f}".replace("-", "−")
    if abs(number) >= 1000:
        return f"{number:,.0f}".replace("-", "−")
    digits = min(6, max(0, 2 - math.floor(math.log10(abs(number)))))
    return f"{number:.{min(digits, 3) if abs(number) >= 0.001 else digits}f}".replace("-", "−")


def write_limits(lower: float | None, upper: float | None, status: str) -> str:
    """'0.12 to 0.34', one end if the other is not reached, nothing if there are none;
    'at most 14' of a number that is hidden beyond a limit."""
    ends = [write_number(lower), write_number(upper)]
    if not any(ends):
        return ""
    if status == "bounded":
        return f"at most {ends[1]}" if ends[1] else f"at least {ends[0]}"
    return f"{ends[0] or 'not reached'} to {ends[1] or 'not reached'}"


def write_p(p: float | None) -> str:
    """A P-value with two digits that count, or below 0.001."""
    if p is None or pd.isna(p):
        return ""
    return "< 0.001" if p < 0.001 else f"{p:.3f}"
