"""The gate: pandera schemas made from the codebook, which accepted rows must pass."""

from collections.abc import Iterable
from datetime import date

import pandera.polars as pa
import polars as pl

from schemas.codebook import KEYS, Variable, of_table
from schemas.rules.declared import PLACE
from schemas.rules.repeated import repeated

# One row per key; the other tables may hold two contacts of one day or a number used twice,
# which are asked about.
ONE_ROW_A_KEY = ("clinics", "animals", "stifles", "procedures")


def table_schema(codebook: Iterable[Variable], table: str, *, before: Iterable[str] = ()
                 ) -> pa.DataFrameSchema:  # fmt: skip
    """Make the schema of one canonical table of accepted rows.

    Every variable has its type, which of a category is its codes, and its hard limits; the
    columns that give a row its place are filled; one row per key where a table has such a key.
    Nothing is ever coerced. Validate a collected frame: a lazy one would pass unseen.

    Parameters
    ----------
    before
        Columns beside the variables that accepted rows carry unchecked (file, row, …).

    Raises
    ------
    KeyError
        If the codebook declares nothing for `table`.
    """
    columns = {item.name: _column(item) for item in of_table(codebook, table)}
    if not columns:
        raise KeyError(table)
    beside = {name: pa.Column(nullable=True) for name in before}
    return pa.DataFrameSchema(
        beside | columns, name=table, strict=True, coerce=False,
        unique=list(KEYS[table]) if table in ONE_ROW_A_KEY else None,
    )  # fmt: skip


def gate(frame: pl.DataFrame, schema: pa.DataFrameSchema) -> None:
    """Let accepted rows pass, or stop: a failure here is a defect of the checks before it.

    What the schema declares is counted in one look at the rows; the slower validation, which
    puts a failure in words, decides wherever that look does not show that all is well.

    Raises
    ------
    AssertionError
        If a row breaks the schema, with the columns and checks that failed.
    """
    if _plainly_passes(frame, schema):
        return
    try:
        schema.validate(frame, lazy=True)
    except pa.errors.SchemaErrors as error:
        cases = error.failure_cases.select("column", "check", "index").head(5).rows()
        raise AssertionError(f"accepted rows of {schema.name} break the schema: {cases}") from error


def _plainly_passes(frame: pl.DataFrame, schema: pa.DataFrameSchema) -> bool:
    """Be true where every column, type, blank, declared check and key is as the schema says."""
    declared: dict[str, pa.Column] = schema.columns
    types = {name: column.dtype.type for name, column in declared.items() if column.dtype}
    if {*frame.columns} != {*declared} or any(
        frame.schema[name] != kind for name, kind in types.items()
    ):
        return False
    if any(frame[name].null_count() for name in types if not declared[name].nullable):
        return False
    holds = [
        _holds(name, check).all()
        for name in types if frame[name].null_count() < frame.height
        for check in declared[name].checks
    ]  # fmt: skip
    if holds and not frame.select(pl.all_horizontal(holds)).item():
        return False
    return not schema.unique or repeated(frame.select(schema.unique), schema.unique).is_empty()


def _holds(name: str, check: pa.Check) -> pl.Expr:
    """Say by an expression what a check of `_column` asks of a value; of any other, nothing."""
    asked = check.statistics or {}
    if check.name == "in_range" and asked["include_min"] and asked["include_max"]:
        return pl.col(name).is_between(asked["min_value"], asked["max_value"])
    return pl.lit(value=False)


def _column(item: Variable) -> pa.Column:
    checks: list[pa.Check] = []
    if item.limits:
        low, high = (_limit(item, text) for text in item.limits)
        error = f"{item.limits[0]} to {item.limits[1]} {item.unit}"
        checks.append(pa.Check.in_range(low, high, error=error))
    return pa.Column(
        item.dtype if item.is_coded else type(item.dtype), checks, title=item.label,
        nullable=(item.table, item.name) not in PLACE, description=item.definition,
    )  # fmt: skip


def _limit(item: Variable, text: str) -> date | float | int:
    if item.kind == "date":
        return date.fromisoformat(text)
    return int(text) if item.kind == "int" else float(text)
