"""One variable of many rows: raw text, value, why it is missing, or why it is not understood."""

from collections.abc import Iterable, Mapping, Sequence

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.broken import BROKEN, without_broken
from pipeline.intake.cell_text import half_widths, meant_text
from pipeline.intake.coded import as_text
from pipeline.intake.distinct import distinct_rows, spread, without_room
from pipeline.intake.mapping import MISSING_REASONS
from pipeline.intake.sources import Grammar, Source
from schemas.codebook import Variable

BORN = "(date of birth)"  # stands for a text that is kept nowhere
BOTH = "both"  # a side that stands for left and right
# Beside each variable "x" the working frame keeps "raw:x", "miss:x", and so on.
CELL_SCHEMA: Mapping[str, pl.DataType] = {
    "value": pl.String(),   # replaced by the variable's own type: its codes, a number, …
    "raw": pl.String(),     # text as received; of a date of birth only BORN, later the age
    "miss": pl.Enum(MISSING_REASONS),  # why it is missing
    "rule": pl.String(),    # why it is not understood: M01 ..
    "note": pl.String(),    # what is said of an approximation
    "col": pl.String(),     # header
    "on": pl.Date(),        # date from which a day or an age is made
    "base": pl.String(),    # operation from which days are counted
    "given": pl.Int64(),    # days as counted from that operation
    "nominal": pl.Int64(),  # half width of a day that was planned, not measured
}  # fmt: skip


def cell_schema(variable: Variable) -> dict[str, pl.DataType]:
    """Give the columns of one variable's cells."""
    return dict(CELL_SCHEMA) | {"value": _value_type(variable)}


def _value_type(variable: Variable) -> pl.DataType:
    """Give the type of a value while rows are read: until it makes two rows, a side may be both."""
    may_be_both = variable.is_coded and variable.name == "side"
    return pl.Enum([*variable.codes, BOTH]) if may_be_both else variable.dtype


def read_variable(
    rows: pl.DataFrame, sources: Sequence[Source], *, variable: Variable, grammar: Grammar
) -> pl.DataFrame:
    """Read one variable from its sources; of several, the first that is filled counts.

    Returns
    -------
    pl.DataFrame
        One row per source row, with the columns of `cell_schema`; "raw" may be coded.
    """
    read_from = [name for source in sources for name in source.columns]
    found = distinct_rows(rows, read_from) if read_from else None
    if found is None:
        cells = as_text(rows.select(list(dict.fromkeys(read_from)))) if read_from else rows
        return without_room(_read_sources(cells, sources, variable, grammar))
    return spread(_read_sources(found.rows, sources, variable, grammar), found)


def _read_sources(
    rows: pl.DataFrame, sources: Sequence[Source], variable: Variable, grammar: Grammar
) -> pl.DataFrame:
    readings = [_read_source(rows, source, variable, grammar) for source in sources]
    cells = readings[-1]
    for reading in reversed(readings[:-1]):
        filled = reading.select(pl.col("raw").is_not_null() & pl.col("miss").is_null()).to_series()
        both = pl.concat([reading, cells.select(pl.all().name.prefix("next:"))], how="horizontal")
        cells = both.with_columns(filled=filled).select(
            pl.when("filled").then(name).otherwise(f"next:{name}").alias(name)
            for name in reading.columns
        )
    return cells


def _read_source(
    rows: pl.DataFrame, source: Source, variable: Variable, grammar: Grammar
) -> pl.DataFrame:
    if source.value is not None:
        return _constant(rows.height, source.value, variable)
    raw = _raw(rows, source.columns)
    text, miss = meant_text(raw, source, grammar)
    value, rule = _read_text(text, source, variable, grammar)
    cells = pl.DataFrame({"raw": raw, "miss": miss, "t": text, "value": value})
    if source.half_step:
        cells = cells.with_columns(half_widths(text, source, grammar).alias("half"))
    cells = without_broken(cells, source, variable=variable, grammar=grammar)
    return cells.select(_cell_columns(source, variable, rule, dated=_is_dated(value, variable)))


def _is_dated(value: pl.Series, variable: Variable) -> bool:
    """Tell a date from which a day or an age is still to be counted."""
    return value.dtype == pl.Date and variable.kind != "date"


def _cell_columns(source: Source, variable: Variable, rule: str, *, dated: bool) -> list[pl.Expr]:
    understood = pl.col("value").is_not_null()
    base = source.counted_from if variable.unit == "day" and not dated else None
    kept = pl.lit(source.reads != "birth_date") | pl.col("miss").is_not_null()
    notes = dict(source.notes)
    lower = pl.col("t").str.to_lowercase()
    said = lower.replace_strict(notes, default=None, return_dtype=pl.String) if notes else None
    made = {
        "value": pl.lit(None) if dated else pl.col("value"),
        "raw": pl.when(kept).then("raw").otherwise(pl.lit(BORN)),
        "miss": pl.col("miss"),
        "rule": pl.when(pl.col("miss").is_null() & ~understood)
        .then(pl.when("broken").then(pl.lit(BROKEN)).otherwise(pl.lit(rule))),
        "note": pl.lit(None) if said is None else said,
        "col": pl.lit(" / ".join(source.columns)),
        "on": pl.col("value") if dated else pl.lit(None),
        "base": pl.when(understood).then(pl.lit(base)),
        "given": pl.lit(None),
        "nominal": pl.when(understood).then(
            "half" if source.half_step else pl.lit(source.nominal_days)
        ),
    }  # fmt: skip
    return [made[name].cast(dtype).alias(name) for name, dtype in cell_schema(variable).items()]


