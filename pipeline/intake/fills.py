"""Rows that add to another row: a farewell event gives the end of follow-up of a stifle."""

from collections.abc import Sequence

import polars as pl

from pipeline.intake.cells import CELL_SCHEMA
from pipeline.intake.mapped import RAW, raw_text
from schemas.codebook import Variable

CONTRADICTED = "M14"
PLACES = ("file", "sheet", "row")
_PARTS = ("", *(f"{key}:" for key in CELL_SCHEMA if key != "value"))


def over_stifles(rows: pl.DataFrame, operations: pl.DataFrame) -> pl.DataFrame:
    """Let a row that names no side stand for every operated stifle of its animal."""
    no_side = pl.col("side").is_null() & pl.col("rule:side").is_null() & (
        pl.col("local_stifle").is_null() | pl.col("local_stifle").str.ends_with(":?")
    )  # fmt: skip
    apart = rows.filter(~no_side)
    stifles = operations.select("local_animal", "local_stifle", "side")
    spread = (
        rows.filter(no_side).drop("local_stifle", "side")
        .join(stifles, on="local_animal", how="left", maintain_order="left")
        .with_columns(pl.lit(None, pl.String).alias("rule:local_stifle"))
    )  # fmt: skip
    return pl.concat([apart, spread.select(apart.columns)])


def fill_rows(
    table: pl.DataFrame, rows: pl.DataFrame, *, key: str, variables: Sequence[Variable]
) -> pl.DataFrame:
    """Fill blank variables of `table` from `rows` with the same key.

    Where the rows disagree with each other, or with a value already there, the variable is
    null with rule M14. The columns "file:x", "sheet:x" and "row:x" say where it came from; those of
    an earlier filling stay where this one adds nothing.
    """
    for variable in variables:
        name = variable.name
        given = rows.filter(
            pl.col(key).is_not_null()
            & (pl.col(name).is_not_null() | pl.col(f"rule:{name}").is_not_null())
        )
        if given.is_empty():
            continue
        found = given.group_by(key, maintain_order=True).agg(
            pl.col(f"{part}{name}").first().alias(f"new:{part}{name}") for part in _PARTS
        )
        places = given.group_by(key, maintain_order=True).agg(
            *(pl.col(place).first().alias(f"new:{place}:{name}") for place in PLACES),
            (pl.col(name).n_unique() > 1).alias("sulca:several"),
        )
        joined = table.join(
            found.join(places, on=key, maintain_order="left"),
            on=key, how="left", maintain_order="left",
        )  # fmt: skip
        table = _filled(joined, name)
    return table


def _filled(joined: pl.DataFrame, name: str) -> pl.DataFrame:
    joined = joined.with_columns(raw_text(name), pl.col(f"new:{RAW}{name}").cast(pl.String))
    there = pl.col(name).is_not_null()
    offered = pl.col(f"new:{name}").is_not_null() | pl.col(f"new:rule:{name}").is_not_null()
    differs = there & pl.col(f"new:{name}").is_not_null() & (pl.col(name) != pl.col(f"new:{name}"))
    contradicted = (pl.col("sulca:several") | differs).fill_null(value=False)
    takes = (offered & ~there & pl.col(f"rule:{name}").is_null()).fill_null(value=False)
    marked = joined.with_columns(takes.alias("sulca:takes"), contradicted.alias("sulca:against"))
    parts = [
        pl.when("sulca:takes")
        .then(f"new:{part}{name}")
        .otherwise(f"{part}{name}")
        .alias(f"{part}{name}")
        for part in _PARTS
    ]
    either = pl.col("sulca:takes") | pl.col("sulca:against")
    places = [
        pl.when(either).then(f"new:{place}:{name}")
        .otherwise(f"{place}:{name}" if f"{place}:{name}" in joined.columns else None)
        .alias(f"{place}:{name}")
        for place in PLACES
    ]  # fmt: skip
    doubtful = [
        pl.when(~pl.col("sulca:against")).then(name).alias(name),
        pl.when("sulca:against")
        .then(pl.lit(CONTRADICTED))
        .otherwise(f"rule:{name}")
        .alias(f"rule:{name}"),
    ]
    kept = [column for column in joined.columns if not column.startswith(("new:", "sulca:several"))]
    kept += [f"{place}:{name}" for place in PLACES if f"{place}:{name}" not in kept]
    return marked.with_columns(*parts, *places).with_columns(doubtful).select(kept)
