"""Pieces: a cell that holds several events, each of which makes a row."""

import polars as pl

from pipeline.intake import grammar as read
from pipeline.intake.choose import is_true
from pipeline.intake.mapping import Condition, TableMapping
from pipeline.intake.sheet import ROW
from pipeline.intake.sources import Grammar


def part_pieces(rows: pl.DataFrame, table: TableMapping, grammar: Grammar) -> pl.DataFrame:
    """Make a row of each piece of a cell; the pattern's groups become columns beside it.

    A piece that does not fit the pattern stands in every group, so that no code list
    understands it and its text reaches the clinic.
    """
    pieces = table.pieces
    assert pieces is not None
    cell = pl.col(pieces.column).cast(pl.String)
    split = (
        cell.str.split(pieces.separator)
        if pieces.separator
        else cell.reshape((-1, 1)).arr.to_list()
    )
    apart = (
        rows.with_columns(split.alias("sulca:piece"))
        .explode("sulca:piece")
        .with_columns(read.tidy(pl.col("sulca:piece")).alias("sulca:piece"))
        .filter(is_true(Condition(column="sulca:piece", filled=True), grammar))
    )
    number = pl.int_range(1, pl.len() + 1).over(ROW)
    apart = apart.with_columns(
        pl.concat_str("sulca:block", pl.lit(" item "), number)
        .str.strip_chars()
        .alias("sulca:block")
    )
    if not pieces.pattern:
        return apart.with_columns(pl.col("sulca:piece").alias("piece"))
    groups = pl.col("sulca:piece").str.extract_groups(f"^(?:{pieces.pattern})$")
    names = group_names(pieces.pattern)
    fits = pl.col("sulca:piece").str.contains(f"^(?:{pieces.pattern})$")
    return apart.with_columns(
        pl.when(fits).then(groups.struct.field(name)).otherwise("sulca:piece").alias(name)
        for name in names
    )


def group_names(pattern: str) -> tuple[str, ...]:
    """Name the groups of a pattern, in order."""
    if not pattern:
        return ()
    schema = pl.Series([""]).str.extract_groups(f"^(?:{pattern})$").struct.schema
    return tuple(schema)
