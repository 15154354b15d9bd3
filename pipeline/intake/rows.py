"""Source rows to working rows: the address, then every variable with its cells.

A working row carries for each variable "x" its value "x" and the columns "raw:x", "miss:x", …
of cells.py.
"""

from collections.abc import Mapping, Sequence

import polars as pl

from pipeline.intake.cells import BOTH, CELL_SCHEMA, read_variable
from pipeline.intake.choose import is_true
from pipeline.intake.coded import is_coded
from pipeline.intake.lists import read_list
from pipeline.intake.mapping import Condition, TableMapping
from pipeline.intake.pieces import part_pieces
from pipeline.intake.sheet import ROW, Sheet
from pipeline.intake.sources import Grammar
from schemas.codebook import Variable
from shared.side_by_side import side_by_side


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
    read = side_by_side(
        lambda name: read_variable(
            chosen, table.columns[name], variable=variables[name], grammar=grammar
        ),
        table.columns,
    )
    cells = dict(zip(table.columns, read, strict=True))
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
    """Apply only_if and when_filled, which look at other variables of the same row.

    A variable follows what it looks at: where that is not applicable because of a third one,
    so is this.
    """
    for name in _in_order(table):
        wanted = [(other, codes) for source in table.columns[name]
                  for other, codes in source.only_if.items()]  # fmt: skip
        filled = [source.when_filled for source in table.columns[name] if source.when_filled]
        outside = [_outside(made, other, codes) for other, codes in wanted]
        outside += [pl.col(other).is_null() for other in filled]
        if outside:
            made = _without(made, name, pl.any_horizontal(outside), reason=_NOT_APPLICABLE)
        # What was written stays where the other is not recorded; a constant has nothing behind it.
        for other, _ in wanted:
            unsaid = pl.col(f"col:{name}").is_null() & pl.col(name).is_not_null()
            unsaid &= pl.col(other).is_null()
            reason = pl.coalesce(f"miss:{other}", pl.lit("not_recorded"))
            made = _without(made, name, unsaid, reason=reason)
    return made


_NOT_APPLICABLE = pl.lit("not_applicable")


def _in_order(table: TableMapping) -> list[str]:
    """Name the variables that look at others, each after those it looks at."""
    ordered: list[str] = []
    begun: set[str] = set()

    def visit(name: str) -> None:
        sources = table.columns.get(name, ())
        others = [other for source in sources for other in (*source.only_if, source.when_filled)]
        if name in begun or not any(others):
            return
        begun.add(name)
        for other in filter(None, others):
            visit(other)
        ordered.append(name)

    for name in table.columns:
        visit(name)
    return ordered


def _outside(made: pl.DataFrame, other: str, codes: Sequence[str]) -> pl.Expr:
    text = pl.col(other) if is_coded(made[other]) else pl.col(other).cast(pl.String)
    elsewhere = (text.is_not_null() & ~text.is_in(list(codes))).fill_null(value=False)
    blank = (pl.col(other).is_null() & (pl.col(f"miss:{other}") == _NOT_APPLICABLE)).fill_null(
        value=False
    )
    return elsewhere | blank


def _without(made: pl.DataFrame, name: str, where: pl.Expr, *, reason: pl.Expr) -> pl.DataFrame:
    """Take a variable out of some rows, with what is said of it, and give the reason."""
    return made.with_columns(
        pl.when(where).then(reason).otherwise(f"miss:{name}").alias(f"miss:{name}"),
        *(pl.when(~where).then(part).alias(part)
          for part in (name, f"rule:{name}", f"note:{name}", f"on:{name}")),
    )  # fmt: skip


def _both_sides(made: pl.DataFrame) -> pl.DataFrame:
    """Make two rows of one whose side is both; a joint has one side."""
    if "side" not in made.columns or not (made["side"] == BOTH).any():
        return made
    both = pl.col("side") == BOTH
    sides = pl.when(both).then(pl.lit(["left", "right"])).otherwise(pl.concat_list("side"))
    return (
        made.with_columns(
            sides.alias("side"), pl.when(both).then(pl.lit(BOTH)).alias("sulca:both")
        )
        .explode("side")
        .with_columns(
            pl.when(pl.col("sulca:both").is_not_null())
            .then(pl.concat_str("block", pl.lit(" "), "side").str.strip_chars())
            .otherwise("block").alias("block")
        )
        .drop("sulca:both")
    )  # fmt: skip
