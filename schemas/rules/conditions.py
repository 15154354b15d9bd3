"""The small language of ``required_when``: ``procedures.kwire_count > 0 and clinics.x = true``."""

import re
from collections.abc import Mapping

import polars as pl

from schemas.codebook import Variable
from shared.errors import PlanError

TERM = re.compile(
    r"^(?P<table>[a-z_]+)\.(?P<name>\w+)\s*(?:"
    r"(?P<present>present)|in\s+(?P<choices>\S+)|(?P<sign>>=|<=|>|<|=)\s*(?P<value>\S+))$"
)
# The tables of which one row belongs to each row of a table; of others there may be many.
ONE_ROW_OF: Mapping[str, tuple[str, ...]] = {
    "clinics": (),
    "animals": ("clinics",),
    "stifles": ("animals", "clinics", "procedures"),
    "procedures": ("stifles", "animals", "clinics"),
} | dict.fromkeys(
    ("implants", "rechecks", "complications", "revisions", "measurements"),
    ("stifles", "procedures", "animals", "clinics"),
)


def condition(text: str, variables: Mapping[tuple[str, str], Variable], *, table: str) -> pl.Expr:
    """Read a condition as an expression over the joined frame of `table`.

    Terms are ``table.variable = value``, ``in a|b``, ``> 0`` (also >=, <, <=) and ``present``,
    joined by ``and``. On the row of an animal a variable of its stifles is met if any stifle
    meets it.

    Raises
    ------
    PlanError
        If a term cannot be read or names a variable that does not exist.
    """
    whole = pl.lit(value=True)
    for part in text.split(" and "):
        term = TERM.match(part.strip())
        variable = variables.get((term["table"], term["name"])) if term else None
        if term is None or variable is None:
            raise PlanError(
                f"codebook/{table}.csv, required_when",
                f'"{part.strip()}" is no condition that can be read',
                do='Write for example "procedures.ttt_done = true", "rechecks.recheck_mode in '
                'telephone|video", "procedures.kwire_count > 0" or "stifles.bcs present".',
            )
        whole = whole & _term(term, variable, table=table)
    return whole


def _term(term: re.Match[str], variable: Variable, *, table: str) -> pl.Expr:
    own = variable.table == table
    column = pl.col(variable.name if own else f"{variable.table}.{variable.name}")
    if table == "animals" and variable.table == "stifles":
        return column.list.eval(_compare(pl.element(), term, variable)).list.any()
    return _compare(column, term, variable)


def _compare(column: pl.Expr, term: re.Match[str], variable: Variable) -> pl.Expr:
    if term["present"]:
        return column.is_not_null()
    if term["choices"]:
        return column.is_in([_value(item, variable) for item in term["choices"].split("|")])
    value = _value(term["value"], variable)
    ordered = column.cast(pl.String) if variable.is_coded else column  # by their letters
    signs = {
        "=": column == value, ">": ordered > value, "<": ordered < value,
        ">=": ordered >= value, "<=": ordered <= value,
    }  # fmt: skip
    return signs[term["sign"]]


def _value(text: str, variable: Variable) -> str | float | bool:
    if variable.kind == "bool":
        return text == "true"
    return float(text) if variable.kind in {"int", "float"} else text
