"""Source rows to working rows: the address, then every variable with its cells.

A working row carries for each variable "x" its value "x" and the columns "raw:x", "miss:x", …
of cells.py.
"""

from collections.abc import Iterable, Mapping

import polars as pl

from pipeline.intake.cells import CELL_SCHEMA, read_variable
from pipeline.intake.choose import is_true
from pipeline.intake.lists import read_list
from pipeline.intake.mapping import Condition, Grammar, TableMapping
from pipeline.intake.pieces import part_pieces
from pipeline.intake.sheet import ROW, Sheet
from schemas.codebook import Variable


def working_rows(
    rows: pl.DataFrame,
    table: TableMapping,
    *,
    sheet: Sheet,
    variables: Mapping[str, Variable],
    grammar: Grammar,
) -> pl.DataFrame:
    """Read all variables of one block of one [[table]]; `table` comes from `in_block`."""
    block = table.blocks[0]
    wanted = [is_true(item, grammar) for item in table.where]
    if block.present:
        shown = (Condition(column=name, filled=True) for name in block.present)
        wanted.append(pl.any_horizontal(is_true(item, grammar) for item in shown))
    chosen = rows.filter(*wanted) if wanted else rows
    chosen = chosen.with_columns(pl.lit(block.name).alias("sulca:block"))
    if table.pieces:
        chosen = part_pieces(chosen, table, grammar)
    made = chosen.select(
        file=pl.lit(sheet.file), sheet=pl.lit(sheet.sheet), row=pl.col(ROW), block="sulca:block"
    )
    cells = {
        name: read_variable(chosen, sources, variable=variables[name], grammar=grammar)
        for name, sources in table.columns.items()
    }
    for words in table.lists:
        for name, reading in read_list(chosen, words, variables=variables, grammar=grammar).items():
            cells.setdefault(name, reading)
    made = pl.concat(
        [made, *(_named(item, name) for name, item in cells.items())], how="horizontal"
    )
    inherits = any(item.inherit for item in table.columns.get("side", ()))
    made = made.with_columns(pl.lit(inherits).alias("sulca:inherit"))
    return _both_sides(_conditional(made, table))


def _named(cells: pl.DataFrame, name: str) -> pl.DataFrame:
    return cells.rename({key: f"{key}:{name}" if key != "value" else name for key in CELL_SCHEMA})


def _conditional(made: pl.DataFrame, table: TableMapping) -> pl.DataFrame:
    """Apply only_if and when_filled, which look at other variables of the same row."""
    changes: list[pl.Expr] = []
    for name, sources in table.columns.items():
        for source in sources:
            for other, codes in source.only_if.items():
                other_text = pl.col(other).cast(pl.String)
                outside = (other_text.is_not_null() & ~other_text.is_in(list(codes))).fill_null(
                    value=False
                )
                changes += _not_applicable(name, outside)
            if source.when_filled:
                changes += _not_applicable(name, pl.col(source.when_filled).is_null())
    return made.with_columns(changes)


def _not_applicable(name: str, outside: pl.Expr) -> Iterable[pl.Expr]:
    yield pl.when(~outside).then(name).alias(name)
    yield (
        pl.when(outside)
        .then(pl.lit("not_applicable"))
        .otherwise(f"miss:{name}")
        .alias(f"miss:{name}")
    )
    yield pl.when(~outside).then(f"rule:{name}").alias(f"rule:{name}")
    yield pl.when(~outside).then(f"on:{name}").alias(f"on:{name}")


def _both_sides(made: pl.DataFrame) -> pl.DataFrame:
    """Make two rows of one whose side is both; a joint has one side."""
    if "side" not in made.columns or not (made["side"] == "both").any():
        return made
    both = pl.col("side") == "both"
    sides = pl.when(both).then(pl.lit(["left", "right"])).otherwise(pl.concat_list("side"))
    return (
        made.with_columns(
            sides.alias("side"), pl.when(both).then(pl.lit("both")).alias("sulca:both")
        )
        .explode("side")
        .with_columns(
            pl.when(pl.col("sulca:both").is_not_null())
            .then(pl.concat_str("block", pl.lit(" "), "side").str.strip_chars())
            .otherwise("block").alias("block")
        )
        .drop("sulca:both")
    )  # fmt: skip