def _constant(height: int, value: str, variable: Variable) -> pl.DataFrame:
    """Give what the mapping itself says of every row; it has no cell behind it."""
    typed = as_type(pl.Series([value]), variable).item()
    blank = [pl.lit(None, dtype).alias(name) for name, dtype in CELL_SCHEMA.items()][1:]
    said = pl.lit(typed, _value_type(variable)).alias("value")
    rows = pl.DataFrame({"place": pl.int_range(height, eager=True)})
    return rows.with_columns(said, *blank).drop("place")


def _raw(rows: pl.DataFrame, columns: Sequence[str]) -> pl.Series:
    """Give the text as received; several cells are joined by " | " unless all are blank."""
    if len(columns) == 1:
        return rows[columns[0]].rename("raw")
    joined = pl.concat_str([pl.col(name).fill_null("") for name in columns], separator=" | ")
    filled = pl.any_horizontal(pl.col(name).is_not_null() for name in columns)
    return rows.select(pl.when(filled).then(joined).alias("raw")).to_series()


def _read_text(
    text: pl.Series, source: Source, variable: Variable, grammar: Grammar
) -> tuple[pl.Series, str]:
    """Read the text as the mapping declares; with the rule that a failure breaks."""
    if source.codes:
        return _codes(text, source, variable), "M01"
    if source.reads in ("date", "birth_date") or variable.kind == "date":
        return read.read_dates(text, grammar, source.formats or grammar.date_formats), "M03"
    if source.reads == "duration":
        months_or_days = read.UNITS_TO[variable.unit]
        return _whole(read.read_durations(text, grammar, months_or_days), variable, True), "M04"
    if variable.kind in ("int", "float"):
        return _number(text, source, variable, grammar)
    if variable.kind == "string":
        return text, "M01"
    return as_type(_listed(text, variable), variable), "M01"


def _number(
    text: pl.Series, source: Source, variable: Variable, grammar: Grammar
) -> tuple[pl.Series, str]:
    factors = read.UNITS_TO.get(variable.unit, {})
    if source.units:
        numbers = read.read_with_units(text, grammar, units=source.units, factors=factors)
        return _whole(numbers, variable, True), "M04"
    if source.unit == "gauge":
        table = {gauge: float(mm) for gauge, mm in grammar.gauge_mm.items()}
        return text.replace_strict(table, default=None, return_dtype=pl.Float64), "M04"
    if source.out_of:
        return _whole(read.read_parts_of(text, source.out_of), variable, False), "M02"
    numbers = read.read_numbers(text, grammar)
    converted = numbers * factors[source.unit] if source.unit else numbers
    return _whole(converted, variable, bool(source.unit)), "M02"


def _whole(numbers: pl.Series, variable: Variable, converted: bool) -> pl.Series:
    """Let whole-number variables have whole numbers; only a conversion may be rounded."""
    if variable.kind != "int":
        return numbers
    rounded = (numbers + 0.5).floor()
    if converted:
        return rounded.cast(pl.Int64, strict=False)
    return numbers.to_frame("v").select(
        pl.when(pl.col("v") == pl.col("v").round(0)).then("v").cast(pl.Int64, strict=False)
    ).to_series()  # fmt: skip


def _codes(text: pl.Series, source: Source, variable: Variable) -> pl.Series:
    lower = text.str.to_lowercase()
    code = lower.replace_strict(dict(source.codes), default=None, return_dtype=pl.String)
    if source.other_texts == "keep":
        code = code.fill_null(text)
    return as_type(code, variable)


def _listed(text: pl.Series, variable: Variable) -> pl.Series:
    """Read canonical codes as they stand; upper and lower case are one."""
    allowed = ("true", "false") if variable.kind == "bool" else tuple(variable.codes)
    return text.str.to_lowercase().replace_strict(
        {code.lower(): code for code in allowed}, default=None, return_dtype=pl.String
    )


def as_type(code: pl.Series, variable: Variable) -> pl.Series:
    """Give canonical text its type."""
    if variable.kind == "bool":
        return code.replace_strict(
            {"true": True, "false": False}, default=None, return_dtype=pl.Boolean
        )
    if variable.kind == "date":
        return code.str.to_date("%Y-%m-%d", strict=False)
    return code.cast(_value_type(variable), strict=False)


def cell_columns(variable: Variable) -> dict[str, pl.DataType]:
    """Name the columns of one variable in a working row, with their types."""
    return {
        variable.name if key == "value" else f"{key}:{variable.name}": dtype
        for key, dtype in cell_schema(variable).items()
    }


def with_cells(rows: pl.DataFrame, variables: Iterable[Variable]) -> pl.DataFrame:
    """Add null cells for variables that these rows do not have."""
    wanted = {name: dtype for item in variables for name, dtype in cell_columns(item).items()}
    return rows.with_columns(
        pl.lit(None, dtype).alias(name)
        for name, dtype in wanted.items()
        if name not in rows.columns
    )
